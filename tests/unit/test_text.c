/* test_text.c - foreign text made harmless (CWE-150), widths, filling, tables. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/report/text.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* A page into memory; text() ends it and gives what was written. */
struct sheet {
	struct page p;
	char       *bytes;
	size_t      n;
};

static void
open_sheet(struct sheet *s, int width)
{
	*s = (struct sheet){ 0 };
	s->p.f = open_memstream(&s->bytes, &s->n);
	s->p.width = width;
	s->p.utf8 = true;
	s->p.zone.name = "UTC";
}

static const char *
text(struct sheet *s)
{
	fflush(s->p.f);
	return s->bytes;
}

static void
close_sheet(struct sheet *s)
{
	fclose(s->p.f);
	free(s->bytes);
	page_release(&s->p);
}

static void
made_harmless(void **state)
{
	static const struct { const char *in, *out; bool ascii_only; } cases[] = {
		{ NULL, "", false },
		{ "plain", "plain", false },
		{ "a\tb\r\nc", "a b  c", false },
		{ "\x1b]0;title\x07", "\\x1B]0;title\\x07", false },
		{ "\x7f", "\\x7F", false },
		{ "\xc2\x9b" "31m", "\\u009B31m", false },
		{ "\x9b" "31m", "\\x9B31m", false },		/* a bare C1 byte is malformed */
		{ "abc\xe2\x80\xae" "fed", "abc\\u202Efed", false },
		{ "\xe2\x81\xa6x\xe2\x81\xa9", "\\u2066x\\u2069", false },
		{ "\xe2\x80\x8bx", "\\u200Bx", false },
		{ "\xf3\xa0\x81\x81", "\\U000E0041", false },
		{ "\xff\xfe", "\\xFF\\xFE", false },
		{ "K\xc3\xbc" "che", "K\xc3\xbc" "che", false },
		{ "K\xc3\xbc" "che", "K\\u00FCche", true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct sheet s;

		open_sheet(&s, 80);
		s.p.ascii_only = cases[i].ascii_only;
		const char *got = text_safe(&s.p, cases[i].in);

		if (strcmp(got, cases[i].out) != 0)
			print_error("case %zu: %s\n", i, got);
		assert_string_equal(got, cases[i].out);
		close_sheet(&s);
	}
}

static void
cut_by_columns(void **state)
{
	static const struct { const char *in; int columns; const char *out; } cases[] = {
		{ "abcdef", 7, "abcdef" },
		{ "abcdef", 6, "abcdef" },
		{ "abcdef", 5, "abc.." },
		{ "K\xc3\xbc" "che", 5, "K\xc3\xbc" "che" },
		{ "K\xc3\xbc" "che", 4, "K\xc3\xbc.." },
		{ "u\xcc\x88" "bcd", 3, "u\xcc\x88.." },		/* the mark stays with its letter */
		{ "\xe4\xb8\xad\xe6\x96\x87\xe5\xad\x97", 5, "\xe4\xb8\xad.." },	/* wide */
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct sheet s;

		open_sheet(&s, 80);
		const char *got = text_cut(&s.p, cases[i].in, cases[i].columns);

		if (strcmp(got, cases[i].out) != 0)
			print_error("case %zu: %s\n", i, got);
		assert_string_equal(got, cases[i].out);
		assert_true(text_width(got) <= cases[i].columns);
		close_sheet(&s);
	}
}

static int32_t
two_hours(const void *zone, int64_t utc)
{
	(void)zone;
	(void)utc;
	return 7200;
}

static void
times_and_spans(void **state)
{
	static const struct { int64_t ms; const char *out; } spans[] = {
		{ -5, "0 s" }, { 999, "0 s" }, { SECOND, "1 s" }, { 99 * SECOND, "99 s" },
		{ 100 * SECOND, "1 min" }, { 99 * MINUTE, "99 min" }, { 100 * MINUTE, "1 h" },
		{ 49 * HOUR - 1, "48 h" }, { 49 * HOUR, "2 days" }, { 400 * DAY, "400 days" },
	};
	struct sheet s;

	(void)state;
	open_sheet(&s, 80);
	for (size_t i = 0; i < COUNT(spans); i++)
		assert_string_equal(text_span(&s.p, spans[i].ms), spans[i].out);
	assert_string_equal(text_time(&s.p, NO_TIME), "-");
	assert_string_equal(text_day(&s.p, NO_TIME), "-");
	assert_string_equal(text_time(&s.p, 23 * HOUR), "1970-01-01 23:00");
	s.p.zone.offset = two_hours;
	assert_string_equal(text_time(&s.p, 23 * HOUR), "1970-01-02 01:00");
	assert_string_equal(text_day(&s.p, 23 * HOUR), "1970-01-02");
	assert_string_equal(text_time(&s.p, -1), "1970-01-01 01:59");
	assert_string_equal(text_count(&s.p, 1, "site", "sites"), "1 site");
	assert_string_equal(text_count(&s.p, 0, "site", "sites"), "0 sites");
	close_sheet(&s);
}

static void
fills(void **state)
{
	static const struct { int width; const char *first, *in, *out; } cases[] = {
		{ 10, "", "", "\n" },
		{ 10, "", "one two", "one two\n" },
		{ 7, "", "one two", "one two\n" },
		{ 6, "", "one two", "one\ntwo\n" },
		{ 10, "  - ", "one two three", "  - one\n    two\n    three\n" },
		{ 5, "", "abcdefghijkl", "abcde\nfghij\nkl\n" },
		{ 5, "", "ab cdefghij", "ab\ncdefg\nhij\n" },
		{ 6, "", "one  two", "one\ntwo\n" },
		{ 4, "", "K\xc3\xbc" "che aa", "K\xc3\xbc" "ch\ne aa\n" },
		{ 1, "", "\xe4\xb8\xad\xe6\x96\x87", "\xe4\xb8\xad\n\xe6\x96\x87\n" },	/* wider than the page */
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct sheet s;

		open_sheet(&s, cases[i].width);
		page_para(&s.p, cases[i].first, cases[i].in);
		if (strcmp(text(&s), cases[i].out) != 0)
			print_error("case %zu: %s\n", i, text(&s));
		assert_string_equal(text(&s), cases[i].out);
		close_sheet(&s);
	}
}

static void
tables(void **state)
{
	static const struct text_column column[] = {
		{ "zone", true, false }, { "name", false, true }, { "heard", false, false },
	};
	struct sheet s;
	struct table t;

	(void)state;
	open_sheet(&s, 30);
	table_init(&t, &s.p, column, COUNT(column));
	table_add(&t, "1");
	table_add(&t, "K\xc3\xbc" "che");
	table_add(&t, "today");
	table_fmt(&t, "%d", 12);
	table_add(&t, "cellar window to the yard");
	table_add(&t, NULL);
	table_add(&t, NULL);
	table_add(&t, "x\x1bx");
	table_add(&t, "never");
	table_print(&t, 1);
	assert_string_equal(text(&s),
	    " zone  name              heard\n"
	    "    1  K\xc3\xbc" "che             today\n"
	    "   12  cellar window to\n"
	    "       the yard\n"
	    "       x\\x1Bx            never\n");
	close_sheet(&s);
}

static void
no_style_off_a_terminal(void **state)
{
	struct sheet s;
	struct page p;
	FILE *f = tmpfile();

	(void)state;
	assert_non_null(f);
	page_init(&p, f);
	assert_false(p.style);
	assert_false(p.ascii_only);
	assert_int_equal(p.width, TEXT_WIDTH);
	fclose(f);
	open_sheet(&s, 80);
	page_heading(&s.p, STYLE_LOUD, "NOW");
	assert_string_equal(text(&s), "\nNOW\n");
	s.p.style = true;
	page_heading(&s.p, STYLE_LOUD, "NOW");
	assert_string_equal(text(&s), "\nNOW\n\n\033[1;7mNOW\033[0m\n");
	close_sheet(&s);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(made_harmless),
		cmocka_unit_test(cut_by_columns),
		cmocka_unit_test(times_and_spans),
		cmocka_unit_test(fills),
		cmocka_unit_test(tables),
		cmocka_unit_test(no_style_off_a_terminal),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
