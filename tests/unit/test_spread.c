/* test_spread.c - from the times in a file to the span it tells of. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/derive.h"
#include "daemon/spread.h"

/* `n` times from `at` on, `step` apart. */
struct stretch { int64_t at, step; int n; };

#define D(n) (20000 * DAY + (n) * DAY)

/* `to` of a file of several accounts, `lone` of one. */
static const struct { const char *what; struct stretch of[4]; int64_t from, to, lone; } table[] = {
	{ "nothing", { { 0, 0, 0 } }, NO_TIME, NO_TIME, NO_TIME },
	{ "one", { { D(0), 0, 1 } }, D(0), D(0), D(0) },
	{ "out of order", { { D(2), 0, 1 }, { D(0), 0, 1 }, { D(1), 0, 1 } }, D(0), D(2), D(2) },
	{ "before 1970", { { -DAY - 1, 0, 1 }, { -1, 0, 1 } }, -DAY - 1, -1, -1 },
	/* One outlier behind 20 rows and one: a day off, and more than a day. */
	{ "a day ahead", { { D(0), 1, 20 }, { D(1) + 19, 0, 1 } }, D(0), D(1) + 19, D(1) + 19 },
	{ "more than a day ahead", { { D(0), 1, 20 }, { D(1) + 20, 0, 1 } }, D(0), D(0) + 19, D(1) + 20 },
	{ "two more than a day ahead", { { D(0), 1, 20 }, { D(1) + 20, 1, 2 } }, D(0), D(0) + 19, D(1) + 21 },
	{ "three", { { D(0), 1, 40 }, { D(1) + 40, 1, 3 } }, D(0), D(1) + 42, D(1) + 42 },
	/* At a tenth of the rows and under it. */
	{ "a tenth of the rows", { { D(0), 1, 18 }, { D(5), 1, 2 } }, D(0), D(5) + 1, D(5) + 1 },
	{ "under a tenth", { { D(0), 1, 19 }, { D(5), 1, 2 } }, D(0), D(0) + 18, D(5) + 1 },
	{ "the only two rows", { { D(0), 0, 1 }, { D(9), 0, 1 } }, D(0), D(9), D(9) },
	/* One here, one there: both are outliers, as long as each stands more than a day off. */
	{ "two apart", { { D(0), 1, 40 }, { D(4), 0, 1 }, { D(8), 0, 1 } }, D(0), D(0) + 39, D(8) },
	{ "the nearer one is none", { { D(0), 1, 40 }, { D(1), 0, 1 }, { D(8), 0, 1 } }, D(0), D(1), D(8) },
	/* As far off as a reset clock: more than a few rows too. */
	{ "400 days ahead", { { D(0), 1, 40 }, { D(400) + 39, 1, 4 } }, D(0), D(400) + 42, D(400) + 42 },
	{ "more than that", { { D(0), 1, 40 }, { D(400) + 40, 1, 4 } }, D(0), D(0) + 39, D(0) + 39 },
	{ "more, a tenth", { { D(0), 1, 36 }, { D(400) + 40, 1, 4 } }, D(0), D(400) + 43, D(400) + 43 },
	/* What is early is never left out. */
	{ "early", { { D(0), 0, 1 }, { D(900), 1, 40 } }, D(0), D(900) + 39, D(900) + 39 },
};

static void
spans(void **state)
{
	struct spread s = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		for (int backwards = 0; backwards < 2; backwards++) {
			int64_t from, to;

			print_message("%s\n", table[i].what);
			spread_reset(&s);
			for (int k = 0; k < 4; k++) {
				const struct stretch *t = &table[i].of[backwards ? 3 - k : k];

				for (int n = 0; n < t->n; n++)
					spread_add(&s, t->at + t->step * (backwards ? t->n - 1 - n : n));
			}
			spread_span(&s, false, &from, &to);
			assert_int_equal(from, table[i].from);
			assert_int_equal(to, table[i].to);
			spread_span(&s, true, &from, &to);
			assert_int_equal(from, table[i].from);
			assert_int_equal(to, table[i].lone);
		}
	}
	spread_release(&s);
}

static void
within(void **state)
{
	static const struct { int64_t to, from, last; } want[] = {
		{ D(0) - 1, NO_TIME, NO_TIME }, { D(0), D(0), D(0) }, { D(1) + 5, D(0), D(1) + 5 },
		{ D(1) + HOUR, D(0), D(1) + HOUR }, { D(9), D(0), D(1) + HOUR },
	};
	struct spread s = { 0 };

	(void)state;
	spread_add(&s, D(1));
	spread_add(&s, D(0));
	spread_add(&s, D(1) + HOUR);
	for (size_t i = 0; i < sizeof want / sizeof *want; i++) {
		int64_t from, last;

		spread_within(&s, want[i].to, &from, &last);
		assert_int_equal(from, want[i].from);
		assert_int_equal(last, want[i].last);
	}
	spread_release(&s);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(spans),
		cmocka_unit_test(within),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
