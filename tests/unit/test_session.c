#include "rules/session.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static const char *
clock_text(struct arena *a, int64_t at)
{
	char text[CIVIL_TEXT];

	return at == NO_TIME ? "-" : arena_fmt(a, "%.8s", civil_rfc3339(at, text) + 11);
}

/* "BEGIN END LAST entered|- vVISIT +accepted ?heard !refused -unlearned wMS;" a session */
static const char *
shown(struct view *v, const struct sessions *all)
{
	struct arena *a = &v->arena;
	const char *out = "";

	for (size_t i = 0; i < all->n; i++) {
		const struct session *s = &all->session[i];

		out = arena_fmt(a, "%s%s %s %s %s v%d +%zu ?%zu !%zu -%zu w%lld;", out,
		    clock_text(a, s->begin), clock_text(a, s->end), clock_text(a, s->last),
		    s->entered ? "entered" : "-", s->visit, s->n_accepted, s->n_heard, s->n_refused,
		    s->n_unlearned, (long long)session_waited(s));
	}
	return out;
}

static void
found(void **state)
{
	static const struct { const char *text, *want; } row[] = {
		/* Entry to exit. */
		{ "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T08:10:00 learn zone=5 serial=4A0071\n"
		  "2026-10-01T08:20:00 program-exit\n",
		  "08:00:00 08:20:00 08:20:00 entered v-1 +1 ?0 !0 -0 w0;" },
		/* Without learning. */
		{ "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T08:10:00 programming-changed\n"
		  "2026-10-01T08:20:00 program-exit\n",
		  "08:00:00 08:20:00 08:20:00 entered v-1 +0 ?0 !0 -0 w0;" },
		/* An exit alone, a change alone and other events are no session. */
		{ "2026-10-01T08:00:00 program-exit\n"
		  "2026-10-01T08:10:00 programming-changed\n"
		  "2026-10-01T08:20:00 zone-open zone=5\n", "" },
		/* A learn row a little before its entry (stamps of whole minutes) is part of it. */
		{ "2026-10-01T08:00:00 learn zone=5 serial=4A0071\n"
		  "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T08:20:00 program-exit\n",
		  "08:00:00 08:20:00 08:20:00 entered v-1 +1 ?0 !0 -0 w0;" },
		/* Inside a session 12 h of quiet are allowed, not a second more. */
		{ "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T20:00:00 program-exit\n",
		  "08:00:00 20:00:00 20:00:00 entered v-1 +0 ?0 !0 -0 w0;" },
		{ "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T20:00:01 program-exit\n",
		  "08:00:00 - 08:00:00 entered v-1 +0 ?0 !0 -0 w0;" },
		/* A second entry: the same session up to 30 min, else the first never closed. */
		{ "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T08:30:00 program-entry\n"
		  "2026-10-01T08:40:00 program-exit\n",
		  "08:00:00 08:40:00 08:40:00 entered v-1 +0 ?0 !0 -0 w0;" },
		{ "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T08:30:01 program-entry\n"
		  "2026-10-01T08:40:00 program-exit\n",
		  "08:00:00 - 08:00:00 entered v-1 +0 ?0 !0 -0 w0;"
		  "08:30:01 08:40:00 08:40:00 entered v-1 +0 ?0 !0 -0 w0;" },
		/* No entry: gaps of 30 min, and an exit in time ends it. */
		{ "2026-10-01T08:00:00 learn-heard serial=4A0071\n"
		  "2026-10-01T08:00:10 learn zone=5 serial=4A0071\n"
		  "2026-10-01T08:30:10 unlearn zone=6 serial=4A0072\n"
		  "2026-10-01T09:00:11 learn zone=6 serial=4A0073\n"
		  "2026-10-01T09:10:00 program-exit\n",
		  "08:00:00 08:30:10 08:30:10 - v-1 +1 ?1 !0 -1 w10000;"
		  "09:00:11 09:10:00 09:10:00 - v-1 +1 ?0 !0 -0 w0;" },
		/* Modules without a serial are not accepted devices; with one they are. */
		{ "2026-10-01T08:00:00 device-added zone=3 marks=panel\n"
		  "2026-10-01T08:01:00 device-added serial=4A0071\n"
		  "2026-10-01T08:02:00 device-removed serial=4A0072\n",
		  "08:01:00 08:02:00 08:02:00 - v-1 +1 ?0 !0 -1 w0;" },
		/* Status reports and strangers heard outside are none. */
		{ "2026-10-01T08:00:00 learn zone=5 serial=4A0071 marks=still\n"
		  "2026-10-01T08:01:00 extra-device serial=9F3321\n", "" },
		{ "2026-10-01T08:00:00 program-entry marks=still\n"
		  "2026-10-01T08:10:00 learn-heard serial=4A0071 marks=still\n", "" },
		/* The same serial and zone again is one entry, another zone a second one. */
		{ "2026-10-01T08:00:00 learn zone=5 serial=4A0071\n"
		  "2026-10-01T08:01:00 learn zone=05 serial=4a-0071\n"
		  "2026-10-01T08:02:00 learn zone=6 serial=4A0071\n",
		  "08:00:00 08:02:00 08:02:00 - v-1 +2 ?0 !0 -0 w0;" },
		/* Waiting: until an answer, another serial, the exit, or the end. */
		{ "2026-10-01T08:00:00 program-entry\n"
		  "2026-10-01T08:01:00 learn-heard serial=4A0071\n"
		  "2026-10-01T08:01:10 learn zone=5 serial=4A0071\n"
		  "2026-10-01T08:02:00 learn-heard serial=4A0072\n"
		  "2026-10-01T08:02:20 learn-refused serial=4A0072\n"
		  "2026-10-01T08:03:00 learn-heard serial=4A0073\n"
		  "2026-10-01T08:03:05 learn-heard serial=4A0074\n"
		  "2026-10-01T08:04:05 program-exit\n",
		  "08:00:00 08:04:05 08:04:05 entered v-1 +1 ?4 !1 -0 w95000;" },
		{ "2026-10-01T08:01:00 learn-heard serial=4A0071\n",
		  "08:01:00 08:01:00 08:01:00 - v-1 +0 ?1 !0 -0 w0;" },
		/* Visits: overlapping, 12 h around and not a second more; the nearer one wins. */
		{ "plan serial=4A0071 from=2026-09-30T10:00 to=2026-09-30T20:00\n"
		  "2026-10-01T08:00:00 learn zone=5 serial=4A0071\n",
		  "08:00:00 08:00:00 08:00:00 - v0 +1 ?0 !0 -0 w0;" },
		{ "plan serial=4A0071 from=2026-09-30T10:00 to=2026-09-30T20:00\n"
		  "2026-10-01T08:00:01 learn zone=5 serial=4A0071\n",
		  "08:00:01 08:00:01 08:00:01 - v-1 +1 ?0 !0 -0 w0;" },
		{ "plan serial=4A0071 from=2026-09-30T10:00 to=2026-09-30T20:00\n"
		  "plan serial=4A0072 from=2026-10-01T10:00 to=2026-10-01T20:00\n"
		  "plan serial=4A0073 from=2026-10-01T10:00 to=2026-10-01T20:00\n"
		  "2026-10-01T08:00:00 learn zone=5 serial=4A0071\n",
		  "08:00:00 08:00:00 08:00:00 - v1 +1 ?0 !0 -0 w0;" },
		{ "plan serial=4A0071 from=2026-10-01 to=2026-10-02\n"
		  "plan serial=4A0072 from=2026-10-01T07:00 to=2026-10-01T09:00\n"
		  "2026-10-01T08:00:00 learn zone=5 serial=4A0071\n",
		  "08:00:00 08:00:00 08:00:00 - v1 +1 ?0 !0 -0 w0;" },
		/* Two windows that end at the same time are two visits. */
		{ "plan serial=4A0071 from=2026-10-01T07:00 to=2026-10-01T12:00\n"
		  "plan serial=4A0072 from=2026-10-01T10:00 to=2026-10-01T12:00\n"
		  "2026-10-01T11:00:00 learn zone=5 serial=4A0071\n",
		  "11:00:00 11:00:00 11:00:00 - v1 +1 ?0 !0 -0 w0;" },
		{ "", "" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct view v;
		struct sessions all;
		struct arena a = { 0 };

		help_view(&v, arena_fmt(&a, "account A1\ncover 2026-09-01 2026-10-20\n%s",
		    row[i].text));
		sessions_find(&v, &all);
		if (strcmp(shown(&v, &all), row[i].want) != 0)
			fail_msg("%s\ngot  %s\nwant %s", row[i].text, shown(&v, &all), row[i].want);
		view_release(&v);
		arena_release(&a);
	}
}

static void
details(void **state)
{
	struct view v;
	struct sessions all;
	const struct session *s;

	(void)state;
	help_view(&v, "account A1\ncover 2026-09-01 2026-10-20\n"
	    "plan serial=4A0071 from=2026-10-01T07:00 to=2026-10-01T09:00\n"
	    "plan serial=4A0072 from=2026-10-01T07:00 to=2026-10-01T09:00\n"
	    "plan serial=4A0072 from=2026-11-01T07:00 to=2026-11-01T09:00\n"
	    "2026-10-01T08:00:00 program-entry\n"
	    "2026-10-01T08:00:30 zone-open zone=9\n"
	    "2026-10-01T08:01:00 learn-heard serial=00-4a0071\n"
	    "2026-10-01T08:01:10 learn zone=5 serial=00-4a0071\n"
	    "2026-10-01T08:01:40 learn zone=5 serial=00-4a0071\n"
	    "2026-10-01T08:01:50 learn serial=1.23457E+11 zone=6\n"
	    "2026-10-01T08:01:55 learn zone=7\n"
	    "2026-10-01T08:02:00 program-exit\n");
	sessions_find(&v, &all);
	assert_int_equal(all.n, 1);
	s = all.session;
	assert_int_equal(s->first, 0);
	assert_int_equal(s->past, 8);
	assert_int_equal(s->n_accepted, 3);
	assert_string_equal(s->accepted[0].serial, "00-4a0071");
	assert_string_equal(s->accepted[0].plain, "004A0071");
	assert_string_equal(s->accepted[0].key, "4A0071");
	assert_string_equal(s->accepted[0].zone, "5");
	assert_int_equal(s->accepted[0].times, 2);
	assert_int_equal(s->accepted[0].event, 4);
	assert_true(s->accepted[0].device >= 0);
	assert_true(s->accepted[1].unreadable);
	assert_string_equal(s->accepted[1].plain, "");
	assert_string_equal(s->accepted[2].serial, "");
	assert_ptr_equal(session_item_find(s->accepted, s->n_accepted, "4A0071"), s->accepted);
	assert_null(session_item_find(s->accepted, s->n_accepted, "4A0099"));
	assert_null(session_item_find(s->accepted, s->n_accepted, ""));
	assert_true(s->wait[0].answered);
	assert_int_equal(all.n_visit, 2);
	assert_int_equal(all.visit[0].n_plan, 2);
	assert_int_equal(all.visit[0].n_session, 1);
	assert_true(all.visit[0].last_end == help_time("2026-10-01T08:02:00"));
	assert_int_equal(all.visit[1].n_session, 0);
	assert_true(all.visit[1].last_end == NO_TIME);
	assert_int_equal(visit_of_plan(&all, &v.plan[2]), 1);
	view_release(&v);
}

/* A log of nothing but learns must not take time by the square. */
static void
many(void **state)
{
	struct arena a = { 0 };
	struct view v;
	struct sessions all;
	char *text = arena_take(&a, 60 * 4000 + 100);
	size_t n = (size_t)snprintf(text, 100, "account A1\n");

	(void)state;
	for (int i = 0; i < 4000; i++)
		n += (size_t)snprintf(text + n, 60, "2026-10-01T08:%02d:%02d learn zone=5 serial=A%d\n",
		    i / 60 % 60, i % 60, i < 3600 ? i : 3599);
	help_view(&v, text);
	sessions_find(&v, &all);
	assert_int_equal(all.n, 1);
	assert_true(all.session[0].n_accepted >= 3600);
	view_release(&v);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(found),
		cmocka_unit_test(details),
		cmocka_unit_test(many),
	};

	return cmocka_run_group_tests_name("session", tests, NULL, NULL);
}
