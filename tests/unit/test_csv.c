/* parsers/csv: every case at every read size. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/arena.h"
#include "parsers/bytes.h"
#include "parsers/csv.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))
#define UNCLOSED "quote opened here is never closed"
#define BEHIND   "text behind a closing quote; a quote in a quoted cell is doubled"
#define ROW_OVER "row longer than the limit"
#define ROW_CUT  "row longer than the limit; only its beginning is kept here"
#define CELL_OVER "cell longer than the limit"

struct limits { size_t row, cell; };
static const struct limits no_limits = { 0, 0 };

/* Records as text: "LINE<cell><cell>" or "LINE!reason|raw", a line feed after each. */
static void
flatten(struct arena *a, const char *in, size_t n, size_t step, char sep, bool cr, bool survey,
    struct limits l, char **out)
{
	struct csv_options o = { .row_limit = l.row, .cell_limit = l.cell, .read_size = step };
	struct err e = { 0 };
	struct bytes *b = bytes_memory("memory", in, n, step, &e);
	struct csv *c;
	struct csv_row row;
	struct span head;
	enum csv_result got;

	*out = arena_fmt(a, "%s", "");
	assert_non_null(b);
	c = csv_open(b, &o);
	if (survey)
		assert_int_equal(csv_survey(c, &head, &e), 0);
	csv_rewind(c, sep, cr);
	if (survey) {
		while (csv_next(c, &row, &e) > 0)
			;
		csv_begin(c);
	}
	while ((got = csv_next(c, &row, &e)) > 0) {
		*out = arena_fmt(a, "%s%llu", *out, (unsigned long long)row.line);
		if (got == CSV_ASIDE)
			*out = arena_fmt(a, "%s!%s|%.*s", *out, row.reason, (int)row.raw.n,
			    row.raw.n ? row.raw.p : "");
		for (size_t i = 0; i < row.n; i++)
			*out = arena_fmt(a, "%s<%.*s>", *out, (int)row.cell[i].n,
			    row.cell[i].n ? row.cell[i].p : "");
		*out = arena_fmt(a, "%s\n", *out);
	}
	assert_int_equal(got, CSV_END);
	csv_close(c);
	bytes_close(b);
}

static void
same_at_every_read_size(const char *in, size_t n, const char *want, char sep, bool cr,
    struct limits l, size_t first, size_t last)
{
	struct arena a = { 0 };

	for (size_t step = first; step <= last; step++) {
		for (int survey = 0; survey < 2; survey++) {
			char *out;

			flatten(&a, in, n, step, sep, cr, survey, l, &out);
			if (strcmp(out, want) != 0)
				print_error("reads of %zu, survey %d, input:\n%s\n", step,
				    survey, n < 2000 ? in : "(long)");
			assert_string_equal(out, want);
			arena_reset(&a);
		}
	}
	arena_release(&a);
}

static void
records(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ "", "" },
		{ "a,b\n", "1<a><b>\n" },
		{ "a,b", "1<a><b>\n" },
		{ "a,b\r\nc,\r\n", "1<a><b>\n2<c><>\n" },
		{ "a,b\r\nc,d\r", "1<a><b>\n2<c><d>\n" },
		{ ",\n,x\n", "2<><x>\n" },
		{ "\n\n\na\n\n", "4<a>\n" },
		{ " \t\na\n,, ,\r\n\"\",\"\"\nb\n", "2<a>\n5<b>\n" },
		/* RFC 4180 section 2, rules 2 to 7 */
		{ "aaa,bbb,ccc\nzzz,yyy,xxx", "1<aaa><bbb><ccc>\n2<zzz><yyy><xxx>\n" },
		{ "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", "1<aaa><bbb><ccc>\n2<zzz><yyy><xxx>\n" },
		{ "\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx\r\n",
		  "1<aaa><b\r\nbb><ccc>\n3<zzz><yyy><xxx>\n" },
		{ "\"aaa\",\"b\"\"bb\",\"ccc\"\n", "1<aaa><b\"bb><ccc>\n" },
		{ "\"a,b\",\"c\nd\",\"\"\"\"\n", "1<a,b><c\nd><\">\n" },
		{ "\"\",x\n", "1<><x>\n" },
		{ "\"\"\"\"\"\"\n", "1<\"\">\n" },
		/* blanks around cells and around quotes */
		{ " a , b\t, \" c \" ,d\n", "1<a><b><c><d>\n" },
		{ "\"x\" \t\r\ny\n", "1<x>\n2<y>\n" },
		/* a quote in an unquoted cell is a character like others */
		{ "5\" pipe,a\"b\",\"c\"\n", "1<5\" pipe><a\"b\"><c>\n" },
		{ "a\"\n\"b\"\n", "1<a\">\n2<b>\n" },
		/* text behind a closing quote */
		{ "\"a\"b,c\nd\n", "1!" BEHIND "|\"a\"b,c\n2<d>\n" },
		{ "x,\"a \"b\" c\",d\r\ne\r\n", "1!" BEHIND "|x,\"a \"b\" c\",d\n2<e>\n" },
		{ "\"a\" b", "1!" BEHIND "|\"a\" b\n" },
		{ "\"a\"\rb\n", "1!" BEHIND "|\"a\"\rb\n" },
		/* quotes that are never closed: the lines after them come back */
		{ "\"", "1!" UNCLOSED "|\"\n" },
		{ "a\n\"b", "1<a>\n2!" UNCLOSED "|\"b\n" },
		{ "a\n\"b\nc\nd,e\n", "1<a>\n2!" UNCLOSED "|\"b\n3<c>\n4<d><e>\n" },
		{ "a,\"b\r\nc\r\n", "1!" UNCLOSED "|a,\"b\n2<c>\n" },
		{ "a,\"b\nc,\"d, e\"\nf\n", "1!" UNCLOSED "|a,\"b\n2<c><d, e>\n3<f>\n" },
		{ "a,\"b\n\"c\",d\n", "1!" UNCLOSED "|a,\"b\n2<c><d>\n" },
		{ "a,\"b\nc,\"\"\nd,\"e\"\n", "1!" UNCLOSED "|a,\"b\n2<c><>\n3<d><e>\n" },
		{ "\"a\nb\",\"c\nd\n", "1!" UNCLOSED "|\"a\nb\",\"c\n3<d>\n" },
		{ "a,\"b\nc\nd,\"\n", "1<a><b\nc\nd,>\n" },	/* nothing speaks against it */
		{ "x,\"\"\"\n", "1!" UNCLOSED "|x,\"\"\"\n" },
		{ "x,\"a\"\"\n", "1!" UNCLOSED "|x,\"a\"\"\n" },
		{ "x,\"a\"\",\ny\n", "1!" UNCLOSED "|x,\"a\"\",\n2<y>\n" },
		/* otherwise a lone CR is a character */
		{ "a\rb,c\n", "1<a\rb><c>\n" },
		/* bytes that are no ASCII */
		{ "\xef\xbb\xbf" "a\nb", "1<a>\n2<b>\n" },
		{ "\xef\xbb", "1<\xc3\xaf\xc2\xbb>\n" },
		{ "caf\xc3\xa9,\xe2\x82\xac\n", "1<caf\xc3\xa9><\xe2\x82\xac>\n" },
		{ "caf\xe9,\"\x80 5\"\n\xc3\xa9\n", "1<caf\xc3\xa9><\xe2\x82\xac 5>\n2<\xc3\xa9>\n" },
		{ "\xff,\xff\n", "1<\xc3\xbf><\xc3\xbf>\n" },
		{ "\"caf\xe9\"x\n", "1!" BEHIND "|\"caf\xc3\xa9\"x\n" },
		{ "\"\xe9\"\"\",\xe9\n", "1<\xc3\xa9\"><\xc3\xa9>\n" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		size_t n = strlen(cases[i].in);

		same_at_every_read_size(cases[i].in, n, cases[i].out, ',', false, no_limits,
		    1, n + 1);
	}
}

static void
dialects(void **state)
{
	static const struct { const char *in, *out; char sep; bool cr; } cases[] = {
		/* separators */
		{ "a;b,c;\"d;e\"\n", "1<a><b,c><d;e>\n", ';', false },
		{ "a\tb c\t\" d\"\n\tx\n\t\t\n", "1<a><b c><d>\n2<><x>\n", '\t', false },
		{ "\"a\" \tb\n", "1<a><b>\n", '\t', false },
		/* CR alone as line end; a LF after it belongs to it */
		{ "a,b\rc,d\r", "1<a><b>\n2<c><d>\n", ',', true },
		{ "a,b\rc,\"d\re\"\rf", "1<a><b>\n2<c><d\re>\n4<f>\n", ',', true },
		{ "a\r\nb\r\rc\n\nd\n", "1<a>\n2<b>\n4<c>\n6<d>\n", ',', true },
		{ "\"a\r\nb\"\r\nc\r\n", "1<a\r\nb>\n3<c>\n", ',', true },
		{ "\"a\rb\rc\r", "1!" UNCLOSED "|\"a\n2<b>\n3<c>\n", ',', true },
		{ "\"a\"x\rb\r\n\"c\n", "1!" BEHIND "|\"a\"x\n2<b>\n3!" UNCLOSED "|\"c\n", ',', true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		size_t n = strlen(cases[i].in);

		same_at_every_read_size(cases[i].in, n, cases[i].out, cases[i].sep, cases[i].cr,
		    no_limits, 1, n + 1);
	}
}

static void
zero_bytes(void **state)
{
	static const char in[] = "a,b\nc\0d,e\n\0\nf\n";
	struct arena a = { 0 };

	(void)state;
	for (size_t step = 1; step <= sizeof in; step++) {
		struct csv_options o = { .read_size = step };
		struct err e;
		struct bytes *b = bytes_memory("memory", in, sizeof in - 1, step, &e);
		struct csv *c = csv_open(b, &o);
		struct csv_row row;

		assert_int_equal(csv_next(c, &row, &e), CSV_ROW);
		assert_int_equal(csv_next(c, &row, &e), CSV_ASIDE);
		assert_string_equal(row.reason, "zero byte in the row");
		assert_int_equal(row.raw.n, 5);
		assert_memory_equal(row.raw.p, "c\0d,e", 5);
		assert_int_equal(csv_next(c, &row, &e), CSV_ASIDE);
		assert_int_equal(row.line, 3);
		assert_int_equal(csv_next(c, &row, &e), CSV_ROW);
		assert_int_equal(row.line, 4);
		assert_int_equal(csv_next(c, &row, &e), CSV_END);
		assert_int_equal(csv_next(c, &row, &e), CSV_END);
		csv_close(c);
		bytes_close(b);
	}
	arena_release(&a);
}

/* Row limit 8, cell limit 5: just below, at, above; with either line end, in
 * quotes and out of them. A row may be 16 times as long and is still kept whole. */
static void
limits(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ "123,567\nx\n", "1<123><567>\n2<x>\n" },
		{ "123,5678\nx\n", "1<123><5678>\n2<x>\n" },
		{ "123,5678\r\nx\n", "1<123><5678>\n2<x>\n" },
		{ "123,5678", "1<123><5678>\n" },
		{ "123,56789\nx\n", "1!" ROW_OVER "|123,56789\n2<x>\n" },
		{ "123,56789\r\nx\n", "1!" ROW_OVER "|123,56789\n2<x>\n" },
		{ "123,56789", "1!" ROW_OVER "|123,56789\n" },
		{ "123,56789\r", "1!" ROW_OVER "|123,56789\n" },
		{ "123,567\r\r\nx\n", "1<123><567\r>\n2<x>\n" },
		{ "123,5678\r\r\nx\n", "1!" ROW_OVER "|123,5678\r\n2<x>\n" },
		{ "1234,6,8\nx\n", "1<1234><6><8>\n2<x>\n" },
		{ "12345,,\nx\n", "1<12345><><>\n2<x>\n" },
		{ "123456,\nx\n", "1!" CELL_OVER "|123456,\n2<x>\n" },
		{ "1,345678\nx\n", "1!" CELL_OVER "|1,345678\n2<x>\n" },
		{ "\"12345\"\nx\n", "1<12345>\n2<x>\n" },
		{ "\"123456\"\nx\n", "1!" CELL_OVER "|\"123456\"\n2<x>\n" },
		{ "\"1234567\"\nx\n", "1!" ROW_OVER "|\"1234567\"\n2<x>\n" },
		{ "\"12345\" \nx\n", "1<12345>\n2<x>\n" },
		{ "\"12345\"  \nx\n", "1!" ROW_OVER "|\"12345\"  \n2<x>\n" },
		{ "\"12345\"   \nx\n", "1!" ROW_OVER "|\"12345\"   \n2<x>\n" },
		{ "\"12345\"          y\nx\n", "1!" ROW_OVER "|\"12345\"          y\n2<x>\n" },
		{ "\"1\n34\",78\nx\n", "1!" ROW_OVER "|\"1\n34\",78\n3<x>\n" },
		{ "\"1\n34\",7\nx\n", "1<1\n34><7>\n3<x>\n" },
		{ "\"12345678\"\nx\n", "1!" ROW_OVER "|\"12345678\"\n2<x>\n" },
		{ "\"12345678\nx\n", "1!" ROW_OVER "|\"12345678\n2<x>\n" },
		{ "a,\"12345", "1!" UNCLOSED "|a,\"12345\n" },
		{ "a,\"123456", "1!" ROW_OVER "|a,\"123456\n" },
		/* no end of a blank line */
		{ "         \nx\n", "1!" ROW_OVER "|         \n2<x>\n" },
	};
	static const struct limits l = { 8, 5 };
	char long_row[200], want[400];

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		size_t n = strlen(cases[i].in);

		same_at_every_read_size(cases[i].in, n, cases[i].out, ',', false, l, 1, n + 1);
	}
	for (size_t n = 8 * CSV_KEEP - 1; n <= 8 * CSV_KEEP + 2; n++) {
		for (int crlf = 0; crlf < 2; crlf++) {
			memset(long_row, 'r', n);
			snprintf(long_row + n, sizeof long_row - n, "%s\nx\n", crlf ? "\r" : "");
			snprintf(want, sizeof want, "1!%s|%.*s\n2<x>\n",
			    n > 8 * CSV_KEEP ? ROW_CUT : ROW_OVER,
			    (int)(n > 8 * CSV_KEEP ? 8 * CSV_KEEP : n), long_row);
			same_at_every_read_size(long_row, strlen(long_row), want, ',', false, l,
			    1, strlen(long_row) + 1);
		}
	}
}

/* Still open at the limit: with a line end inside, the quote is a lost one. */
static void
lost_quote_at_the_limit(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ "\"1\n345\n789\"\nx\n", "1!" UNCLOSED "|\"1\n2<345>\n3<789\">\n4<x>\n" },
		{ "\"1\n345678\"\nx\n", "1!" UNCLOSED "|\"1\n2!" CELL_OVER "|345678\"\n3<x>\n" },
		{ "a,\"b\nc\nd,\"\n", "1!" UNCLOSED "|a,\"b\n2<c>\n3!" UNCLOSED "|d,\"\n" },
	};
	static const struct limits l = { 8, 6 };

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		size_t n = strlen(cases[i].in);

		same_at_every_read_size(cases[i].in, n, cases[i].out, ',', false, l, 1, n + 1);
	}
}

/* A long lost quote in a file of many rows costs one row, and the default limits say
 * their numbers. */
static void
default_limits(void **state)
{
	enum { ROWS = 3000 };
	size_t cap = 200 * 1024, n = 0, rows = 0, aside = 0;
	char *in = malloc(cap);
	struct csv_options o = { 0 };
	struct err e;
	struct bytes *b;
	struct csv *c;
	struct csv_row row;
	enum csv_result got;

	(void)state;
	n += (size_t)snprintf(in + n, cap - n, "a,\"lost\n");
	for (int i = 0; i < ROWS; i++)
		n += (size_t)snprintf(in + n, cap - n, "%d,some text of a row\n", i);
	b = bytes_memory("memory", in, n, 0, &e);
	c = csv_open(b, &o);
	while ((got = csv_next(c, &row, &e)) > 0) {
		if (got == CSV_ROW) {
			rows++;
			assert_int_equal(row.line, rows + 1);
		} else {
			aside++;
			assert_string_equal(row.reason, UNCLOSED);
			assert_int_equal(row.line, 1);
		}
	}
	assert_int_equal(rows, ROWS);
	assert_int_equal(aside, 1);
	csv_close(c);
	bytes_close(b);

	for (size_t len = 64 * 1024 - 1; len <= 64 * 1024 + 1; len++) {
		memset(in, ' ', len);
		in[0] = in[len - 1] = 'x';
		memcpy(in + 10, ",y,", 3);
		for (size_t k = 100; k < len - 1; k += 100)
			in[k] = ',';
		in[len] = '\n';
		b = bytes_memory("memory", in, len + 1, 0, &e);
		c = csv_open(b, &o);
		assert_int_equal(csv_next(c, &row, &e), len > 64 * 1024 ? CSV_ASIDE : CSV_ROW);
		if (len > 64 * 1024)
			assert_string_equal(row.reason, "row longer than the limit of 65536 bytes");
		assert_int_equal(row.raw.n, len);
		csv_close(c);
		bytes_close(b);
	}
	for (size_t len = 16 * 1024 - 1; len <= 16 * 1024 + 1; len++) {
		memset(in, 'c', len);
		memcpy(in + len, ",d\n", 3);
		b = bytes_memory("memory", in, len + 3, 0, &e);
		c = csv_open(b, &o);
		assert_int_equal(csv_next(c, &row, &e), len > 16 * 1024 ? CSV_ASIDE : CSV_ROW);
		if (len > 16 * 1024)
			assert_string_equal(row.reason, "cell longer than the limit of 16384 bytes");
		csv_close(c);
		bytes_close(b);
	}
	free(in);
}

/* The survey shows the head only, and does not cost a record at its border. */
static void
survey_border(void **state)
{
	size_t cap = CSV_SURVEY + 4096, n = 0, rows = 0, head_rows = 0, all = 0;
	char *in = malloc(cap);
	struct csv_options o = { 0 };
	struct err e;
	struct bytes *b;
	struct csv *c;
	struct csv_row row;
	struct span head;

	(void)state;
	while (n + 100 < cap) {
		n += (size_t)snprintf(in + n, cap - n, "%zu,\"x\ny\",z\n", all);
		all++;
	}
	for (size_t step = 1; step <= 70000; step = step * 3 + 1) {
		size_t in_head = 0;

		b = bytes_memory("memory", in, n, step, &e);
		o.read_size = step;
		c = csv_open(b, &o);
		assert_int_equal(csv_survey(c, &head, &e), 0);
		assert_int_equal(head.n, CSV_SURVEY);
		while (csv_next(c, &row, &e) > 0)
			in_head++;
		assert_true(in_head < all);
		if (head_rows)
			assert_int_equal(in_head, head_rows);
		head_rows = in_head;
		csv_begin(c);
		rows = 0;
		while (csv_next(c, &row, &e) > 0) {
			assert_int_equal(row.line, rows * 2 + 1);
			rows++;
		}
		assert_int_equal(rows, all);
		csv_close(c);
		bytes_close(b);
	}
	free(in);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(records),
		cmocka_unit_test(dialects),
		cmocka_unit_test(zero_bytes),
		cmocka_unit_test(limits),
		cmocka_unit_test(lost_quote_at_the_limit),
		cmocka_unit_test(default_limits),
		cmocka_unit_test(survey_border),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
