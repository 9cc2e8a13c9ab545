#include "daemon/intake.h"

#include <string.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/group.h"
#include "daemon/ingest.h"
#include "daemon/report/csvout.h"
#include "daemon/report/json.h"
#include "parsers/wordings.h"

struct options {
	struct opts_common common;
	const char        *timezone, *covers, *wordings, *group;
	int                format;
	bool               no_judge;
	struct opts_when   as_of;
	long               batch, read_size;
};

#define SHARED \
	{ 'w', "wordings", "FILE", "read the exports by this file of wordings and no other (default: " \
	  "by those among the files that fit)", OPT_TEXT, offsetof(struct options, wordings), 0, 0, \
	  NULL }, \
	{ 'z', "timezone", "NAME", "clock of local times where sites names none (default: this " \
	  "machine's own)", OPT_TEXT, offsetof(struct options, timezone), 0, 0, NULL }, \
	{ 'c', "covers", "WHAT", "which accounts a file speaks for, and when: rows = those that " \
	  "have rows in it (default), all = every account of sites, FROM/TO = all in that span", \
	  OPT_TEXT, offsetof(struct options, covers), 0, 0, NULL }, \
	{ 'f', "format", "WORD", "text, csv or json (default: text)", OPT_CHOICE, \
	  offsetof(struct options, format), 0, 0, "text|csv|json" }, \
	{ 0, "as-of", "TIME", "judge as if this were the end of the cover", OPT_WHEN, \
	  offsetof(struct options, as_of), 0, 0, NULL }, \
	{ 0, "no-judge", NULL, "only read; the next run judges", OPT_FLAG, \
	  offsetof(struct options, no_judge), 0, 0, NULL }, \
	{ 0, "batch", "ROWS", NULL, OPT_COUNT, offsetof(struct options, batch), 1, 1 << 24, NULL }, \
	{ 0, "read-size", "BYTES", NULL, OPT_COUNT, offsetof(struct options, read_size), 1, \
	  1 << 30, NULL }

const struct opt intake_options[] = {
	SHARED,
	{ 0, "group", "NAME", GROUP_HELP, OPT_TEXT, offsetof(struct options, group), 0, 0, NULL },
	OPTS_COMMON(struct options),
	OPTS_END
};

const struct opt intake_check_options[] = {
	SHARED,
	OPTS_COMMON(struct options),
	OPTS_END
};

/* One end of FROM/TO; a date alone is its first moment, as TO the end of that day. */
static int
span_end(struct span text, const struct tz *zone, bool last, int64_t *at, struct err *e)
{
	struct opts_when w = { .form = WHEN_STAMP };
	bool day = false;
	const char *fault = stamp_parse(text, &w.stamp);

	if (fault && !stamp_parse_date(text, &w.stamp)) {
		fault = NULL;
		day = true;
	}
	if (fault)
		return err_set(e, ERR_USAGE, NULL, 0, "--covers: \"%.*s\": %s", (int)text.n, text.p,
		    fault);
	if (day && last)
		w.stamp.wall += DAY / SECOND;
	*at = cmd_when(&w, zone, NO_TIME, 1);
	return 0;
}

static int
take_covers(const char *text, const struct tz *zone, struct ingest_options *o, struct err *e)
{
	const char *slash = strchr(text, '/');

	if (strcmp(text, "rows") == 0) {
		o->covers = COVERS_ROWS;
	} else if (strcmp(text, "all") == 0) {
		o->covers = COVERS_ALL;
	} else if (slash) {
		o->covers = COVERS_SPAN;
		if (span_end((struct span){ text, (size_t)(slash - text) }, zone, false,
		    &o->covers_from, e) < 0 ||
		    span_end(span_of(slash + 1), zone, true, &o->covers_to, e) < 0)
			return -1;
		if (o->covers_to <= o->covers_from)
			return err_set(e, ERR_USAGE, NULL, 0, "--covers: \"%s\" ends before it "
			    "begins", text);
	} else {
		return err_set(e, ERR_USAGE, NULL, 0, "--covers: \"%s\" is not rows, all or "
		    "FROM/TO", text);
	}
	return 0;
}

static const char *
sum_text(struct page *p, bool dry, const struct ingest_file *f)
{
	return arena_fmt(&p->arena, "%s = %lld %s + %lld repeated + %lld set aside%s",
	    text_count(p, f->rows, "row", "rows"), (long long)f->stored,
	    dry ? "that would be stored" : "stored", (long long)f->repeated,
	    (long long)f->set_aside, f->expired ? arena_fmt(&p->arena, " + %lld expired (older than what "
	    "is kept)", (long long)f->expired) : "");
}

/* A cell and its text on one line. */
static const char *
wording_text(struct page *p, const struct wordings_text *t)
{
	return *t->text ? arena_fmt(&p->arena, "\"%s\", \"%s\"", t->cell, t->text)
	    : arena_fmt(&p->arena, "\"%s\"", t->cell);
}

/* What the wordings did with one file: which row decided, and what nothing matched. */
static void
wordings_show(struct page *p, const struct wordings_counts *n, const char *what)
{
	enum { MOST = 20 };
	const char *idle = "";

	for (size_t i = 0; i < n->n_rule; i++) {
		const struct wordings_rule *r = &n->rule[i];

		if (strcmp(r->what, what) != 0)
			continue;
		if (r->rows)
			page_fmt(p, "  decided: ", "%s by line %llu, \"%s\" gives %s",
			    text_count(p, r->rows, "row", "rows"), (unsigned long long)r->line, r->match,
			    r->gives);
		else
			idle = arena_fmt(&p->arena, "%s%s%llu", idle, *idle ? ", " : "",
			    (unsigned long long)r->line);
	}
	if (*idle)
		page_fmt(p, "  decided: ", "no row by %s %s", strchr(idle, ',') ? "lines" : "line", idle);
	if (n->by_own)
		page_fmt(p, "  decided: ", "%s by no pattern, being words or codes of ours",
		    text_count(p, n->by_own, "row", "rows"));
	if (n->limit)
		page_fmt(p, "  limit: ", "a pattern ran into its limit on %s",
		    text_count(p, n->limit, "row", "rows"));
	for (size_t i = 0; i < n->n_text && i < MOST; i++)
		page_fmt(p, "  matched by nothing: ", "%s, %s",
		    text_count(p, n->text[i].rows, "row", "rows"), wording_text(p, &n->text[i]));
	if (n->n_text > MOST)
		page_fmt(p, "  matched by nothing: ", "%s in all, the %d most frequent texts stand here",
		    text_count(p, n->unmatched, "row", "rows"), MOST);
}

static void
file_text(struct page *p, const struct ingest_file *f, bool dry)
{
	page_para(p, "", f->name);
	if (f->failed) {
		page_fmt(p, "  FAILED, not taken: ", "%s", f->message ? f->message : "");
		return;
	}
	page_fmt(p, "  ", "%s: %s%s", f->kind, sum_text(p, dry, f), f->from == NO_TIME ? "" : arena_fmt(&p->arena, "; covers %s to %s",
	    text_time(p, f->from), text_time(p, f->to)));
	for (size_t i = 0; i < f->n_reason; i++)
		page_fmt(p, "  set aside: ", "%s, first in line %lld: %s",
		    text_count(p, f->reason[i].rows, "row", "rows"),
		    (long long)f->reason[i].first_line, f->reason[i].reason);
	if (f->note && *f->note)
		page_para(p, "  note: ", f->note);
	if (f->mapped && *f->mapped && dry)
		page_para(p, "  mapped: ", f->mapped);
	if (f->wordings && dry)
		wordings_show(p, f->wordings, strcmp(f->kind, "events") == 0 ? "event" : "device");
}

static void
result_text(struct page *p, const struct ingest_result *r, bool dry)
{
	struct ingest_file sum = { 0 };
	int64_t failed = 0;

	for (size_t i = 0; i < r->n_file; i++) {
		const struct ingest_file *f = &r->file[i];

		file_text(p, f, dry);
		failed += f->failed;
		if (f->failed)
			continue;
		sum.rows += f->rows;
		sum.stored += f->stored;
		sum.repeated += f->repeated;
		sum.set_aside += f->set_aside;
		sum.expired += f->expired;
	}
	page_blank(p);
	page_fmt(p, "", "%s: %s.%s", text_count(p, (int64_t)r->n_file, "file", "files"),
	    sum_text(p, dry, &sum), failed ? arena_fmt(&p->arena,
	    " %s whole outside.", text_count(p, failed, "file failed and is", "files failed and are"))
	    : "");
	if (r->inside.n)
		page_para(p, "", ingest_inside_text(&p->arena, &r->inside));
	page_fmt(p, "", "Times are %s.", p->zone.name);
	if (dry) {
		page_para(p, "", "Nothing was stored.");
		return;
	}
	page_fmt(p, "", "%s judged: %s raised, %lld cleared.",
	    text_count(p, r->judged, "account", "accounts"),
	    text_count(p, r->raised, "finding", "findings"), (long long)r->cleared);
	if (sum.set_aside)
		page_para(p, "Next: ", "tripsift export aside writes the rows that were set aside, to "
		    "be mended and read again; tripsift triage");
	else
		page_para(p, "Next: ", "tripsift triage");
}

static void
result_csv(FILE *out, const struct ingest_result *r)
{
	struct csvout w;

	csvout_init(&w, out);
	csvout_header(&w, "file,kind,rows,stored,repeated,set_aside,from,to,error,expired");
	for (size_t i = 0; i < r->n_file; i++) {
		const struct ingest_file *f = &r->file[i];

		csvout_text(&w, f->name);
		csvout_text(&w, f->kind);
		csvout_int(&w, f->rows);
		csvout_int(&w, f->stored);
		csvout_int(&w, f->repeated);
		csvout_int(&w, f->set_aside);
		csvout_time(&w, f->from);
		csvout_time(&w, f->to);
		csvout_text(&w, f->failed ? f->message : "");
		csvout_int(&w, f->expired);
		csvout_end(&w);
	}
}

static void
wordings_json(struct json *j, const struct wordings_counts *n)
{
	json_open(j, "wordings", '{');
	json_open(j, "decided", '[');
	for (size_t i = 0; i < n->n_rule; i++) {
		json_open(j, NULL, '{');
		json_int(j, "line", (int64_t)n->rule[i].line);
		json_text(j, "what", n->rule[i].what);
		json_text(j, "match", n->rule[i].match);
		json_text(j, "gives", n->rule[i].gives);
		json_int(j, "rows", n->rule[i].rows);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_int(j, "by_own", n->by_own);
	json_int(j, "kept", n->kept);
	json_int(j, "limit", n->limit);
	json_int(j, "unmatched", n->unmatched);
	json_open(j, "texts", '[');
	for (size_t i = 0; i < n->n_text; i++) {
		json_open(j, NULL, '{');
		json_text(j, "event", n->text[i].cell);
		json_text(j, "text", n->text[i].text);
		json_int(j, "rows", n->text[i].rows);
		json_close(j, '}');
	}
	json_close(j, ']');
	json_close(j, '}');
}

static void
result_json(FILE *out, const struct ingest_result *r)
{
	struct json j = { .f = out };

	json_open(&j, NULL, '{');
	json_open(&j, "files", '[');
	for (size_t i = 0; i < r->n_file; i++) {
		const struct ingest_file *f = &r->file[i];

		json_open(&j, NULL, '{');
		json_text(&j, "file", f->name);
		json_text(&j, "kind", f->kind);
		json_int(&j, "rows", f->rows);
		json_int(&j, "stored", f->stored);
		json_int(&j, "repeated", f->repeated);
		json_int(&j, "set_aside", f->set_aside);
		json_int(&j, "expired", f->expired);
		json_time(&j, "from", f->from);
		json_time(&j, "to", f->to);
		json_open(&j, "reasons", '{');
		for (size_t k = 0; k < f->n_reason; k++)
			json_int(&j, f->reason[k].reason, f->reason[k].rows);
		json_close(&j, '}');
		if (f->wordings)
			wordings_json(&j, f->wordings);
		if (f->failed)
			json_text(&j, "error", f->message);
		json_text(&j, "note", f->note);
		json_close(&j, '}');
	}
	json_close(&j, ']');
	json_int(&j, "folders_not_read", (int64_t)r->inside.n);
	json_close(&j, '}');
	json_end(&j);
}

static int
outcome(const struct ingest_result *r)
{
	int out = OUT_DONE;

	for (size_t i = 0; i < r->n_file; i++) {
		if (r->file[i].failed)
			return OUT_FAILED;
		if (r->file[i].set_aside)
			out = OUT_ATTENTION;
	}
	return out;
}

int
intake_run(const struct command *self, int argc, char **argv, bool dry)
{
	struct options o = { 0 };
	struct ingest_options io = { .dry = dry };
	struct ingest_result r = { 0 };
	struct store *s = NULL;
	struct tz_set *zones = NULL;
	gid_t group;
	const struct tz *zone;
	struct page p;
	struct err e;
	int out = cmd_options(self, &argc, argv, &o, 1, -1);

	if (out != OUT_GO_ON)
		return out;
	zones = tz_set_open();
	zone = tz_machine(zones);
	if (o.timezone) {
		zone = tz_find(zones, span_of(o.timezone), &e);
		if (!zone) {
			err_wrap(&e, "--timezone");
			e.code = ERR_USAGE;
			goto fail;
		}
	}
	if (o.covers && take_covers(o.covers, zone, &io, &e) < 0)
		goto fail;
	io.timezone = o.timezone;
	io.wordings = o.wordings;
	io.no_judge = o.no_judge;
	io.as_of = cmd_when(&o.as_of, zone, cmd_now(), -1);
	io.batch = (size_t)o.batch;
	io.read_size = (size_t)o.read_size;
	io.progress = isatty(STDERR_FILENO);
	/* `check` looks at the store when there is one: repeats are told from new rows by it. */
	if (!dry || access(cmd_db(&o.common), F_OK) == 0) {
		if (group_begin(o.group, &group, &e) || group_place(cmd_db(&o.common), group, &e))
			goto fail;
		s = cmd_store(&o.common, dry ? STORE_READ : STORE_CREATE, &e);
		if (!s || group_store(store_path(s), group, &e))
			goto fail;
	}
	if (ingest_paths(s, (const char *const *)argv, (size_t)argc, &io, &r, &e) < 0)
		goto fail;
	if (o.format == 0) {
		page_init(&p, stdout);
		cmd_zone(&p, zone);
		result_text(&p, &r, dry);
		page_release(&p);
	} else if (o.format == 1) {
		result_csv(stdout, &r);
	} else {
		result_json(stdout, &r);
	}
	for (size_t i = 0; i < r.n_file && o.format; i++) {
		if (r.file[i].failed)
			cmd_say("%s", r.file[i].message);
	}
	out = outcome(&r);
	goto done;
fail:
	out = cmd_fail(&e);
done:
	ingest_result_release(&r);
	store_close(s);
	tz_set_close(zones);
	return out;
}
