#include "daemon/report/csvout.h"

#include <inttypes.h>
#include <string.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/base/utf8.h"

static bool
is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* "-71", "+3.5", "-71 dBm", "-40%": a sign, a plain number, then at most one blank
 * and a unit of letters or "%". */
static bool
is_measure(struct span s)
{
	size_t i = 1, digits = 0;

	if (s.n < 2 || (s.p[0] != '-' && s.p[0] != '+'))
		return false;
	for (; i < s.n && is_digit(s.p[i]); i++)
		digits++;
	if (i < s.n && s.p[i] == '.') {
		for (i++; i < s.n && is_digit(s.p[i]); i++)
			digits++;
	}
	if (!digits)
		return false;
	if (i + 1 < s.n && s.p[i] == ' ')
		i++;
	for (; i < s.n; i++) {
		char c = s.p[i];

		if (c != '%' && !(c >= 'a' && c <= 'z') && !(c >= 'A' && c <= 'Z'))
			return false;
	}
	return true;
}

void
csvout_init(struct csvout *w, FILE *f)
{
	*w = (struct csvout){ .f = f, .terminal = isatty(fileno(f)) };
}

/* A run of the cell without quotes in it. */
static void
put(const struct csvout *w, struct span s)
{
	char escape[UTF8_ESCAPE];
	uint32_t c;

	if (!w->terminal) {
		fwrite(s.p, 1, s.n, w->f);
		return;
	}
	while (s.n) {
		size_t n = utf8_next(s, &c);

		if (utf8_shown(c) || c == '\t' || c == '\n')
			fwrite(s.p, 1, n, w->f);
		else
			fwrite(escape, 1, (size_t)utf8_escape(escape, c, s.p[0]), w->f);
		s.p += n;
		s.n -= n;
	}
}

static void
next_cell(struct csvout *w)
{
	if (w->inside)
		putc(',', w->f);
	w->inside = true;
}

void
csvout_span(struct csvout *w, struct span s)
{
	bool formula = s.n && memchr("=+-@\t\r\n", s.p[0], 7) && !is_measure(s);
	bool quote = formula;

	next_cell(w);
	for (size_t i = 0; i < s.n && !quote; i++)
		quote = s.p[i] == ',' || s.p[i] == '"' || s.p[i] == '\r' || s.p[i] == '\n';
	/* Blanks at an end would be trimmed by readers that trim only bare cells. */
	if (s.n && (s.p[0] == ' ' || s.p[s.n - 1] == ' '))
		quote = true;
	if (quote)
		fputs(formula ? "\"'" : "\"", w->f);
	while (s.n) {
		const char *mark = memchr(s.p, '"', s.n);
		size_t n = mark ? (size_t)(mark - s.p) : s.n;

		put(w, (struct span){ s.p, n });
		if (mark) {
			fputs("\"\"", w->f);
			n++;
		}
		s.p += n;
		s.n -= n;
	}
	if (quote)
		putc('"', w->f);
}

void
csvout_text(struct csvout *w, const char *text)
{
	csvout_span(w, span_of(text));
}

void
csvout_int(struct csvout *w, int64_t n)
{
	next_cell(w);
	fprintf(w->f, "%" PRId64, n);
}

void
csvout_num(struct csvout *w, double n)
{
	next_cell(w);
	fprintf(w->f, "%.10g", n);
}

void
csvout_time(struct csvout *w, int64_t at)
{
	char text[CIVIL_TEXT];

	next_cell(w);
	fputs(civil_rfc3339(at, text), w->f);
}

void
csvout_end(struct csvout *w)
{
	putc('\n', w->f);
	w->inside = false;
}

void
csvout_header(struct csvout *w, const char *names)
{
	fputs(names, w->f);
	w->inside = true;
	csvout_end(w);
}
