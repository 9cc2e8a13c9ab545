#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "rules/arming.h"
#include "tests/unit/help_view.h"

#define LEN(a) (sizeof (a) / sizeof *(a))

/* One letter for each trip of the text: arm state (?, d, s, a), period, T in test, S in a
 * session: "?0 a1T d1". */
static const char *
states_of(struct view *v)
{
	static const char letter[] = "?dsa";
	struct arena *a = &v->arena;
	struct arming s;
	const char *out = "";

	arming_of(v, a, ARMING_TEST_MAX, ARMING_SESSION_MAX, &s);
	for (size_t i = 0; i < v->n_event; i++) {
		const struct arming_of *of = &s.of[i];
		enum word w = v->event[i].word;

		if (w == W_TRIP || (word_properties(w) & WP_ALARM))
			out = arena_fmt(a, "%s%s%c%u%s%s", out, *out ? " " : "", letter[of->state],
			    of->period, of->test ? "T" : "", of->session ? "S" : "");
	}
	return out;
}

static void
test_states(void **state)
{
	/* Each row is "TIME WORD and more". */
	static const struct {
		const char *what, *row[12], *want;
	} cases[] = {
		{ "before the first word nothing is known",
		  { "08:00:00 trip zone=5", "08:00:01 disarm", "08:00:02 trip zone=5" }, "?0 d0" },
		{ "away, stay, disarmed, away; a period for each time it was armed",
		  { "08:00:00 arm", "08:00:01 trip zone=5", "08:00:02 arm-stay", "08:00:03 trip zone=5",
		    "08:00:04 disarm", "08:00:05 trip zone=5", "08:00:06 arm", "08:00:07 trip zone=5" },
		  "a1 s1 d1 a2" },
		{ "at the same instant the order of rows decides",
		  { "08:00:00 arm", "08:00:00 trip zone=5", "08:00:00 disarm", "08:00:00 trip zone=5" },
		  "a1 d1" },
		{ "a status report arms nothing",
		  { "08:00:00 arm marks=still", "08:00:01 trip zone=5" }, "?0" },
		{ "partitions have their own",
		  { "08:00:00 arm part=1", "08:00:01 disarm part=2", "08:00:02 trip zone=5 part=1",
		    "08:00:02 trip zone=6 part=2" }, "a1 d0" },
		{ "a row without partition speaks of all",
		  { "08:00:00 arm part=1", "08:00:01 disarm", "08:00:02 trip zone=5 part=1",
		    "08:00:03 trip zone=6 part=2", "08:00:04 arm", "08:00:05 trip zone=6 part=2" },
		  "d1 d0 a1" },
		{ "a trip without partition: only while all agree",
		  { "08:00:00 arm part=1", "08:00:01 trip zone=7", "08:00:02 arm part=2",
		    "08:00:03 trip zone=7", "08:00:04 disarm part=2", "08:00:05 trip zone=7" },
		  "?0 a1 ?1" },
		{ "the only partition is meant",
		  { "08:00:00 arm part=1", "08:00:01 trip zone=7" }, "a1" },
		{ "01 and 1 are one partition",
		  { "08:00:00 arm part=01", "08:00:01 trip zone=7 part=1" }, "a1" },
		{ "a trip without partition of a zone that has one",
		  { "08:00:00 arm part=1", "08:00:00 disarm part=2", "08:00:01 trip zone=7 part=1",
		    "08:00:02 trip zone=7" }, "a1 a1" },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *text = "";
		struct view v;

		for (size_t k = 0; k < LEN(cases[i].row) && cases[i].row[k]; k++)
			text = arena_fmt(&a, "%s2026-10-01T%s\n", text, cases[i].row[k]);
		help_view(&v, text);
		if (strcmp(states_of(&v), cases[i].want) != 0)
			fail_msg("%s: %s", cases[i].what, states_of(&v));
		view_release(&v);
		arena_release(&a);
	}
}

static void
test_tests(void **state)
{
	static const struct {
		const char *what, *row[8], *want;
	} cases[] = {
		{ "from begin to end",
		  { "07:59:59 trip zone=1", "08:00:00 walk-test-begin", "08:00:01 trip zone=1",
		    "08:01:00 walk-test-end", "08:01:01 trip zone=1" }, "?0 ?0T ?0" },
		{ "4 h at the most: just below, at, above",
		  { "08:00:00 walk-test-begin", "11:59:59.999 trip zone=1", "12:00:00 trip zone=1",
		    "12:00:00.001 trip zone=1" }, "?0T ?0T ?0" },
		{ "a walk test explains no life safety, a fire test nothing else",
		  { "08:00:00 walk-test-begin", "08:00:01 fire-alarm zone=2", "08:00:02 trip zone=1",
		    "08:00:03 walk-test-end", "08:00:04 fire-test-begin", "08:00:05 fire-alarm zone=2",
		    "08:00:06 trip zone=1", "08:00:07 co-alarm zone=3" }, "?0 ?0T ?0T ?0 ?0" },
		{ "the account on test explains all",
		  { "08:00:00 on-test-begin", "08:00:01 fire-alarm zone=2", "08:00:02 trip zone=1",
		    "08:00:03 co-alarm zone=3", "08:00:04 duress-alarm" }, "?0T ?0T ?0T ?0T" },
		{ "the end of another sort ends nothing",
		  { "08:00:00 walk-test-begin", "08:00:01 fire-test-end", "08:00:02 on-test-end",
		    "08:00:03 trip zone=1" }, "?0T" },
		{ "its own partition only",
		  { "08:00:00 walk-test-begin part=1", "08:00:01 trip zone=5 part=1",
		    "08:00:02 trip zone=6 part=2", "08:00:03 trip zone=1" }, "?0T ?0 ?0" },
		{ "an end of another partition ends nothing, one without a partition all",
		  { "08:00:00 walk-test-begin part=1", "08:00:01 walk-test-end part=2",
		    "08:00:02 trip zone=5 part=1", "08:00:03 walk-test-end",
		    "08:00:04 trip zone=5 part=1" }, "?0T ?0" },
		{ "with one partition it does not matter who names it",
		  { "08:00:00 walk-test-begin part=1", "08:00:01 trip zone=1",
		    "08:00:02 walk-test-end", "08:00:03 trip zone=1", "08:00:04 walk-test-begin",
		    "08:00:05 walk-test-end part=1", "08:00:06 trip zone=5 part=1" }, "?0T ?0 ?0" },
		{ "a second begin begins anew",
		  { "08:00:00 walk-test-begin", "10:00:00 walk-test-begin", "14:00:00 trip zone=1",
		    "14:00:01 trip zone=1" }, "?0T ?0" },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *text = "roster zone=1 kind=motion\nroster zone=2 kind=smoke\n"
		    "roster zone=3 kind=co\n";
		struct view v;

		for (size_t k = 0; k < LEN(cases[i].row) && cases[i].row[k]; k++)
			text = arena_fmt(&a, "%s2026-10-01T%s\n", text, cases[i].row[k]);
		help_view(&v, text);
		if (strcmp(states_of(&v), cases[i].want) != 0)
			fail_msg("%s: %s", cases[i].what, states_of(&v));
		view_release(&v);
		arena_release(&a);
	}
}

static void
test_sessions(void **state)
{
	struct view v;

	(void)state;
	help_view(&v, "2026-10-01T07:59:59Z trip zone=1\n"
	    "2026-10-01T08:00:00Z program-entry\n"
	    "2026-10-01T08:30:00Z trip zone=1\n"
	    "2026-10-01T09:00:00Z program-exit\n"
	    "2026-10-01T09:00:01Z trip zone=1\n"
	    /* Never closed: 4 h. */
	    "2026-10-02T08:00:00Z program-entry\n"
	    "2026-10-02T12:00:00Z trip zone=1\n"
	    "2026-10-02T12:00:00.001Z trip zone=1\n"
	    /* 10 min before and after a learn. */
	    "2026-10-03T07:49:59.999Z trip zone=1\n"
	    "2026-10-03T07:50:00Z trip zone=1\n"
	    "2026-10-03T08:00:00Z learn zone=1 serial=AA01\n"
	    "2026-10-03T08:10:00Z trip zone=1\n"
	    "2026-10-03T08:10:00.001Z trip zone=1\n");
	assert_string_equal(states_of(&v), "?0 ?0S ?0 ?0S ?0 ?0 ?0S ?0S ?0");
	view_release(&v);
}

/* At the end of the log, and with more partitions than are told apart. */
static void
test_end(void **state)
{
	struct arena a = { 0 };
	struct arming s;
	struct view v;
	const char *text = "2026-10-01T08:00:00Z arm part=1\n2026-10-01T08:00:01Z disarm part=2\n";

	(void)state;
	help_view(&v, text);
	arming_of(&v, &a, ARMING_TEST_MAX, ARMING_SESSION_MAX, &s);
	assert_int_equal(s.end[0].state, ARM_UNKNOWN);
	assert_int_equal(s.end[1].state, ARM_AWAY);
	assert_int_equal(s.end[1].period, 1);
	assert_int_equal(s.end[2].state, ARM_DISARMED);
	view_release(&v);

	for (int i = 0; i < 2 * ARMING_AREAS; i++)
		text = arena_fmt(&a, "%s2026-10-01T09:00:00Z arm part=P%d\n", text, i);
	help_view(&v, text);
	arming_of(&v, &a, ARMING_TEST_MAX, ARMING_SESSION_MAX, &s);
	assert_int_equal(v.n_area, 2 * ARMING_AREAS + 2);
	assert_int_equal(s.end[v.n_area].state, ARM_AWAY);
	assert_int_equal(s.end[2].state, ARM_DISARMED);
	view_release(&v);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_states),
		cmocka_unit_test(test_tests),
		cmocka_unit_test(test_sessions),
		cmocka_unit_test(test_end),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
