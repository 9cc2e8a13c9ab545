/* test_counting.c - weeks, devices and work of literal logs; kept, and read again. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "daemon/counting.h"
#include "rules/repair.h"
#include "tests/unit/help_store.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* "covered activations alarms life" of each week, in hours. */
static const char *
weeks(struct arena *a, const struct signals *x)
{
	const char *out = "";

	for (size_t i = 0; i < x->n_week; i++)
		out = arena_fmt(a, "%s%s%lld %lld %lld %lld", out, i ? ", " : "",
		    (long long)x->week[i].covered / 60, (long long)x->week[i].activations,
		    (long long)x->week[i].alarms, (long long)x->week[i].life);
	return out;
}

/* 2026-09-28 is a Monday: civil.h's own weekday, and any calendar. */
static const struct { const char *what, *log, *monday, *weeks; } cases[] = {
	{ "the second before Monday is the week before",
	  "\ncover 2026-09-28T00:00Z 2026-10-12T00:00Z\n"
	  "2026-10-04T23:59:59Z zone-open zone=1\n2026-10-05T00:00:00Z zone-close zone=1\n"
	  "2026-10-05T00:00:01Z zone-open zone=1\n", "2026-09-28", "168 1 0 0, 168 1 0 0, 0 0 0 0" },
	{ "a week covered in part, one not at all",
	  "\ncover 2026-09-30T00:00Z 2026-10-01T12:00Z\ncover 2026-10-13T00:00Z 2026-10-14T00:00Z\n"
	  "2026-10-13T10:00:00Z burglary-alarm zone=1\n", "2026-09-28",
	  "36 0 0 0, 0 0 0 0, 24 1 1 0" },
	{ "life safety is told apart; an alarm in an open test is no work",
	  "\ncover 2026-09-28T00:00Z 2026-10-01T00:00Z\n"
	  "2026-09-28T10:00:00Z burglary-alarm zone=1\n2026-09-28T10:00:00Z fire-alarm zone=2\n"
	  "2026-09-29T08:00:00Z on-test-begin\n2026-09-29T08:10:00Z fire-alarm zone=3\n"
	  "2026-09-29T09:00:00Z on-test-end\n", "2026-09-28", "72 3 2 1" },
	{ "a former customer's time is not this one's",
	  " since=2026-09-29T12:00Z\ncover 2026-09-01T00:00Z 2026-10-01T00:00Z\n2026-09-28T10:00:00Z zone-open zone=1\n"
	  "2026-09-29T13:00:00Z zone-open zone=2\n", "2026-09-28", "36 1 0 0" },
	{ "an alarm of the panel itself is work and no activation",
	  "\ncover 2026-09-28T00:00Z 2026-10-01T00:00Z\n2026-09-28T10:00:00Z panic-alarm zone=0\n",
	  "2026-09-28", "72 0 1 1" },
};

static void
by_week(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		struct signals x;
		struct view v;

		print_message("%s\n", cases[i].what);
		help_view(&v, arena_fmt(&a, "account A1%s", cases[i].log));
		counting_of(&v, &x);
		assert_string_equal(weeks(&a, &x), cases[i].weeks);
		assert_int_equal(x.monday * DAY, help_time(cases[i].monday));
		view_release(&v);
		arena_release(&a);
	}
}

/* A year and the week that has begun, whatever is covered. */
static void
at_most_53_weeks(void **state)
{
	static const struct { const char *from; size_t weeks; } limit[] = {
		{ "2025-10-06", 52 }, { "2025-09-29", 53 }, { "2025-09-22", 53 }, { "2020-01-01", 53 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(limit); i++) {
		struct arena a = { 0 };
		struct signals x;
		struct view v;

		help_view(&v, arena_fmt(&a, "account A1\ncover %s 2026-09-30\n", limit[i].from));
		counting_of(&v, &x);
		assert_int_equal(x.n_week, limit[i].weeks);
		view_release(&v);
		arena_release(&a);
	}
}

static void
nothing_covered(void **state)
{
	struct view v = { .now = NO_TIME };
	struct signals x;

	(void)state;
	counting_of(&v, &x);
	assert_int_equal(x.n_week + x.n_sum + x.n_work, 0);
}

/* Two weeks after must be over; on a zone only its devices count. */
static void
around_work(void **state)
{
	static const char log[] = "account A1\ncover 2026-09-01T00:00Z 2026-10-15T08:00Z\n"
	    "service 2026-09-08T08:00:00Z what=\"early\"\n"
	    "service 2026-10-01T08:00:00Z what=\"magnet set\" zone=5\n"
	    "service 2026-10-01T08:00:01Z what=\"walked round\"\n"
	    "2026-09-17T07:59:59Z zone-open zone=5\n2026-09-17T07:59:59Z zone-close zone=5\n"
	    "2026-09-17T08:00:00Z zone-open zone=5\n2026-09-18T08:00:00Z zone-close zone=5\n"
	    "2026-09-20T08:00:00Z burglary-alarm zone=5\n2026-09-21T08:00:00Z zone-close zone=5\n"
	    "2026-09-20T09:00:00Z zone-open zone=6\n2026-09-21T08:00:00Z low-battery zone=5\n"
	    "2026-10-01T08:00:00Z zone-open zone=5\n";
	struct signals x;
	struct view v;

	(void)state;
	help_view(&v, log);
	counting_of(&v, &x);
	assert_int_equal(x.n_work, 2);
	assert_string_equal(x.work[1].row->what, "magnet set");
	assert_int_equal(x.work[1].before.covered, REPAIR_SPAN);
	assert_int_equal(x.work[1].after.covered, REPAIR_SPAN);
	assert_int_equal(x.work[1].before.activations, 2);	/* not the second before */
	assert_int_equal(x.work[1].before.alarms, 1);
	assert_int_equal(x.work[1].before.low, 1);
	assert_int_equal(x.work[1].after.activations, 1);	/* at the very time: after */
	assert_string_equal(x.work[0].row->what, "early");
	assert_int_equal(x.work[0].before.covered, help_time("2026-09-08T08:00Z") -
	    help_time("2026-09-01T00:00Z"));
	assert_int_equal(x.work[0].after.activations, 4);	/* all zones */
	view_release(&v);
}

struct seen { char text[256]; };

static int
see(void *ctx, const struct account_weeks *w)
{
	struct seen *seen = ctx;
	size_t n = strlen(seen->text);
	int64_t activations = 0, alarms = 0;

	for (size_t i = 0; i < w->n; i++) {
		activations += w->week[i].activations;
		alarms += w->week[i].alarms;
	}
	snprintf(seen->text + n, sizeof seen->text - n, "%s|%s|%zu|%lld|%lld;", w->account, w->group,
	    w->n, (long long)activations, (long long)alarms);
	return 0;
}

static void
kept_and_read(void **state)
{
	struct seen seen = { "" };
	struct work_row *work;
	struct case_times *times;
	struct rule_count *count;
	struct help h;
	struct err e;
	size_t n;

	(void)state;
	help_open(&h);
	help_take(&h, "sites.csv", "account,timezone,group\nB2,UTC,mill\nA1,UTC,\n");
	help_take(&h, "service.csv", "account,time,what,who,zone\n"
	    "B2,2026-10-05T00:00:00Z,looked,N. N.,1\n");
	help_events(&h, "e.csv", "B2,2026-10-01T00:00:00Z,zone-open,1\n"
	    "B2,2026-10-01T00:00:09Z,zone-close,1\nB2,2026-10-20T00:00:00Z,fire-alarm,2\n"
	    "A1,2026-10-20T00:00:00Z,zone-open,1\n");
	help_judged(&h, false);
	assert_int_equal(store_weeks(h.s, see, &seen, &e), 0);
	assert_string_equal(seen.text, "A1||4|1|0;B2|mill|4|2|1;");
	assert_int_equal(help_number(&h, "SELECT json_array_length(counts) FROM week WHERE account ="
	    " (SELECT id FROM account WHERE account = 'B2')"), 16);
	assert_int_equal(store_works(h.s, &h.arena, &work, &n, &e), 0);
	assert_int_equal(n, 1);
	assert_string_equal(work->account, "B2");
	assert_string_equal(work->what, "looked");
	assert_string_equal(work->who, "N. N.");
	assert_int_equal(work->before.activations, 1);
	assert_int_equal(work->after.activations, 0);
	assert_int_equal(work->after.covered, 14 * 24 * 60);
	assert_int_equal(store_case_times(h.s, &h.arena, &times, &n, &e), 0);
	assert_int_equal(n, 1);
	assert_string_equal(times->rule, "life-alarm");
	assert_string_equal(times->group, "mill");
	assert_true(times->life);
	assert_true(times->decided == NO_TIME && times->cleared == NO_TIME);
	assert_int_equal(store_rule_counts(h.s, &h.arena, &count, &n, &e), 0);
	assert_int_equal(n, 1);
	assert_true(count->open == 1 && count->fresh == 1 && count->cleared == 0);

	/* The first of two decisions counts, and judging again doubles nothing. */
	assert_int_equal(store_decide(h.s, help_id(&h, "life-alarm", "B2"), "seen", "R. M.", NO_TIME, "",
	    times->raised + 60 * SECOND, &e), 0);
	assert_int_equal(store_decide(h.s, help_id(&h, "life-alarm", "B2"), "seen", "S. T.", NO_TIME, "",
	    times->raised + 90 * SECOND, &e), 0);
	help_judged(&h, true);
	assert_int_equal(store_case_times(h.s, &h.arena, &times, &n, &e), 0);
	assert_int_equal(times->decided - times->raised, 60 * SECOND);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM week"), 2);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM work"), 1);
	help_close(&h);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(by_week),
		cmocka_unit_test(at_most_53_weeks),
		cmocka_unit_test(nothing_covered),
		cmocka_unit_test(around_work),
		cmocka_unit_test(kept_and_read),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
