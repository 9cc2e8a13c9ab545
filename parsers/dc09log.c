#include "parsers/dc09log.h"

#include <string.h>

#include "daemon/base/utf8.h"
#include "parsers/bytes.h"

bool
dc09log_is(struct span head)
{
	size_t at;

	while (dc09_find(head, &at)) {
		struct span line = { head.p + at, 0 };
		struct dc09 frame;

		while (at + line.n < head.n && line.p[line.n] != '\r' && line.p[line.n] != '\n')
			line.n++;
		if (dc09_parse(line, &frame) != DC09_ASIDE)
			return true;
		head.p = line.p + line.n;
		head.n -= at + line.n;
	}
	return false;
}

struct span
dc09log_header(void)
{
	return SPAN("account,time,event,zone,partition,user,text,received,receiver,line");
}

/* As UTF-8: a frame's text may be in an older encoding. */
static struct span
cell(struct dc09log *log, struct span s)
{
	return utf8_valid(s) ? s : bytes_from_1252(&log->arena, s);
}

bool
dc09log_row(struct dc09log *log, struct span bytes, struct row *row)
{
	struct dc09 f;
	enum dc09_result got = dc09_parse(bytes, &f);

	arena_reset(&log->arena);
	row->reason = f.reason;
	if (got == DC09_ASIDE)
		return true;
	if (got != DC09_EVENT) {
		log->passed[got]++;
		return false;
	}
	row->cell[COL_ACCOUNT] = f.account;
	row->cell[COL_RECEIVER] = f.receiver;
	row->cell[COL_LINE] = f.line;
	row->cell[COL_EVENT] = f.event;
	row->cell[COL_PARTITION] = cell(log, f.partition);
	row->cell[COL_ZONE] = f.zone;
	row->cell[COL_USER] = cell(log, f.user);
	row->cell[COL_TEXT] = cell(log, f.text);
	row->has_received = dc09_received(log->order, f.prefix, &row->received);
	row->has_time = f.has_time || row->has_received;
	row->time = f.has_time ? f.time : row->received;
	if (!row->has_time)
		row->reason = "DC-09: no time in the frame and none in front of it";
	return true;
}

const char *
dc09log_text(struct arena *a, const struct dc09log *log)
{
	static const char *const name[][2] = {
		[DC09_NULL] = { "link test", "link tests" },
		[DC09_ACK] = { "acknowledgement", "acknowledgements" },
		[DC09_NAK] = { "refusal (NAK)", "refusals (NAK)" },
		[DC09_DUH] = { "answer that a frame was not understood (DUH)",
		    "answers that a frame was not understood (DUH)" },
	};
	const char *text = "";

	for (int i = DC09_NULL; i < DC09_ASIDE; i++) {
		if (log->passed[i])
			text = arena_fmt(a, "%s%s%llu %s", text, *text ? ", " : "",
			    (unsigned long long)log->passed[i], name[i][log->passed[i] > 1]);
	}
	return text;
}

void
dc09log_release(struct dc09log *log)
{
	arena_release(&log->arena);
}
