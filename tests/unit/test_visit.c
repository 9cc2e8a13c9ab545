/* The visit check: what is complete by the log, and what stands against it. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "rules/state.h"
#include "rules/visit.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* Two planned devices, learned and heard: the visit as it should be. */
#define HEAD "account A1\ncover 2026-10-01 2026-10-01T18:00\n"
#define PLAN \
	"plan serial=4A0071 from=2026-10-01T08:00 to=2026-10-01T12:00 zone=5 kind=smoke name=hall\n" \
	"plan serial=4A0072 from=2026-10-01T08:00 to=2026-10-01T12:00 zone=6 kind=contact\n"
#define LEARN \
	"2026-10-01T09:00:00 program-entry\n" \
	"2026-10-01T09:01:00 learn-heard serial=4A0071\n" \
	"2026-10-01T09:01:10 learn serial=4A0071 zone=5\n" \
	"2026-10-01T09:02:00 learn-heard serial=4A0072\n" \
	"2026-10-01T09:02:10 learn serial=4A0072 zone=6\n"
#define EXIT "2026-10-01T09:10:00 program-exit\n"
#define HEARD \
	"2026-10-01T09:20:00 test zone=5\n" \
	"2026-10-01T09:21:00 zone-open zone=6\n2026-10-01T09:21:05 zone-close zone=6\n"

static const char *
status_name(enum visit_status s)
{
	static const char *const name[] = {
#define X(id, done, text) #id,
		VISIT_STATUS_LIST(X)
#undef X
	};

	return name[s];
}

static const char *
reasons(struct arena *a, const struct visit_check *c)
{
	const char *text = "";

	for (size_t i = 0; i < c->n_reason; i++)
		text = arena_fmt(a, "%s%s\n", text, c->reason[i]);
	return text;
}

static void
cases(void **state)
{
	static const struct {
		const char *what, *log;
		bool        complete;
		const char *status;	/* of all expected devices */
		const char *reason;	/* text that the reasons hold; NULL = no reason at all */
		size_t      n_reason;
	} table[] = {
		{ "all as planned", HEAD PLAN LEARN EXIT HEARD, true, "HEARD HEARD", NULL, 0 },
		{ "heard in the session only does not count", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:01:10 learn serial=4A0071 zone=5\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n"
		  "2026-10-01T09:03:00 test zone=5\n" EXIT
		  "2026-10-01T09:21:00 zone-open zone=6\n", false, "UNHEARD HEARD",
		  "4A0071 (zone 5, smoke detector, hall): learned, not heard since the session closed.", 1 },
		{ "nor what the panel writes by itself", HEAD PLAN LEARN EXIT
		  "2026-10-01T09:12:00 zone-close zone=5\n2026-10-01T09:13:00 bypass zone=5\n"
		  "2026-10-01T09:14:00 unbypass zone=5\n2026-10-01T09:21:00 zone-open zone=6\n",
		  false, "UNHEARD HEARD", "4A0071", 1 },
		{ "heard in the same second, but after the exit", HEAD PLAN LEARN EXIT
		  "2026-10-01T09:10:00 test zone=5\n2026-10-01T09:21:00 zone-open zone=6\n",
		  true, "HEARD HEARD", NULL, 0 },
		{ "one was refused", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:01:00 learn-heard serial=4A0071\n"
		  "2026-10-01T09:01:10 learn-refused serial=4A0071\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT
		  "2026-10-01T09:21:00 zone-open zone=6\n", false, "MISSING HEARD",
		  "4A0071 (zone 5, smoke detector, hall): missing: heard and refused at 2026-10-01 09:01 "
		  "local.", 1 },
		{ "one was refused, but at an earlier visit", "account A1\ncover 2026-09-01 2026-10-01T18:00\n"
		  PLAN "2026-09-10T09:00:00 program-entry\n"
		  "2026-09-10T09:01:00 learn-heard serial=4A0071\n"
		  "2026-09-10T09:01:10 learn-refused serial=4A0071\n2026-09-10T09:10:00 program-exit\n"
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT
		  "2026-10-01T09:21:00 zone-open zone=6\n", false, "MISSING HEARD",
		  "4A0071 (zone 5, smoke detector, hall): missing: not heard.", 1 },
		{ "a near miss", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:01:10 learn serial=4A0077 zone=5\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT HEARD, false,
		  "NEAR_MISS HEARD", "4A0077 was learned instead: differs in", 2 },
		{ "a foreign one beside", HEAD PLAN LEARN
		  "2026-10-01T09:05:00 learn serial=9F3321 zone=7\n" EXIT HEARD, false, "HEARD HEARD",
		  "Accepted and not expected so: 9F3321 on zone 7: ", 1 },
		{ "a foreign one, taken out again", HEAD PLAN LEARN
		  "2026-10-01T09:05:00 learn serial=9F3321 zone=7\n"
		  "2026-10-01T09:06:00 unlearn serial=9F3321 zone=7\n" EXIT HEARD, true,
		  "HEARD HEARD", NULL, 0 },
		{ "a foreign one, heard and refused", HEAD PLAN LEARN
		  "2026-10-01T09:05:00 learn-heard serial=9F3321\n"
		  "2026-10-01T09:05:30 learn-refused serial=9F3321\n" EXIT HEARD, true,
		  "HEARD HEARD", NULL, 0 },
		{ "on the wrong zone", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:01:10 learn serial=4A0071 zone=8\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT
		  "2026-10-01T09:20:00 test zone=8\n2026-10-01T09:21:00 zone-open zone=6\n", false,
		  "OTHER_ZONE HEARD", "learned on another zone: is on zone 8.", 1 },
		{ "another kind", HEAD PLAN LEARN EXIT
		  "2026-10-01T09:20:00 burglary-alarm zone=5 hint=motion\n"
		  "2026-10-01T09:20:30 alarm-restore zone=5\n2026-10-01T09:21:00 zone-open zone=6\n",
		  false, "OTHER_KIND HEARD", "planned as smoke detector, shows as motion detector", 1 },
		{ "learned and taken out later", HEAD PLAN LEARN EXIT HEARD
		  "2026-10-01T10:00:00 unlearn serial=4A0071 zone=5\n", false, "MISSING HEARD",
		  "missing: learned and taken out again.", 1 },
		{ "learned, and taken out later by a row without its zone", HEAD PLAN LEARN EXIT HEARD
		  "2026-10-01T10:00:00 device-removed serial=4A0071\n", false, "MISSING HEARD",
		  "missing: learned and taken out again.", 1 },
		{ "learned on its zone, and later on another", HEAD PLAN LEARN
		  "2026-10-01T09:03:10 learn serial=4A0071 zone=8\n" EXIT
		  "2026-10-01T09:20:00 test zone=8\n2026-10-01T09:21:00 zone-open zone=6\n", false,
		  "OTHER_ZONE HEARD", "also on zone 5", 2 },
		{ "learned on another zone first", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:00:10 learn serial=4A0071 zone=8\n"
		  "2026-10-01T09:00:40 unlearn serial=4A0071 zone=8\n"
		  "2026-10-01T09:01:10 learn serial=4A0071 zone=5\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT HEARD, true, "HEARD HEARD", NULL,
		  0 },
		{ "on the wrong zone and not heard", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:01:10 learn serial=4A0071 zone=8\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT
		  "2026-10-01T09:21:00 zone-open zone=6\n", false, "OTHER_ZONE HEARD",
		  "is on zone 8; not heard since the session closed.", 1 },
		{ "displaced by another serial on its zone", HEAD PLAN LEARN
		  "2026-10-01T09:05:00 learn serial=9F3321 zone=5\n" EXIT
		  "2026-10-01T09:20:00 test zone=5\n2026-10-01T09:21:00 zone-open zone=6\n", false,
		  "MISSING HEARD", "4A0071 (zone 5, smoke detector, hall): missing", 2 },
		{ "not closed", HEAD PLAN LEARN HEARD, false, "UNHEARD UNHEARD",
		  "programming session open since 2026-10-01 09:00 local.", 3 },
		{ "the exit is missing, a later session closed", HEAD PLAN LEARN
		  "2026-10-01T15:00:00 program-entry\n2026-10-01T15:10:00 program-exit\n"
		  "2026-10-01T15:20:00 test zone=5\n2026-10-01T15:21:00 zone-open zone=6\n", true,
		  "HEARD HEARD", NULL, 0 },
		{ "a bypass left", HEAD PLAN LEARN EXIT HEARD "2026-10-01T10:00:00 bypass zone=9\n", false,
		  "HEARD HEARD", "zone 9 (device of unknown kind): bypassed since 2026-10-01 10:00 local.",
		  1 },
		{ "tamper left", HEAD PLAN LEARN EXIT HEARD "2026-10-01T10:00:00 tamper zone=6\n", false,
		  "HEARD HEARD", "tamper since", 1 },
		{ "trouble left, told as still so", HEAD PLAN LEARN EXIT HEARD
		  "2026-10-01T10:00:00 trouble zone=6 marks=still\n", false, "HEARD HEARD",
		  "trouble since before", 1 },
		{ "on test", HEAD PLAN "2026-10-01T08:30:00 on-test-begin\n" LEARN EXIT HEARD, false,
		  "HEARD HEARD", "the panel: account on test since 2026-10-01 08:30 local.", 1 },
		{ "on test, and off again", HEAD PLAN "2026-10-01T08:30:00 on-test-begin\n" LEARN EXIT HEARD
		  "2026-10-01T11:00:00 on-test-end\n", true, "HEARD HEARD", NULL, 0 },
		{ "a door that stands open does not stand against it", HEAD PLAN LEARN EXIT HEARD
		  "2026-10-01T10:00:00 zone-open zone=6\n", true, "HEARD HEARD", NULL, 0 },
		{ "a fire alarm without restore does", HEAD PLAN LEARN EXIT HEARD
		  "2026-10-01T10:00:00 fire-alarm zone=5\n", false, "HEARD HEARD", "in alarm since", 1 },
		{ "nor does a burglary alarm, or a button that was pressed", HEAD PLAN LEARN EXIT HEARD
		  "2026-10-01T10:00:00 burglary-alarm zone=6\n"
		  "2026-10-01T10:01:00 panic-alarm zone=9 hint=panic\n"
		  "2026-10-01T10:02:00 medical-alarm zone=10 hint=medical\n"
		  "2026-10-01T10:03:00 hold-up-alarm zone=11 hint=hold-up\n", true, "HEARD HEARD", NULL, 0 },
		{ "nothing was learned at all", HEAD PLAN "2026-10-01T09:00:00 arm\n", false,
		  "MISSING MISSING", "The log shows no learn session since", 3 },
		{ "heard, but never learned in the log", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT
		  "2026-10-01T09:20:00 test serial=4A0071 zone=5\n2026-10-01T09:21:00 zone-open zone=6\n",
		  false, "UNPROVEN HEARD", "the log does not show that this serial was learned", 1 },
		{ "the log names no serials", HEAD PLAN
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:01:10 learn zone=5\n2026-10-01T09:02:10 learn serial=4A0072 zone=6\n" EXIT
		  HEARD, false, "UNPROVEN HEARD", "compare the sticker", 1 },
		{ "neither plan nor roster", HEAD LEARN EXIT HEARD, false, "",
		  "There is no plan and no roster from before the visit to hold it against.", 3 },
		{ "a roster that is younger than the visit proves nothing", HEAD
		  "roster zone=5 serial=4A0071 kind=smoke as_of=2026-10-01T10:00\n"
		  "roster zone=6 serial=4A0072 kind=contact as_of=2026-10-01T10:00\n" LEARN EXIT HEARD, false,
		  "", "There is no plan and no roster", 3 },
		{ "an older roster", HEAD
		  "roster zone=5 serial=4A0071 kind=smoke as_of=2026-09-01\n"
		  "roster zone=6 serial=4A0072 kind=contact as_of=2026-09-01\n" LEARN EXIT HEARD, true,
		  "HEARD HEARD", NULL, 0 },
		{ "an older roster with one that no session touched", HEAD
		  "roster zone=5 serial=4A0071 kind=smoke as_of=2026-09-01\n"
		  "roster zone=6 serial=4A0072 kind=contact as_of=2026-09-01\n"
		  "roster zone=7 serial=4A0073 kind=contact as_of=2026-09-01\n" LEARN EXIT HEARD, false,
		  "HEARD HEARD UNHEARD", "4A0073 (zone 7, contact): learned, not heard since", 1 },
		{ "of two older rosters the newer one counts", HEAD
		  "roster zone=5 serial=4A0071 kind=smoke as_of=2026-08-01 version=1\n"
		  "roster zone=9 serial=4A0099 kind=smoke as_of=2026-08-01 version=1\n"
		  "roster zone=5 serial=4A0071 kind=smoke as_of=2026-09-01 version=2\n"
		  "roster zone=6 serial=4A0072 kind=contact as_of=2026-09-01 version=2\n"
		  "roster zone=7 serial=4A0073 kind=contact as_of=2026-10-01T10:00 version=3\n"
		  LEARN EXIT HEARD, true, "HEARD HEARD", NULL, 0 },
		{ "and it was heard", HEAD
		  "roster zone=5 serial=4A0071 kind=smoke as_of=2026-09-01\n"
		  "roster zone=6 serial=4A0072 kind=contact as_of=2026-09-01\n"
		  "roster zone=7 serial=4A0073 kind=contact as_of=2026-09-01\n" LEARN EXIT HEARD
		  "2026-10-01T10:00:00 check-in zone=7\n", true, "HEARD HEARD HEARD", NULL, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(table); i++) {
		struct arena a = { 0 };
		const char *status = "", *why;
		struct visit_check c;
		struct view v;
		bool right;

		help_view(&v, table[i].log);
		visit_check(&v, NO_TIME, &c);
		for (size_t k = 0; k < c.n_device; k++)
			status = arena_fmt(&a, "%s%s%s", status, k ? " " : "",
			    status_name(c.device[k].status));
		why = reasons(&a, &c);
		right = c.complete == table[i].complete && strcmp(status, table[i].status) == 0 &&
		    c.n_reason == table[i].n_reason &&
		    (!table[i].reason || strstr(why, table[i].reason));
		if (!right)
			print_error("%s: complete %d, %s, %zu reasons:\n%s", table[i].what, c.complete,
			    status, c.n_reason, why);
		assert_true(right);
		view_release(&v);
		arena_release(&a);
	}
}

static void
replaced_serials(void **state)
{
	static const struct {
		const char *what, *log;
		enum visit_old old;
		const char *reason;
	} table[] = {
		{ "unlearned in the session",
		  "2026-10-01T07:00:00 zone-open zone=5 serial=0A11\n"
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:00:30 unlearn serial=0A11 zone=5\n", VISIT_OLD_GONE, NULL },
		{ "another serial on its zone",
		  "2026-10-01T07:00:00 zone-open zone=5 serial=0A11\n"
		  "2026-10-01T09:00:00 program-entry\n", VISIT_OLD_GONE, NULL },
		{ "still there, on another zone",
		  "2026-10-01T07:00:00 zone-open zone=9 serial=0A11\n"
		  "2026-10-01T09:00:00 program-entry\n", VISIT_OLD_THERE,
		  "0A11, which 4A0071 replaces, was not unlearned." },
		{ "unlearned and learned again",
		  "2026-10-01T07:00:00 zone-open zone=9 serial=0A11\n"
		  "2026-10-01T09:00:00 program-entry\n"
		  "2026-10-01T09:00:30 unlearn serial=0A11 zone=9\n"
		  "2026-10-01T09:00:40 learn serial=0A11 zone=9\n"
		  "2026-10-01T09:00:50 unlearn serial=4A0099 zone=8\n", VISIT_OLD_THERE,
		  "was not unlearned" },
		{ "never named",
		  "2026-10-01T09:00:00 program-entry\n", VISIT_OLD_UNKNOWN,
		  "The log never names 0A11, which 4A0071 replaces" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(table); i++) {
		struct arena a = { 0 };
		struct visit_check c;
		struct view v;
		bool named;

		help_view(&v, arena_fmt(&a, HEAD "plan serial=4A0071 from=2026-10-01T08:00 "
		    "to=2026-10-01T12:00 zone=5 kind=contact replaces=0A11\n%s"
		    "2026-10-01T09:01:10 learn serial=4A0071 zone=5\n" EXIT
		    "2026-10-01T09:20:00 zone-open zone=5\n", table[i].log));
		visit_check(&v, NO_TIME, &c);
		named = table[i].reason && strstr(reasons(&a, &c), table[i].reason);
		if (c.device[0].old != table[i].old || (table[i].reason && !named))
			print_error("%s: old %d\n%s", table[i].what, (int)c.device[0].old,
			    reasons(&a, &c));
		assert_int_equal(c.device[0].old, table[i].old);
		assert_int_equal(c.complete, table[i].reason == NULL);
		assert_int_equal(table[i].reason != NULL, named);
		view_release(&v);
		arena_release(&a);
	}
}

static void
which_visit(void **state)
{
	static const char log[] = "account A1\ncover 2026-09-01 2026-10-01T18:00\n" PLAN
	    "plan serial=4A0060 from=2026-09-10T08:00 to=2026-09-10T12:00 zone=4 kind=contact\n"
	    "plan serial=4A0080 from=2026-11-10T08:00 to=2026-11-10T12:00 zone=9 kind=contact\n"
	    "2026-09-10T09:00:00 program-entry\n"
	    "2026-09-10T09:01:10 learn serial=4A0060 zone=4\n"
	    "2026-09-10T09:10:00 program-exit\n" LEARN EXIT HEARD;
	struct visit_check c;
	struct view v;

	(void)state;
	help_view(&v, log);
	visit_check(&v, NO_TIME, &c);		/* the newest that has begun */
	assert_true(c.by_plan);
	assert_int_equal(c.n_device, 2);
	assert_int_equal(c.n_session, 1);
	assert_string_equal(c.device[0].serial, "4A0071");
	assert_int_equal(c.device[0].learned, help_time("2026-10-01T09:01:10"));
	assert_int_equal(c.device[0].closed, help_time("2026-10-01T09:10"));
	assert_int_equal(c.device[0].heard, help_time("2026-10-01T09:20"));
	assert_true(c.device[0].life);
	assert_true(c.complete);

	visit_check(&v, help_time("2026-09-01"), &c);	/* both, but not the one to come */
	assert_int_equal(c.n_device, 3);
	assert_int_equal(c.n_session, 2);
	assert_int_equal(c.begin, help_time("2026-09-10T09:00"));
	assert_int_equal(c.closed, help_time("2026-10-01T09:10"));
	assert_false(c.complete);
	view_release(&v);

	/* Only a visit to come: that one, and nothing is learned yet. */
	help_view(&v, "account A1\ncover 2026-10-01 2026-10-02\n2026-10-01T09:00:00 arm\n"
	    "plan serial=4A0080 from=2026-11-10T08:00 to=2026-11-10T12:00 zone=9 kind=contact\n");
	visit_check(&v, NO_TIME, &c);
	assert_int_equal(c.n_device, 1);
	assert_int_equal(c.device[0].status, VISIT_MISSING);
	assert_false(c.complete);
	view_release(&v);

	/* Without a plan the newest session. */
	help_view(&v, "account A1\ncover 2026-10-01 2026-10-05\n"
	    "roster zone=5 serial=4A0071 kind=smoke as_of=2026-09-01\n"
	    "2026-10-02T09:00:00 learn serial=4A0071 zone=5\n"
	    "2026-10-04T09:00:00 learn serial=4A0071 zone=5\n"
	    "2026-10-04T09:30:00 test zone=5\n");
	visit_check(&v, NO_TIME, &c);
	assert_true(c.by_roster);
	assert_int_equal(c.roster_as_of, help_time("2026-09-01"));
	assert_int_equal(c.since, help_time("2026-10-04T09:00"));
	assert_int_equal(c.n_session, 1);
	assert_true(c.complete);
	view_release(&v);
}

/* The order of the plan; rows without a number follow as listed. */
static void
order(void **state)
{
	struct visit_check c;
	struct view v;

	(void)state;
	help_view(&v, "account A1\ncover 2026-10-01 2026-10-02\n2026-10-01T09:00:00 arm\n"
	    "plan serial=A4 from=2026-10-01T08:00 to=2026-10-01T12:00\n"
	    "plan serial=A2 from=2026-10-01T08:00 to=2026-10-01T12:00 order=2\n"
	    "plan serial=A5 from=2026-10-01T08:00 to=2026-10-01T12:00\n"
	    "plan serial=A1 from=2026-10-01T08:00 to=2026-10-01T12:00 order=1\n"
	    "plan serial=A3 from=2026-10-01T08:00 to=2026-10-01T12:00 order=2\n");
	visit_check(&v, NO_TIME, &c);
	assert_int_equal(c.n_device, 5);
	for (size_t i = 0; i < 5; i++)
		assert_int_equal(c.device[i].serial[1], '1' + (char)i);
	view_release(&v);
}

static void
beside_the_plan(void **state)
{
	struct arena a = { 0 };
	const char *notes = "";
	struct visit_check c;
	struct view v;

	(void)state;
	help_view(&v, "account A1\ncover 2026-10-01 2026-10-01T11:00\n"
	    "cover 2026-10-01T12:00 2026-10-01T18:00\n" PLAN LEARN
	    "2026-10-01T09:03:00 learn-heard serial=9F3321\n"
	    "2026-10-01T09:04:00 learn-refused serial=9F3321\n"
	    "2026-10-01T09:05:00 learn-heard serial=9F3322\n" EXIT HEARD
	    "2026-10-01T10:00:00 clock-set\n"
	    "2026-10-01T10:01:00 zone-open zone=6\n"
	    "2026-10-01T10:02:00 low-battery zone=6\n"
	    "2026-10-01T10:03:00 tamper zone=5\n");
	visit_check(&v, NO_TIME, &c);
	assert_int_equal(c.n_refused, 2);
	assert_string_equal(c.refused[0]->serial, "9F3321");
	assert_string_equal(c.refused[1]->serial, "9F3322");
	assert_int_equal(c.n_wait, 4);
	assert_int_equal(c.wait[2]->to - c.wait[2]->from, MINUTE);
	assert_int_equal(c.n_extra, 0);

	/* Blocking first, life safety first of these. */
	assert_int_equal(c.n_open, 3);
	assert_int_equal(c.open[0].what, COND_TAMPER);
	assert_true(c.open[0].life && c.open[0].blocks);
	assert_int_equal(c.open[1].what, COND_BATTERY);
	assert_true(c.open[1].blocks);
	assert_int_equal(c.open[2].what, COND_OPEN);
	assert_false(c.open[2].blocks);

	for (size_t i = 0; i < c.n_note; i++)
		notes = arena_fmt(&a, "%s%s\n", notes, c.note[i]);
	assert_null(strstr(notes, "past the close"));	/* nearly nine hours limit nothing */
	assert_non_null(strstr(notes, "do not cover all of the time"));
	assert_non_null(strstr(notes, "clock was set at 2026-10-01 10:00 local"));
	assert_null(strstr(notes, "cleared"));
	view_release(&v);
	arena_release(&a);
}

static void
the_log_ends_in_the_session(void **state)
{
	struct visit_check c;
	struct view v;

	(void)state;
	help_view(&v, "account A1\ncover 2026-10-01 2026-10-01T09:05\n" PLAN LEARN);
	visit_check(&v, NO_TIME, &c);
	assert_false(c.complete);
	assert_int_equal(c.closed, NO_TIME);
	assert_true(c.n_note >= 1);
	assert_non_null(strstr(c.note[0], "The log ends at 2026-10-01 09:05 local"));
	view_release(&v);
}

/* What limits the proof, and times on the site's own clock. */
static void
notes(void **state)
{
	static const char *const expected[] = {
		("The log reaches only 60 min past the close of the last learn session, until "
		    "2026-10-01 10:10 local."),
		"The panel's log was cleared at 2026-10-01 09:30 local: events are missing.",
		"The panel's log overflowed at 2026-10-01 09:31 local: events are missing.",
		"The panel's clock was set at 2026-10-01 09:32 local: times may be off.",
		"The panel's clock was reset in this time: times may be off.",
		"1 restore event could have meant several open conditions; none was taken as ended by it.",
	};
	struct visit_check c;
	struct view v;

	(void)state;
	help_view(&v, "account A1 tz=+02:00\ncover 2026-10-01 2026-10-01T10:10\n" PLAN LEARN EXIT HEARD
	    "2026-10-01T09:30:00 log-cleared\n2026-10-01T09:31:00 log-overflow\n"
	    "2026-10-01T09:32:00 clock-set\n2026-10-01T09:33:00 arm marks=reset\n"
	    "2026-10-01T09:34:00 trouble zone=6\n2026-10-01T09:35:00 tamper zone=6\n"
	    "2026-10-01T09:36:00 restore zone=6\n");
	visit_check(&v, NO_TIME, &c);
	assert_int_equal(c.n_note, COUNT(expected));
	for (size_t i = 0; i < COUNT(expected); i++)
		assert_string_equal(c.note[i], expected[i]);
	view_release(&v);

	/* What happened to the log before the visit does not limit it. */
	help_view(&v, "account A1\ncover 2026-09-01 2026-10-01T10:10\n" PLAN LEARN EXIT HEARD
	    "2026-09-10T09:30:00 log-cleared\n2026-09-10T09:31:00 log-overflow\n"
	    "2026-09-10T09:32:00 clock-set\n2026-09-10T09:33:00 arm marks=reset\n");
	visit_check(&v, NO_TIME, &c);
	assert_int_equal(c.n_note, 1);
	assert_true(c.complete);

	/* Asked from after the window on: nothing was planned then, and nothing learned. */
	visit_check(&v, help_time("2026-10-01T16:00"), &c);
	assert_false(c.by_plan);
	assert_false(c.complete);
	view_release(&v);
}

/* A device with two inputs, planned for two zones. */
static void
two_zones_of_one_device(void **state)
{
	struct arena a = { 0 };
	struct visit_check c;
	struct view v;

	(void)state;
	help_view(&v, HEAD
	    "plan serial=4A0071 from=2026-10-01T08:00 to=2026-10-01T12:00 zone=5 kind=contact\n"
	    "plan serial=4A0071 from=2026-10-01T08:00 to=2026-10-01T12:00 zone=6 kind=contact\n"
	    "2026-10-01T09:00:00 program-entry\n"
	    "2026-10-01T09:01:10 learn serial=4A0071 zone=5\n"
	    "2026-10-01T09:02:10 learn serial=4A0071 zone=6\n" EXIT
	    "2026-10-01T09:20:00 zone-open zone=5\n2026-10-01T09:21:00 zone-open zone=6\n");
	visit_check(&v, NO_TIME, &c);
	if (!c.complete)
		print_error("%s", reasons(&a, &c));
	assert_int_equal(c.device[0].status, VISIT_HEARD);
	assert_int_equal(c.device[1].status, VISIT_HEARD);
	assert_true(c.complete);
	view_release(&v);
	arena_release(&a);
}

static void
nothing_known(void **state)
{
	struct visit_check c;
	struct view v;

	(void)state;
	help_view(&v, "account A1\nnow 2026-10-01\n");
	visit_check(&v, NO_TIME, &c);
	assert_false(c.complete);
	assert_int_equal(c.n_device, 0);
	assert_true(c.n_reason >= 1);
	visit_check(&v, help_time("2027-01-01"), &c);
	assert_false(c.complete);
	view_release(&v);
}

static void
texts(void **state)
{
	(void)state;
	for (int i = 0; i < VISIT_STATUS_COUNT; i++) {
		assert_true(strlen(visit_status_text((enum visit_status)i)) > 0);
		assert_int_equal(visit_status_done((enum visit_status)i), i == VISIT_HEARD);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(cases),
		cmocka_unit_test(replaced_serials),
		cmocka_unit_test(which_visit),
		cmocka_unit_test(order),
		cmocka_unit_test(beside_the_plan),
		cmocka_unit_test(the_log_ends_in_the_session),
		cmocka_unit_test(notes),
		cmocka_unit_test(two_zones_of_one_device),
		cmocka_unit_test(nothing_known),
		cmocka_unit_test(texts),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
