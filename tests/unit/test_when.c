/* Instants and durations as words. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>

#include <cmocka.h>

#include "rules/when.h"
#include "tests/unit/help_view.h"

static void
lasting(void **state)
{
	static const struct {
		int64_t     ms;
		const char *text;
	} cases[] = {
		{ 0, "0 s" },
		{ 999, "0 s" },
		{ 200 * SECOND, "200 s" },
		{ 5 * MINUTE - 1, "299 s" },
		{ 5 * MINUTE, "5 min" },
		{ 3 * HOUR - 1, "179 min" },
		{ 3 * HOUR, "3 h" },
		{ 4 * DAY - 1, "95 h" },
		{ 4 * DAY, "4 days" },
		{ 400 * DAY, "400 days" },
		{ INT64_MAX, "106751991167 days" },
	};
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
		assert_string_equal(when_lasting(&a, cases[i].ms), cases[i].text);
	arena_release(&a);
}

/* Before and after a change of the clock, before the first event, without any. */
static void
local(void **state)
{
	struct view v;

	(void)state;
	help_view(&v, "account A1\nnow 2026-12-01Z\n"
	    "2026-10-20T08:00:00+02:00 arm\n2026-10-30T08:00:00+01:00 arm\n");
	v.event[0].offset = 2 * 3600;
	v.event[1].offset = 3600;
	assert_string_equal(when_local(&v, &v.arena, help_time("2026-10-20T06:00Z")),
	    "2026-10-20 08:00 local");
	assert_string_equal(when_local(&v, &v.arena, help_time("2026-10-01T06:00Z")),
	    "2026-10-01 08:00 local");
	assert_string_equal(when_local(&v, &v.arena, help_time("2026-10-30T06:59:59Z")),
	    "2026-10-30 08:59 local");
	assert_string_equal(when_local(&v, &v.arena, help_time("2026-10-30T07:00Z")),
	    "2026-10-30 08:00 local");
	assert_string_equal(when_local(&v, &v.arena, help_time("2026-11-30T07:00Z")),
	    "2026-11-30 08:00 local");
	view_release(&v);

	help_view(&v, "account A1 tz=+02:00\nnow 2026-10-01Z\n");
	assert_string_equal(when_local(&v, &v.arena, help_time("2026-10-01T06:00Z")),
	    "2026-10-01 06:00 UTC");
	view_release(&v);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(lasting),
		cmocka_unit_test(local),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
