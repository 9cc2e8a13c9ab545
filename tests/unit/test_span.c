/* base/span: comparing, hashing, checked numbers. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/span.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
trims(void **state)
{
	static const struct { const char *in, *out; } cases[] = {
		{ "", "" }, { " ", "" }, { "\t \t", "" }, { "a", "a" }, { " a b\t", "a b" },
		{ "\na\r", "\na\r" }, { "\xa0x", "\xa0x" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++)
		assert_true(span_eq(span_trim(span_of(cases[i].in)), span_of(cases[i].out)));
	assert_int_equal(span_trim((struct span){ NULL, 0 }).n, 0);
	assert_null(span_of(NULL).p);
}

static void
equal(void **state)
{
	static const struct { const char *a, *b; bool eq, fold; } cases[] = {
		{ "", "", true, true }, { "a", "a", true, true }, { "a", "A", false, true },
		{ "a", "b", false, false }, { "a", "ab", false, false },
		{ "[", "{", false, false }, { "@", "`", false, false },
		{ "E130-z", "e130-Z", false, true }, { "\xc3\x84", "\xc3\xa4", false, false },
		{ "abcdefghi", "abcdefghI", false, true },
		{ "abcdefghijklmnopq", "ABCDEFGHIJKLMNOPQ", false, true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct span a = span_of(cases[i].a), b = span_of(cases[i].b);

		assert_int_equal(span_eq(a, b), cases[i].eq);
		assert_int_equal(span_eq_fold(a, b), cases[i].fold);
		assert_int_equal(span_hash(a) == span_hash(b), cases[i].eq);
		assert_int_equal(span_hash_fold(a) == span_hash_fold(b), cases[i].fold);
	}
	assert_true(span_eq((struct span){ NULL, 0 }, SPAN("")));
	assert_int_equal(span_hash((struct span){ NULL, 0 }), span_hash(SPAN("")));
	assert_false(span_eq((struct span){ "a\0b", 3 }, (struct span){ "a\0c", 3 }));
	assert_true(span_hash((struct span){ "\0", 1 }) != span_hash((struct span){ "\0\0", 2 }));
}

/* Many short, similar texts: no two share a hash, and the low bits are spread. */
static void
hash_spreads(void **state)
{
	enum { N = 20000, SLOTS = 1 << 15 };
	static uint64_t h[2][N];
	static unsigned char used[2][SLOTS];
	int filled[2] = { 0, 0 };

	(void)state;
	for (int i = 0; i < N; i++) {
		char text[32];
		int n = snprintf(text, sizeof text, "zone %d of 00%d", i % 100, i);

		h[0][i] = span_hash((struct span){ text, (size_t)n });
		h[1][i] = span_hash_fold((struct span){ text, (size_t)n });
		for (int k = 0; k < 2; k++) {
			filled[k] += !used[k][h[k][i] % SLOTS];
			used[k][h[k][i] % SLOTS] = 1;
		}
	}
	for (int k = 0; k < 2; k++) {
		uint64_t *all = h[k];

		/* throwing 20000 balls into 32768 urns fills about 14960 of them */
		assert_in_range(filled[k], 14400, 15500);
		for (int i = 1; i < N; i++) {
			uint64_t v = all[i];
			int at = i;

			if (i > 3000)
				break;
			for (; at > 0 && all[at - 1] > v; at--)
				all[at] = all[at - 1];
			all[at] = v;
			assert_true(at == 0 || all[at - 1] != v);
		}
	}
}

static void
whole_numbers(void **state)
{
	static const struct { const char *text; bool ok; int64_t v; } cases[] = {
		{ "0", true, 0 }, { "7", true, 7 }, { "007", true, 7 }, { "99", true, 99 },
		{ "100", true, 100 }, { "101", false, 0 }, { "", false, 0 }, { "-1", false, 0 },
		{ "+1", false, 0 }, { " 1", false, 0 }, { "1 ", false, 0 }, { "1.0", false, 0 },
		{ "0x1", false, 0 }, { "1e1", false, 0 },
		{ "999999999999999999", false, 0 }, { "9999999999999999999", false, 0 },
		{ "99999999999999999999999999", false, 0 },
		{ "00000000000000000000000001", false, 0 },
	};
	int64_t v;

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		v = -42;
		assert_int_equal(span_to_int(span_of(cases[i].text), 0, 100, &v), cases[i].ok);
		assert_int_equal(v, cases[i].ok ? cases[i].v : -42);
	}
	assert_true(span_to_int(SPAN("999999999999999999"), 0, INT64_MAX, &v));
	assert_int_equal(v, INT64_C(999999999999999999));
	assert_false(span_to_int(SPAN("1000000000000000000"), 0, INT64_MAX, &v));
	assert_false(span_to_int(SPAN("4"), 5, 9, &v));
	assert_true(span_to_int(SPAN("5"), 5, 9, &v));
	assert_true(span_to_int(SPAN("9"), 5, 9, &v));
}

static void
decimals(void **state)
{
	static const struct { const char *text; bool ok; double v; } cases[] = {
		{ "0", true, 0 }, { "-71.5", true, -71.5 }, { "+3", true, 3 }, { ".5", true, 0.5 },
		{ "5.", true, 5 }, { "0.125", true, 0.125 }, { "-0", true, 0 },
		{ "", false, 0 }, { "-", false, 0 }, { ".", false, 0 }, { "-.", false, 0 },
		{ "1.2.3", false, 0 }, { "1,5", false, 0 }, { "--1", false, 0 },
		{ "inf", false, 0 }, { "nan", false, 0 }, { " 1", false, 0 },
		{ "100000000000000000", true, 1e17 },
		{ "1234567890123456789", false, 0 },
		/* As %g writes small and large ones. */
		{ "1e-06", true, 1e-6 }, { "-2.5E-3", true, -0.0025 }, { "1e3", true, 1000 },
		{ "1.5e+07", true, 1.5e7 }, { "0.1e1", true, 1 }, { "1e0", true, 1 },
		{ "1e22", true, 1e22 }, { "1e-22", true, 1e-22 }, { "1e23", false, 0 },
		{ "1e-23", false, 0 }, { "1e", false, 0 }, { "1e-", false, 0 }, { "e5", false, 0 },
		{ "-e5", false, 0 }, { "1e+-2", false, 0 }, { "1e2.5", false, 0 }, { "1e2e2", false, 0 },
		{ "1e 2", false, 0 }, { "1e999999999999999999999", false, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		double v = -42;

		assert_int_equal(span_to_num(span_of(cases[i].text), &v), cases[i].ok);
		assert_true(v == (cases[i].ok ? cases[i].v : -42));
	}
}

static void
durations(void **state)
{
	static const struct { const char *text; bool ok; int64_t ms; } cases[] = {
		{ "1s", true, 1000 }, { "200s", true, 200000 }, { "90m", true, 5400000 },
		{ "12h", true, 43200000 }, { "30d", true, INT64_C(2592000000) },
		{ "12H", true, 43200000 }, { "010m", true, 600000 },
		{ "10000000d", true, INT64_C(864000000000000) },
		{ "10000001d", false, 0 }, { "0s", false, 0 }, { "", false, 0 }, { "s", false, 0 },
		{ "12", false, 0 }, { "12 h", false, 0 }, { "1.5h", false, 0 }, { "-1h", false, 0 },
		{ "1w", false, 0 }, { "1ms", false, 0 }, { "h1", false, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		int64_t ms = -42;

		assert_int_equal(span_to_duration(span_of(cases[i].text), &ms), cases[i].ok);
		assert_int_equal(ms, cases[i].ok ? cases[i].ms : -42);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(trims),
		cmocka_unit_test(equal),
		cmocka_unit_test(hash_spreads),
		cmocka_unit_test(whole_numbers),
		cmocka_unit_test(decimals),
		cmocka_unit_test(durations),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
