/* parsers/direction: newest first or oldest first, by the steps from row to row. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <cmocka.h>

#include "parsers/direction.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* Rows as "account time received" with one letter and one digit each; '-' = not given. */
static bool
newest_first(const char *rows)
{
	struct direction *d = calloc(1, sizeof *d);
	bool out;

	for (const char *p = rows; *p; p += p[3] ? 4 : 3) {
		if (p[1] != '-')
			direction_add(d, (struct span){ p, 1 }, DIRECTION_TIME, p[1] - '0');
		if (p[2] != '-')
			direction_add(d, (struct span){ p, 1 }, DIRECTION_RECEIVED, p[2] - '0');
	}
	out = direction_newest_first(d);
	free(d);
	return out;
}

static void
files(void **state)
{
	static const struct { const char *rows; bool newest; } cases[] = {
		{ "", false }, { "a1-", false }, { "a--", false },
		{ "a1- a2-", false }, { "a2- a1-", true },
		/* plateaus: equal times tell nothing */
		{ "a1- a1- a1- a1-", false }, { "a5- a5- a5- a4- a4- a4-", true },
		{ "a4- a4- a4- a5- a5- a5-", false }, { "a9- a9- a8- a8- a7-", true },
		/* one late row */
		{ "a1- a2- a0- a3- a4-", false }, { "a4- a3- a9- a2- a1-", true },
		{ "a2- a3- a1-", false }, { "a3- a2- a9-", false },
		/* twice as many down as up, and less than that */
		{ "a5- a4- a3- a9-", true }, { "a5- a4- a6- a5- a7- a6-", false },
		{ "a2- a1- a2-", false },
		/* sorted by account, oldest first and newest first in each */
		{ "a1- a2- b1- b2- c1- c2-", false }, { "a8- a9- b5- b6- c2- c3-", false },
		{ "a2- a1- b5- b4- c9- c8-", true }, { "a2- a1- b2- b1-", true },
		{ "A2- a1- b2- B1-", true },
		/* one row an account: then any step */
		{ "a1- b2- c3-", false }, { "a3- b2- c1-", true },
		/* receipt before event */
		{ "a31 a22 a13", false }, { "a13 a22 a31", true }, { "a12 a22 a32", false },
		{ "a32 a22 a12", true }, { "a3- a21 a1-", true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		if (newest_first(cases[i].rows) != cases[i].newest)
			print_error("%s\n", cases[i].rows);
		assert_int_equal(newest_first(cases[i].rows), cases[i].newest);
	}
}

/* More accounts than are remembered: the order between them still tells. */
static void
many(void **state)
{
	(void)state;
	for (int down = 0; down < 2; down++) {
		struct direction *d = calloc(1, sizeof *d);

		for (int i = 0; i < 3 * DIRECTION_ACCOUNTS; i++) {
			char name[16];

			snprintf(name, sizeof name, "%d", i);
			direction_add(d, span_of(name), DIRECTION_TIME, down ? -i : i);
		}
		assert_int_equal(direction_newest_first(d), down);
		free(d);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(files), cmocka_unit_test(many) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
