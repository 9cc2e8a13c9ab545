#include "daemon/report/json.h"

#include <assert.h>
#include <inttypes.h>
#include <math.h>

#include "daemon/base/civil.h"
#include "daemon/base/span.h"
#include "daemon/base/utf8.h"

static void
string(FILE *f, const char *text)
{
	struct span s = span_of(text);
	uint32_t c;

	putc('"', f);
	while (s.n) {
		size_t n = utf8_next(s, &c);

		if (c == '"' || c == '\\')
			fprintf(f, "\\%c", (char)c);
		else if (c == '\n')
			fputs("\\n", f);
		else if (c == '\t')
			fputs("\\t", f);
		else if (c == UTF8_BAD)
			fputs("\\ufffd", f);
		else if (utf8_shown(c))
			fwrite(s.p, 1, n, f);
		else if (c < 0x10000)
			fprintf(f, "\\u%04x", c);
		else	/* RFC 8259 section 7: as a surrogate pair */
			fprintf(f, "\\u%04x\\u%04x", 0xd800 + ((c - 0x10000) >> 10),
			    0xdc00 + ((c - 0x10000) & 0x3ff));
		s.p += n;
		s.n -= n;
	}
	putc('"', f);
}

/* The members of the two outermost levels begin a line each, so that lists can be
 * read and compared line by line; what is deeper stays on its line. */
static void
member(struct json *j, const char *key)
{
	if (j->inside)
		putc(',', j->f);
	if (j->depth == 1 || j->depth == 2)
		putc('\n', j->f);
	else if (j->inside)
		putc(' ', j->f);
	j->inside = true;
	if (key) {
		string(j->f, key);
		putc(':', j->f);
	}
}

void
json_open(struct json *j, const char *key, char bracket)
{
	member(j, key);
	putc(bracket, j->f);
	j->depth++;
	j->inside = false;
}

void
json_close(struct json *j, char bracket)
{
	j->depth--;
	if (j->inside && j->depth <= 1)
		putc('\n', j->f);
	putc(bracket, j->f);
	j->inside = true;
}

void
json_string(struct json *j, const char *key, const char *text)
{
	member(j, key);
	string(j->f, text);
}

void
json_text(struct json *j, const char *key, const char *text)
{
	if (text && *text)
		json_string(j, key, text);
	else
		json_null(j, key);
}

void
json_int(struct json *j, const char *key, int64_t n)
{
	member(j, key);
	fprintf(j->f, "%" PRId64, n);
}

void
json_num(struct json *j, const char *key, double n)
{
	member(j, key);
	if (isfinite(n))
		fprintf(j->f, "%.10g", n);
	else
		fputs("null", j->f);
}

void
json_bool(struct json *j, const char *key, bool b)
{
	member(j, key);
	fputs(b ? "true" : "false", j->f);
}

void
json_time(struct json *j, const char *key, int64_t at)
{
	char text[CIVIL_TEXT];

	json_text(j, key, civil_rfc3339(at, text));
}

void
json_null(struct json *j, const char *key)
{
	member(j, key);
	fputs("null", j->f);
}

void
json_end(struct json *j)
{
	assert(j->depth == 0);
	putc('\n', j->f);
}
