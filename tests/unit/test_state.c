/* How a site stands at the end of its log. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "rules/state.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* All that holds: "zone 5: open, tamper; panel: comm 2" in the order of the lists. */
static const char *
holds(struct arena *a, const struct view *v, const struct state *s)
{
	const char *text = "";

	for (size_t i = 0; i < v->n_device; i++)
		for (int c = 0; c < COND_COUNT; c++)
			if (s->device[i].cond[c].since != NO_TIME)
				text = arena_fmt(a, "%s%s%s %s%s", text, *text ? "; " : "",
				    *v->device[i].serial ? v->device[i].serial : v->device[i].zone,
				    condition_text((enum condition)c),
				    s->device[i].cond[c].before ? " before" : "");
	for (size_t i = 0; i < s->n_open; i++)
		text = arena_fmt(a, "%s%spanel%s%s%s%s %s", text, *text ? "; " : "",
		    *s->open[i].zone ? " " : "", s->open[i].zone,
		    *s->open[i].partition ? " part " : "", s->open[i].partition,
		    condition_text(s->open[i].what));
	return text;
}

static void
conditions(void **state)
{
	static const struct {
		const char *what, *log, *holds;
	} cases[] = {
		{ "a door left open", "T zone-open zone=5\n", "5 open" },
		{ "closed again", "T zone-open zone=5\nT zone-close zone=5\n", "" },
		{ "an alarm and the door are one input",
		  "T zone-open zone=5\nT burglary-alarm zone=5\nT zone-close zone=5\n", "" },
		{ "alarm restored", "T fire-alarm zone=5\nT alarm-restore zone=5\n", "" },
		{ "restore ends opening and alarm, not the tamper",
		  "T tamper zone=5\nT zone-open zone=5\nT alarm zone=5\nT restore zone=5\n", "5 tamper" },
		{ "restore ends the only other condition", "T low-battery zone=5\nT restore zone=5\n", "" },
		{ "with several it ends none",
		  "T low-battery zone=5\nT tamper zone=5\nT restore zone=5\n", "5 tamper; 5 battery low" },
		{ "a bypass is no condition that a restore could mean",
		  "T bypass zone=5\nT restore zone=5\n", "5 bypassed" },
		{ "nor does it stand in the way of one",
		  "T bypass zone=5\nT trouble zone=5\nT restore zone=5\n", "5 bypassed" },
		{ "still shows what held before", "T tamper zone=5 marks=still\n", "5 tamper before" },
		{ "still ends nothing", "T zone-open zone=5\nT zone-close zone=5 marks=still\n", "5 open" },
		{ "still after an onset changes nothing",
		  "T tamper zone=5\nT tamper zone=5 marks=still\n", "5 tamper" },
		{ "lost, and heard", "T supervision-loss zone=5\nT zone-open zone=5\nT zone-close zone=5\n", "" },
		{ "lost, and only bypassed", "T supervision-loss zone=5\nT bypass zone=5\n",
		  "5 supervision lost; 5 bypassed" },
		{ "lost, and learned anew", "T supervision-loss zone=5 serial=A1\nT learn zone=5 serial=A1\n", "" },
		{ "a new cell ends low battery", "T low-battery zone=5\nT cell-replaced zone=5\n", "" },
		{ "trouble first, then the end of life, are ended one by one",
		  "T end-of-life zone=5\nT trouble zone=5\nT trouble-restore zone=5\n", "5 end of life" },
		{ "end of life alone is ended by it", "T end-of-life zone=5\nT trouble-restore zone=5\n", "" },
		{ "fire supervisory", "T fire-supervisory zone=5\n", "5 fire supervisory" },
		{ "unlearned: only its bypass stays",
		  "T tamper zone=5 serial=A1\nT bypass zone=5 serial=A1\nT unlearn zone=5 serial=A1\n",
		  "A1 bypassed" },
		{ "replaced: the same, and the new one's own holds",
		  "T tamper zone=5 serial=A1\nT learn zone=5 serial=B2\nT low-battery zone=5\n",
		  "B2 battery low" },
		{ "a bypass is taken off the zone, whatever serial is there now",
		  "T bypass zone=5 serial=A1\nT learn zone=5 serial=B2\nT unbypass zone=5\n", "" },
		{ "modules have numbers",
		  "T module-loss zone=1 marks=panel\nT module-loss zone=2 marks=panel\n"
		  "T module-restore zone=1 marks=panel\n", "panel 2 module lost" },
		{ "mains and communication",
		  "T power-loss zone=0\nT comm-loss\nT power-restore\n", "panel communication lost" },
		{ "a bare restore at the panel ends its only condition", "T power-loss\nT restore\n", "" },
		{ "but no programming session", "T program-entry\nT restore\n", "panel programming session open" },
		{ "programming by a user", "T program-entry zone=3 marks=user\nT program-exit\n", "" },
		{ "tests by partition",
		  "T on-test-begin part=1\nT on-test-begin part=2\nT on-test-end part=1\n",
		  "panel part 2 account on test" },
		{ "an end without partition ends all of its sort",
		  "T on-test-begin part=1\nT walk-test-begin part=1\nT on-test-end\n",
		  "panel part 1 walk test open" },
		{ "a partition does not end the test of all", "T fire-test-begin\nT fire-test-end part=1\n",
		  "panel fire test open" },
		{ "interference that a zone cell comes with", "T jam zone=5\n", "panel 5 radio interference" },
		{ "a code that a user entered has no return", "T duress-alarm zone=3 marks=user\n", "" },
		{ "another alarm of the panel is held", "T alarm zone=0\n", "panel in alarm" },
		{ "told twice, one condition", "T power-loss\nT jam zone=5\nT power-loss\n",
		  "panel mains power lost; panel 5 radio interference" },
		{ "and once ended, it is over", "T power-loss\nT power-loss\nT power-restore\n", "" },
		{ "still ends nothing at the panel", "T power-loss\nT power-restore marks=still\n",
		  "panel mains power lost" },
		{ "two conditions at the panel: a bare restore ends none",
		  "T power-loss\nT comm-loss\nT restore\n",
		  "panel mains power lost; panel communication lost" },
		{ "zone 5 of two partitions: a bypass of the one",
		  "T bypass zone=5 part=1\nT bypass zone=5 part=2\nT unbypass zone=5 part=2\n",
		  "5 bypassed" },
		{ "two zones", "T zone-open zone=5\nT zone-open zone=6\nT zone-close zone=5\n", "6 open" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		const char *log = "account A1\n", *got;
		struct state s;
		struct view v;
		int minute = 0;

		for (const char *p = cases[i].log; *p; p = strchr(p, '\n') + 1)
			log = arena_fmt(&a, "%s2026-10-01T08:%02d:00%.*s\n", log, minute++,
			    (int)(strchr(p, '\n') - p - 1), p + 1);
		help_view(&v, log);
		state_of(&v, &a, &s);
		got = holds(&a, &v, &s);
		if (strcmp(got, cases[i].holds) != 0)
			print_error("%s: '%s'\n", cases[i].what, got);
		assert_string_equal(got, cases[i].holds);
		view_release(&v);
		arena_release(&a);
	}
}

static void
tamper_restore_without_zone(void **state)
{
	static const struct {
		const char *begins, *ends, *holds;
	} cases[] = {
		{ "tamper zone=5", "tamper-restore", "" },
		{ "tamper zone=5", "tamper-restore zone=000", "" },
		{ "tamper zone=5", "tamper-restore zone=7 marks=panel", "5 tamper" },
		{ "tamper zone=5", "tamper-restore marks=still", "5 tamper" },
		{ "tamper zone=5 part=1", "tamper-restore part=1", "" },
		{ "tamper zone=5 part=1", "tamper-restore part=2", "5 tamper" },
		{ "trouble zone=5", "tamper-restore", "5 trouble" },
		{ "tamper zone=5", "tamper zone=6\n2026-10-01T09:00 tamper-restore",
		  "5 tamper; 6 tamper" },
		{ "tamper zone=5", "tamper\n2026-10-01T09:00 tamper-restore", "5 tamper" },
		/* Life safety, and what may be: told by name, or by a person at the panel. */
		{ "tamper zone=8", "tamper-restore", "8 tamper" },
		{ "tamper zone=9", "tamper-restore", "9 tamper" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		struct state s;
		struct view v;

		help_view(&v, arena_fmt(&a, "account A1\nroster zone=5 kind=contact\n"
		    "roster zone=6 kind=contact\nroster zone=8 kind=smoke\n"
		    "2026-10-01T08:00 disarm part=2\n"
		    "2026-10-01T08:01 %s\n2026-10-01T08:02 %s\n", cases[i].begins, cases[i].ends));
		state_of(&v, &a, &s);
		if (strcmp(holds(&a, &v, &s), cases[i].holds) != 0)
			print_error("%s, %s\n", cases[i].begins, cases[i].ends);
		assert_string_equal(holds(&a, &v, &s), cases[i].holds);
		assert_int_equal(s.unclear, cases[i].holds[0] == '8' || cases[i].holds[0] == '9');
		view_release(&v);
		arena_release(&a);
	}
}

static void
what_a_restore_meant(void **state)
{
	struct arena a = { 0 };
	struct state s;
	struct view v;

	(void)state;
	help_view(&v, "account A1\n"
	    "2026-10-01T08:00:00 low-battery zone=5\n"
	    "2026-10-01T08:01:00 restore zone=5\n"
	    "2026-10-01T08:02:00 zone-open zone=5\n"
	    "2026-10-01T08:03:00 restore zone=5\n"
	    "2026-10-01T08:04:00 tamper zone=5\n"
	    "2026-10-01T08:05:00 trouble zone=5\n"
	    "2026-10-01T08:06:00 restore zone=5\n"
	    "2026-10-01T08:07:00 restore zone=6\n"
	    "2026-10-01T08:08:00 power-loss\n"
	    "2026-10-01T08:09:00 restore\n");
	state_of(&v, &a, &s);
	assert_int_equal(s.meant[0], W_LOW_BATTERY);
	assert_int_equal(s.meant[1], W_BATTERY_RESTORE);
	assert_int_equal(s.meant[3], W_ZONE_CLOSE);
	assert_int_equal(s.meant[6], W_RESTORE);
	assert_int_equal(s.meant[7], W_RESTORE);
	assert_int_equal(s.meant[9], W_POWER_RESTORE);
	assert_int_equal(s.unclear, 1);
	assert_int_equal(s.device[0].unclear, 1);
	view_release(&v);
	arena_release(&a);
}

static void
site(void **state)
{
	struct arena a = { 0 };
	struct state s;
	struct view v;

	(void)state;
	help_view(&v, "account A1\n"
	    "2026-10-01T08:00:00 disarm part=1\n"
	    "2026-10-01T09:00:00 arm part=1\n"
	    "2026-10-01T09:30:00 arm part=01\n"
	    "2026-10-01T10:00:00 arm-stay part=2\n"
	    "2026-10-01T11:00:00 clock-set\n"
	    "2026-10-01T12:00:00 log-cleared\n"
	    "2026-10-01T13:00:00 log-overflow marks=still\n"
	    "2026-10-01T14:00:00 zone-open zone=5\n"
	    "2026-10-01T15:00:00 bypass zone=5\n"
	    "2026-10-01T16:00:00 on-test-begin part=2\n");
	state_of(&v, &a, &s);
	assert_int_equal(s.n_arm, 2);
	assert_int_equal(s.arm[0].word, W_ARM);
	assert_int_equal(s.arm[0].since, help_time("2026-10-01T09:00"));
	assert_int_equal(s.arm[0].event, 1);
	assert_int_equal(s.arm[1].word, W_ARM_STAY);
	assert_string_equal(s.arm[1].partition, "2");
	assert_int_equal(s.clock_set, help_time("2026-10-01T11:00"));
	assert_int_equal(s.log_cleared, help_time("2026-10-01T12:00"));
	assert_int_equal(s.log_overflow, NO_TIME);
	assert_int_equal(s.restart, NO_TIME);
	assert_int_equal(s.device[0].last_heard, help_time("2026-10-01T14:00"));
	assert_int_equal(s.device[0].last_event, 7);
	assert_int_equal(s.device[0].cond[COND_BYPASS].since, help_time("2026-10-01T15:00"));
	assert_int_equal(s.device[0].cond[COND_BYPASS].event, 8);
	assert_non_null(state_open(&s, COND_ON_TEST));
	assert_null(state_open(&s, COND_WALK_TEST));
	view_release(&v);
	arena_release(&a);
}

/* The day is that of the wall clock: 23:30 and 00:30 local are two days. */
static void
days(void **state)
{
	unsigned day[STATE_DAYS];
	struct view v;

	(void)state;
	help_view(&v, "account A1 tz=+02:00\n"
	    "now 2026-10-31T12:00\n"
	    "2026-10-01T23:59:59 zone-open zone=5\n"
	    "2026-10-01T23:59:59.500 zone-close zone=5\n"
	    "2026-10-02T00:00:00 zone-open zone=5\n"
	    "2026-10-02T00:00:10 zone-close zone=5\n"
	    "2026-10-30T23:30:00 zone-open zone=5\n"
	    "2026-10-30T23:31:00 zone-close zone=5\n"
	    "2026-10-31T00:30:00 zone-open zone=5 times=3 every=10s\n"
	    "2026-10-31T00:30:05 zone-close zone=5 times=3 every=10s\n"
	    "2026-10-31T09:00:00 zone-open zone=6\n");
	state_days(&v, view_device_find(&v, "5", "", NO_TIME), day);
	assert_int_equal(day[0], 1);
	assert_int_equal(day[28], 1);
	assert_int_equal(day[29], 3);
	for (size_t i = 1; i < 28; i++)
		assert_int_equal(day[i], 0);
	view_release(&v);
}

static void
nothing_at_all(void **state)
{
	struct arena a = { 0 };
	struct state s;
	struct view v;

	(void)state;
	help_view(&v, "account A1\nroster zone=5 serial=A1 kind=smoke\nnow 2026-10-01\n");
	state_of(&v, &a, &s);
	assert_int_equal(s.n_open, 0);
	assert_int_equal(s.n_arm, 0);
	assert_int_equal(s.device[0].last_heard, NO_TIME);
	view_release(&v);
	arena_release(&a);
}

static void
made_once(void **state)
{
	const struct state *s;
	struct view v;

	(void)state;
	help_view(&v, "account A1\n2026-10-01T08:00:00 tamper zone=5\n");
	assert_null(v.state);
	s = view_state(&v);
	assert_int_equal(s->device[0].cond[COND_TAMPER].since, v.event[0].at);
	assert_ptr_equal(view_state(&v), s);
	view_release(&v);
}

/* Each time that something held: "5 open 8:00-9:00" in the order they ended. */
static void
past(void **state)
{
	static const struct { const char *log, *text; } cases[] = {
		{ "", "" },
		{ "T zone-open zone=5\nU zone-close zone=5\n", "5 open 8-9" },
		{ "T zone-open zone=5\nT low-battery zone=5\nU zone-close zone=5\n",
		  "5 open 8-9, 5 battery low 8-" },
		{ "T low-battery zone=5\nU cell-replaced zone=5\nU low-battery zone=5\n"
		  "W restore zone=5\n", "5 battery low 8-9, 5 battery low 9-10" },
		{ "T tamper zone=5 marks=still\nU tamper-restore zone=5\n", "5 tamper 8-9 before" },
		{ "T bypass zone=5\nU unbypass zone=5\n", "5 bypassed 8-9" },
		{ "T supervision-loss zone=5 serial=4A0071\nU learn zone=5 serial=4A0072\n",
		  "5 supervision lost 8-9" },
		{ "T power-loss\nU power-restore\nW power-loss\n",
		  "panel mains power lost 8-9, panel mains power lost 10-" },
		{ "T walk-test-begin part=1\nT walk-test-begin part=2\nU walk-test-end\n",
		  "panel walk test open 8-9, panel walk test open 8-9" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		struct state_times t;
		const char *log = "account A1\ncover 2026-10-01 2026-10-02\n", *text = "";
		struct view v;

		for (const char *c = cases[i].log; *c; c++)
			log = (c == cases[i].log || c[-1] == '\n') ? arena_fmt(&a, "%s2026-10-01T%s:00:00", log,
			    *c == 'T' ? "08" : *c == 'U' ? "09" : "10") : arena_fmt(&a, "%s%c", log, *c);
		help_view(&v, log);
		state_past(&v, &a, &t);
		for (size_t k = 0; k < t.n; k++) {
			const struct state_time *x = &t.one[k];

			text = arena_fmt(&a, "%s%s%s %s %d-", text, k ? ", " : "", x->device < 0 ? "panel" :
			    v.device[x->device].zone, condition_text(x->what),
			    (int)(x->from % DAY / HOUR));
			if (x->to != NO_TIME)
				text = arena_fmt(&a, "%s%d", text, (int)(x->to % DAY / HOUR));
			if (x->before)
				text = arena_fmt(&a, "%s before", text);
		}
		assert_string_equal(text, cases[i].text);
		view_release(&v);
		arena_release(&a);
	}
}

static void
texts(void **state)
{
	(void)state;
	for (int i = 0; i < COND_COUNT; i++) {
		assert_true(strlen(condition_text((enum condition)i)) > 0);
		for (int k = 0; k < i; k++)
			assert_string_not_equal(condition_text((enum condition)i),
			    condition_text((enum condition)k));
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(conditions),
		cmocka_unit_test(tamper_restore_without_zone),
		cmocka_unit_test(what_a_restore_meant),
		cmocka_unit_test(site),
		cmocka_unit_test(days),
		cmocka_unit_test(nothing_at_all),
		cmocka_unit_test(made_once),
		cmocka_unit_test(past),
		cmocka_unit_test(texts),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
