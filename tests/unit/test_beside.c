/* parsers/beside: what is no row, and is neither lost nor bad. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "parsers/beside.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
headers(void **state)
{
	struct beside b = { .header = SPAN("account,time,event"), .above = { SPAN("Log"), SPAN("of 7") },
		.n_above = 2, .n_title = 2 };
	struct arena a = { 0 };

	(void)state;
	assert_false(beside_rows(&b, SPAN("1,2,3"), true));
	assert_false(beside_rows(&b, SPAN("1,2,x"), false));
	assert_int_equal(b.since, 2);
	assert_true(beside_rows(&b, SPAN("Log"), false));
	assert_true(beside_rows(&b, SPAN("account,time,event"), false));
	assert_int_equal(b.since, 0);
	assert_int_equal(b.all, 2);
	assert_true(beside_rows(&b, SPAN("\xef\xbb\xbf" "of 7"), false));
	assert_true(beside_rows(&b, SPAN("\xef\xbb\xbf" "account,time,event"), true));
	assert_false(beside_rows(&b, SPAN("account,time,events"), false));
	assert_false(beside_rows(&b, SPAN("Log"), true));	/* a row, if it can be one */
	assert_false(beside_rows(&b, SPAN(""), false));
	assert_string_equal(beside_text(&a, &b), "4 lines above the header, 2 headers once more");
	b = (struct beside){ .n_title = 1, .n_header = 1, .n_count = 1 };
	assert_string_equal(beside_text(&a, &b),
	    "1 line above the header, 1 header once more, 1 row count");
	b = (struct beside){ .n_count = 2 };
	assert_string_equal(beside_text(&a, &b), "2 row counts");
	b = (struct beside){ 0 };
	assert_string_equal(beside_text(&a, &b), "");
	arena_release(&a);
}

static void
row_counts(void **state)
{
	static const struct { const char *raw; uint64_t since, all; bool is; } cases[] = {
		{ "Total: 42", 42, 42, true }, { "Total: 42", 41, 42, true }, { "Total: 42", 42, 99, true },
		{ "Total: 42", 41, 41, false }, { "Total: 42", 43, 43, false },
		{ "(42 rows)", 42, 42, true }, { "42 rows", 42, 42, true }, { "42,rows,,", 42, 42, true },
		{ "rows;42", 42, 42, true }, { "Anzahl Datens\xc3\xa4tze\t42", 42, 42, true },
		{ "0 rows", 0, 0, true }, { "1 row", 1, 1, true }, { "1 ro", 1, 1, false },
		{ "1,204 rows", 1204, 1204, true }, { "\"Total: 1.204.000\"", 1204000, 1204000, true },
		{ "1'204 rows", 1204, 1204, true }, { "1,20 rows", 120, 120, false },
		{ "1,2045 rows", 12045, 12045, false }, { "Total 42.", 42, 42, true },
		{ "42", 42, 42, false }, { "42,,", 42, 42, false }, { "", 0, 0, false },
		{ "A42,,rows", 42, 42, false }, { "42nd row", 42, 42, false },
		{ "42 of 42 rows", 42, 42, false }, { "rows: 42 (2026)", 42, 42, false },
		{ "Total: 1234567890123456789012", 1, 1, false },
		{ "2,UTC,x", 2, 2, false }, { "42,Mill", 42, 42, false }, { "42 rowsx", 42, 42, false },
		{ "ROWS IN ALL 42", 42, 42, true }, { "42 Eintr\xc3\xa4ge", 42, 42, true },
		{ "end of report", 0, 0, false }, { "Total: 42\xc3\xa4", 42, 42, false },
	};
	struct beside b;
	char big[230];

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		b = (struct beside){ .header = SPAN("h"), .since = cases[i].since, .all = cases[i].all };
		if (beside_rows(&b, span_of(cases[i].raw), false) != cases[i].is)
			print_error("\"%s\"\n", cases[i].raw);
		assert_int_equal(b.n_count, cases[i].is);
		assert_int_equal(b.all, cases[i].all + !cases[i].is);
		assert_false(beside_rows(&b, span_of(cases[i].raw), true));
	}
	/* longer than any footer */
	memset(big, ' ', sizeof big);
	memcpy(big, "7 rows", 6);
	for (size_t n = 199; n <= 201; n++) {
		b = (struct beside){ .header = SPAN("h"), .since = 7 };
		assert_int_equal(beside_rows(&b, (struct span){ big, n }, false), n <= 200);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(headers), cmocka_unit_test(row_counts) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
