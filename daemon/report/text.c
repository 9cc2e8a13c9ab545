#include "daemon/report/text.h"

#include <assert.h>
#include <langinfo.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/base/utf8.h"

enum { NARROWEST = 60, GAP = 2, LEAST_COLUMN = 10 };

void
page_init(struct page *p, FILE *f)
{
	bool terminal = isatty(fileno(f));
	const char *no_color = getenv("NO_COLOR"), *term = getenv("TERM");
	struct winsize w;

	*p = (struct page){ .f = f, .width = TEXT_WIDTH, .zone = { .name = "UTC" } };
	p->utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
	p->ascii_only = terminal && !p->utf8;
	p->style = terminal && !(no_color && *no_color) && !(term && strcmp(term, "dumb") == 0);
	if (terminal && ioctl(fileno(f), TIOCGWINSZ, &w) == 0 && w.ws_col) {
		p->width = w.ws_col < NARROWEST ? NARROWEST : w.ws_col;
		if (p->width > TEXT_WIDTH_MAX)
			p->width = TEXT_WIDTH_MAX;
	}
}

void
page_release(struct page *p)
{
	arena_release(&p->arena);
}

const char *
text_safe(struct page *p, const char *text)
{
	struct span s = span_of(text);
	/* The longest escape, \U0010FFFF, has 10 bytes for 4; \xFF has 4 for one. */
	char *out = arena_take(&p->arena, s.n * 4 + 1), *to = out;
	uint32_t c;

	while (s.n) {
		size_t n = utf8_next(s, &c);
		char escape[UTF8_ESCAPE];

		if (c == '\n' || c == '\r' || c == '\t') {
			*to++ = ' ';
		} else if (!utf8_shown(c) || (c >= 0x80 && p->ascii_only)) {
			int len = utf8_escape(escape, c, s.p[0]);

			memcpy(to, escape, (size_t)len);
			to += len;
		} else {
			memcpy(to, s.p, n);
			to += n;
		}
		s.p += n;
		s.n -= n;
	}
	*to = '\0';
	return out;
}

int
text_width(const char *safe)
{
	struct span s = span_of(safe);
	uint32_t c;
	int columns = 0;

	while (s.n) {
		size_t n = utf8_next(s, &c);

		columns += c == UTF8_BAD ? 1 : utf8_width(c);
		s.p += n;
		s.n -= n;
	}
	return columns;
}

/* Bytes of `s` that fit into `columns`; marks go with the letter before them. */
static size_t
fitting(struct span s, int columns)
{
	size_t used = 0;
	uint32_t c;

	while (s.n) {
		size_t n = utf8_next(s, &c);
		int width = c == UTF8_BAD ? 1 : utf8_width(c);

		if (width > columns)
			break;
		columns -= width;
		used += n;
		s.p += n;
		s.n -= n;
	}
	return used;
}

const char *
text_cut(struct page *p, const char *safe, int columns)
{
	struct span s = span_of(safe);
	size_t n;

	if (text_width(safe) <= columns)
		return safe;
	n = fitting(s, columns > 2 ? columns - 2 : 0);
	return arena_fmt(&p->arena, "%.*s..", (int)n, safe);
}

static int64_t
local(const struct page *p, int64_t at)
{
	if (!p->zone.offset)
		return at;
	return at + p->zone.offset(p->zone.zone, (at - (at % 1000 + 1000) % 1000) / 1000) * SECOND;
}

const char *
text_time(struct page *p, int64_t at)
{
	char text[CIVIL_TEXT];

	if (at == NO_TIME)
		return "-";
	return arena_fmt(&p->arena, "%s", civil_short(local(p, at), text));
}

const char *
text_day(struct page *p, int64_t at)
{
	const char *whole = text_time(p, at);

	return at == NO_TIME ? whole : arena_fmt(&p->arena, "%.*s",
	    (int)strcspn(whole, " "), whole);
}

const char *
text_span(struct page *p, int64_t ms)
{
	static const struct { int64_t ms; const char *one, *many; } unit[] = {
		{ SECOND, "s", "s" }, { MINUTE, "min", "min" }, { HOUR, "h", "h" },
		{ DAY, "day", "days" },
	};
	size_t i = 0;

	if (ms < 0)
		ms = 0;
	/* 90 s is told in seconds, 90 h in days: more than 48 of one unit is hard to picture,
	 * but seconds and minutes are told up to 99 as clocks do. */
	while (i < 3 && ms / unit[i].ms > (i < 2 ? 99 : 48))
		i++;
	return text_count(p, ms / unit[i].ms, unit[i].one, unit[i].many);
}

const char *
text_count(struct page *p, int64_t n, const char *one, const char *many)
{
	return arena_fmt(&p->arena, "%lld %s", (long long)n, n == 1 ? one : many);
}

static void
set_off(struct page *p, enum style style)
{
	static const char *const on[] = { "", "\033[1m", "\033[1;7m" };

	if (p->style)
		fputs(on[style], p->f);
}

static void
set_back(struct page *p, enum style style)
{
	if (p->style && style != STYLE_PLAIN)
		fputs("\033[0m", p->f);
}

static void
blanks(struct page *p, int n)
{
	if (n > 0)
		fprintf(p->f, "%*s", n, "");
}

/* Cuts the first line of at most `columns` off *rest: at blanks where there are any. */
static struct span
take_line(struct span *rest, int columns)
{
	size_t fit = fitting(*rest, columns), end = fit, next;

	if (fit == 0 && rest->n) {	/* not even one character: give it the room it needs */
		uint32_t c;

		fit = end = utf8_next(*rest, &c);
	}
	if (fit < rest->n && rest->p[fit] != ' ') {
		while (end > 0 && rest->p[end - 1] != ' ')
			end--;
		if (end == 0)
			end = fit;	/* one long word: broken where the line ends */
	}
	struct span line = { rest->p, end };

	for (next = end; next < rest->n && rest->p[next] == ' '; next++)
		;
	while (line.n && line.p[line.n - 1] == ' ')
		line.n--;
	rest->p += next;
	rest->n -= next;
	return line;
}

void
page_heading(struct page *p, enum style style, const char *text)
{
	putc('\n', p->f);
	set_off(p, style);
	fputs(text_safe(p, text), p->f);
	set_back(p, style);
	putc('\n', p->f);
}

void
page_para(struct page *p, const char *first, const char *text)
{
	const char *lead = text_safe(p, first);
	int indent = text_width(lead);
	struct span rest = span_of(text_safe(p, text));
	bool begun = false;

	do {
		struct span line = take_line(&rest, p->width - indent);

		if (begun)
			blanks(p, indent);
		else
			fputs(lead, p->f);
		fwrite(line.p, 1, line.n, p->f);
		putc('\n', p->f);
		begun = true;
	} while (rest.n);
}

void
page_fmt(struct page *p, const char *first, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	page_para(p, first, arena_vfmt(&p->arena, fmt, ap));
	va_end(ap);
}

void
page_blank(struct page *p)
{
	putc('\n', p->f);
}

void
table_init(struct table *t, struct page *p, const struct text_column *column, size_t n)
{
	*t = (struct table){ .page = p, .column = column, .n_column = n };
}

void
table_add(struct table *t, const char *text)
{
	t->cell = x_grow(t->cell, &t->cap, t->n + 1, sizeof *t->cell);
	t->cell[t->n++] = text_safe(t->page, text);
}

void
table_fmt(struct table *t, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	table_add(t, arena_vfmt(&t->page->arena, fmt, ap));
	va_end(ap);
}

/* Natural widths; then the widest column that may give way loses a column at a time. */
static void
measure(const struct table *t, int room, int *width)
{
	int sum = GAP * (int)(t->n_column - 1);

	for (size_t c = 0; c < t->n_column; c++) {
		width[c] = text_width(t->column[c].head);
		for (size_t i = c; i < t->n; i += t->n_column) {
			int w = text_width(t->cell[i]);

			width[c] = w > width[c] ? w : width[c];
		}
		sum += width[c];
	}
	for (; sum > room; sum--) {
		size_t widest = t->n_column;

		for (size_t c = 0; c < t->n_column; c++) {
			if (t->column[c].wraps && width[c] > LEAST_COLUMN &&
			    (widest == t->n_column || width[c] > width[widest]))
				widest = c;
		}
		if (widest == t->n_column)
			return;
		width[widest]--;
	}
}

static void
print_row(const struct table *t, const char *const *cell, const int *width, int indent)
{
	struct page *p = t->page;
	struct span *rest = x_calloc(t->n_column, sizeof *rest);
	bool more = true;

	for (size_t c = 0; c < t->n_column; c++)
		rest[c] = span_of(cell[c]);
	while (more) {
		int owed = indent;	/* blanks are written only before something */

		more = false;
		for (size_t c = 0; c < t->n_column; c++) {
			bool right = t->column[c].right;
			struct span line = t->column[c].wraps ? take_line(&rest[c], width[c]) : rest[c];
			int slack = width[c] - text_width(arena_text(&p->arena, line));

			if (!t->column[c].wraps)
				rest[c].n = 0;
			if (slack < 0)
				slack = 0;
			if (line.n) {
				blanks(p, owed + (right ? slack : 0));
				fwrite(line.p, 1, line.n, p->f);
				owed = right ? 0 : slack;
			} else {
				owed += width[c];
			}
			owed += GAP;
			more = more || rest[c].n;
		}
		putc('\n', p->f);
	}
	free(rest);
}

void
table_print(struct table *t, int indent)
{
	int *width = x_calloc(t->n_column, sizeof *width);
	const char **head = x_calloc(t->n_column, sizeof *head);
	bool any = false;

	assert(t->n % t->n_column == 0);
	measure(t, t->page->width - indent, width);
	for (size_t c = 0; c < t->n_column; c++) {
		head[c] = t->column[c].head;
		any = any || *head[c];
	}
	if (any) {
		set_off(t->page, STYLE_STRONG);
		print_row(t, head, width, indent);
		set_back(t->page, STYLE_STRONG);
	}
	for (size_t i = 0; i < t->n; i += t->n_column)
		print_row(t, t->cell + i, width, indent);
	free(head);
	free(width);
	free(t->cell);
	*t = (struct table){ 0 };
}
