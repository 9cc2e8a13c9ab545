#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "rules/care.h"
#include "tests/unit/help_view.h"

#define LEN(a) (sizeof (a) / sizeof *(a))

static const struct setting probe_settings[] = {
	{ "number", 3, 2, 10, "", "common practice, no source" },
	{ "seconds", 1.5, 0, 60, "s", "common practice, no source" },
	{ "minutes", 90, 0, 600, "min", "common practice, no source" },
	{ "hours", 24, 0, 100, "h", "common practice, no source" },
	{ "days", 0.5, 0, 100, "d", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};
static const struct rule probe = { .id = "probe", .setting = probe_settings };
static const struct rule other = { .id = "another", .setting = probe_settings };

static void
test_table(void **state)
{
	(void)state;
	assert_true(rule_count > 0);
	for (size_t i = 0; i < rule_count; i++) {
		const struct rule *r = rule_table[i];

		assert_ptr_equal(rule_find(r->id), r);	/* also: no id twice */
		assert_int_equal(strspn(r->id, "abcdefghijklmnopqrstuvwxyz-"), strlen(r->id));
		assert_true(*r->title && r->title[strlen(r->title) - 1] != '.');
		assert_true(*r->why && *r->quiet_on && *r->limits);
		assert_true(r->judge || r->fleet);
		for (const struct setting *s = r->setting; s->name; s++) {
			if (!(s->min <= s->value && s->value <= s->max) || !*s->origin || !s->unit)
				fail_msg("%s.%s: limits or origin", r->id, s->name);
			for (const struct setting *t = s + 1; t->name; t++)
				assert_string_not_equal(s->name, t->name);
		}
	}
	assert_null(rule_find("no-such-rule"));
	assert_null(rule_find(""));
}

static void
test_levels(void **state)
{
	(void)state;
	assert_string_equal(level_text(LEVEL_NOW), "now");
	assert_string_equal(level_text(LEVEL_SOON), "soon");
	assert_string_equal(level_text(LEVEL_LATER), "later");
}

/* The narrowest override that reaches the device wins; the limits hold for all. */
static void
test_settings(void **state)
{
	struct view v;

	(void)state;
	help_view(&v, "roster zone=1 kind=contact\nroster zone=2 kind=motion\n"
	    "setting probe.number=5\nsetting probe.number=6\n"
	    "setting probe.number=7 kind=contact\nsetting another.number=9\n"
	    "setting probe.seconds=2\n");
	assert_true(setting_value(&v, &probe, "number", -1) == 6);
	assert_true(setting_value(&v, &probe, "number", 0) == 7);
	assert_true(setting_value(&v, &probe, "number", 1) == 6);
	assert_true(setting_value(&v, &other, "number", 0) == 9);
	assert_int_equal(setting_ms(&v, &probe, "seconds", -1), 2000);
	assert_int_equal(setting_ms(&v, &other, "seconds", -1), 1500);
	assert_int_equal(setting_ms(&v, &probe, "minutes", -1), 90 * MINUTE);
	assert_int_equal(setting_ms(&v, &probe, "hours", -1), DAY);
	assert_int_equal(setting_ms(&v, &probe, "days", -1), 12 * HOUR);
	assert_int_equal(setting_unit_ms(&probe_settings[0]), 0);
	view_release(&v);

	for (int value = 1; value <= 11; value++) {
		struct arena a = { 0 };
		double want = value < 2 ? 2 : value > 10 ? 10 : value;

		help_view(&v, arena_fmt(&a, "setting probe.number=%d\n", value));
		assert_true(setting_value(&v, &probe, "number", -1) == want);
		view_release(&v);
		arena_release(&a);
	}
}

static void
test_fleet_settings(void **state)
{
	struct override o[] = { { "probe", "number", 4, KIND_UNKNOWN, 0 },
		{ "probe", "number", 5, KIND_SMOKE, 2 } };
	struct fleet f = { .override = o, .n_override = LEN(o) };

	(void)state;
	assert_true(setting_fleet(&f, &probe, "number") == 4);
	assert_true(setting_fleet(&f, &other, "number") == 3);
}

static void
test_finding_grows(void **state)
{
	struct view v;
	struct findings out = { 0 };
	struct finding *first, *f;

	(void)state;
	help_view(&v, "2026-10-01T08:00:00Z trip zone=5 times=200 every=1s\n");
	first = finding_add(&out, &v, &probe, 0, NULL);
	for (int i = 0; i < 1000; i++) {
		f = finding_add(&out, &v, &probe, -1, NULL);
		f->onset = f->last = v.now;
	}
	assert_int_equal(out.n, 1001);
	assert_ptr_equal(out.finding[0], first);
	assert_string_equal(first->subject, "zone:5");
	assert_string_equal(f->subject, "site");
	first->onset = first->last = v.event[0].at;
	for (int i = 199; i >= 0; i--) {
		finding_evidence(&out, first, (uint32_t)i);
		finding_evidence(&out, first, (uint32_t)(i / 2 * 2));
	}
	for (int i = 0; i < 50; i++)
		finding_measure(&out, first, "n", i, "");
	finding_check(&out, first, "one");
	finding_check(&out, first, "two");
	finding_check(&out, first, "one");
	finding_summary(&out, first, "%d of %s", 3, "them");
	first->level = LEVEL_NOW;
	rules_complete(&v, &out, 0);
	assert_ptr_equal(out.finding[0], first);
	assert_int_equal(first->n_evidence, 200);
	for (uint32_t i = 0; i < 200; i++)
		assert_int_equal(first->evidence[i], i);
	assert_int_equal(first->n_measure, 50);
	assert_true(first->measure[49].value == 49);
	assert_int_equal(first->n_check, 2);
	assert_string_equal(first->summary, "3 of them");
	findings_release(&out);
	view_release(&v);
}

static void
test_subject(void **state)
{
	struct view v;
	struct arena a = { 0 };

	(void)state;
	help_view(&v, "2026-10-01T08:00:00Z trip zone=05 part=1\n"
	    "2026-10-01T08:00:00Z trip zone=5 part=2\n"
	    "2026-10-01T08:00:00Z trip zone=6 part=2\n"
	    "2026-10-01T08:00:00Z trip zone=7 serial=00-4a\n");
	assert_string_equal(finding_subject(&a, &v, 0), "serial:4A");
	assert_string_equal(finding_subject(&a, &v, v.event[0].device), "zone:1/5");
	assert_string_equal(finding_subject(&a, &v, v.event[1].device), "zone:2/5");
	assert_string_equal(finding_subject(&a, &v, v.event[2].device), "zone:6");
	assert_string_equal(finding_subject(&a, &v, -1), "site");
	arena_release(&a);
	view_release(&v);
}

static bool
has_caution(const struct finding *f, const char *text)
{
	for (size_t i = 0; i < f->n_caution; i++)
		if (strcmp(f->caution[i], text) == 0)
			return true;
	return false;
}

/* A finding about one zone, its span as given, completed. */
static const struct finding *
completed(struct view *v, struct findings *out, const char *zone, const char *onset,
    const char *cleared, enum level level)
{
	struct finding *f = finding_add(out, v, &probe, view_device_find(v, zone, "", NO_TIME), NULL);

	f->level = level;
	f->onset = f->last = help_time(onset);
	f->cleared = cleared ? help_time(cleared) : NO_TIME;
	f->count = 1;
	rules_complete(v, out, out->n - 1);
	return f;
}

static void
test_life(void **state)
{
	static const struct {
		const char *zone;
		enum level  level, want;
		bool life, co, maybe;
	} cases[] = {
		{ "1", LEVEL_LATER, LEVEL_LATER, false, false, false },
		{ "2", LEVEL_LATER, LEVEL_LATER, true, false, false },
		{ "3", LEVEL_NOW, LEVEL_NOW, true, true, false },
		{ "4", LEVEL_SOON, LEVEL_SOON, true, true, false },
		{ "5", LEVEL_LATER, LEVEL_SOON, false, false, true },
		{ "5", LEVEL_SOON, LEVEL_SOON, false, false, true },
		{ "5", LEVEL_NOW, LEVEL_NOW, false, false, true },
	};
	struct view v;
	struct findings out = { 0 };

	(void)state;
	help_view(&v, "roster zone=1 kind=contact\nroster zone=2 kind=smoke\nroster zone=3 kind=co\n"
	    "roster zone=4 kind=gas\nroster zone=5\n2026-10-01T08:00:00Z trip zone=1\n");
	for (size_t i = 0; i < LEN(cases); i++) {
		const struct finding *f = completed(&v, &out, cases[i].zone, "2026-10-01T08:00:00Z",
		    NULL, cases[i].level);

		assert_int_equal(f->level, cases[i].want);
		assert_int_equal(f->life, cases[i].life);
		assert_int_equal(has_caution(f, CARE_LIFE), cases[i].life);
		assert_int_equal(has_caution(f, CARE_CO), cases[i].co);
		assert_int_equal(has_caution(f, CARE_MAYBE_LIFE), cases[i].maybe);
		assert_string_equal(f->account, "A1");
		assert_string_equal(f->zone, cases[i].zone);
	}
	findings_release(&out);
	view_release(&v);
}

/* What harms the proof counts inside [onset, now or cleared], both ends included. */
static void
test_limits_of_proof(void **state)
{
	static const struct {
		const char *onset, *cleared;
		bool lost, clock, gap;
	} cases[] = {
		{ "2026-10-01T08:00:00Z", "2026-10-01T09:59:59Z", false, false, false },
		{ "2026-10-01T08:00:00Z", "2026-10-01T10:00:00Z", true, false, false },
		{ "2026-10-01T10:00:00Z", "2026-10-01T11:00:00Z", true, false, false },
		{ "2026-10-01T10:00:01Z", "2026-10-01T11:59:59Z", false, false, false },
		{ "2026-10-01T11:00:00Z", "2026-10-01T12:00:00Z", false, true, false },
		{ "2026-10-01T13:00:00Z", "2026-10-02T00:00:00Z", false, false, false },
		{ "2026-10-01T13:00:00Z", "2026-10-02T00:00:01Z", false, false, true },
		{ "2026-10-01T13:00:00Z", NULL, false, true, true },
		{ "2026-10-03T00:00:00Z", NULL, false, true, false },
		{ "2026-10-03T12:00:01Z", NULL, false, false, false },
	};
	struct view v;
	struct findings out = { 0 };

	(void)state;
	help_view(&v, "cover 2026-10-01 2026-10-02\ncover 2026-10-03 2026-10-04\n"
	    "roster zone=1 kind=contact\n"
	    "2026-10-01T10:00:00Z log-overflow\n2026-10-01T12:00:00Z clock-set\n"
	    "2026-10-03T12:00:00Z trip zone=1 marks=reset\n");
	for (size_t i = 0; i < LEN(cases); i++) {
		const struct finding *f = completed(&v, &out, "1", cases[i].onset, cases[i].cleared,
		    LEVEL_SOON);

		if (has_caution(f, CARE_LOG_LOST) != cases[i].lost ||
		    has_caution(f, CARE_CLOCK) != cases[i].clock ||
		    has_caution(f, CARE_GAP) != cases[i].gap)
			fail_msg("case %zu: %zu cautions", i, f->n_caution);
	}
	findings_release(&out);
	view_release(&v);
}

/* Level, then life safety, then count, then names, begin and text: never by chance. */
static void
test_order(void **state)
{
	static const struct {
		const struct rule *rule;
		const char *subject;
		enum level  level;
		bool life;
		long count;
		int64_t onset;
		const char *summary;
	} in_order[] = {
		{ &probe, "a", LEVEL_NOW, true, 1, 0, "" },
		{ &probe, "b", LEVEL_NOW, false, 9, 0, "" },
		{ &probe, "c", LEVEL_SOON, true, 1, 0, "" },
		{ &probe, "d", LEVEL_SOON, false, 9, 0, "" },
		{ &other, "f", LEVEL_SOON, false, 5, 9, "" },
		{ &probe, "a", LEVEL_SOON, false, 5, 8, "" },
		{ &probe, "e", LEVEL_SOON, false, 5, 6, "y" },
		{ &probe, "e", LEVEL_SOON, false, 5, 7, "w" },
		{ &probe, "e", LEVEL_SOON, false, 5, 7, "x" },
		{ &probe, "e", LEVEL_SOON, false, 5, 8, "v" },
		{ &probe, "z", LEVEL_LATER, true, 99, 0, "" },
	};
	enum { N = LEN(in_order) };
	struct view v;

	(void)state;
	help_view(&v, "");
	for (size_t turn = 0; turn < N; turn++) {
		struct findings out = { 0 };

		for (size_t i = 0; i < N; i++) {
			size_t k = (i * 5 + turn) % N;
			struct finding *f = finding_add(&out, &v, in_order[k].rule, -1,
			    in_order[k].subject);

			f->level = in_order[k].level;
			f->life = in_order[k].life;
			f->count = in_order[k].count;
			f->onset = f->last = in_order[k].onset;
			f->summary = in_order[k].summary;
		}
		rules_complete(&v, &out, 0);
		for (size_t i = 0; i < N; i++) {
			assert_ptr_equal(out.finding[i]->rule, in_order[i].rule);
			assert_string_equal(out.finding[i]->subject, in_order[i].subject);
			assert_string_equal(out.finding[i]->summary, in_order[i].summary);
		}
		findings_release(&out);
	}
	view_release(&v);
}

/* Views that hold next to nothing: no rule may stumble, and silence is no finding. */
static void
test_next_to_nothing(void **state)
{
	static const char *const text[] = {
		"",
		"account A1\n",
		"account A1\nnow 2026-10-01\ncover 2026-09-01 2026-10-01\n",
		"roster zone=5 kind=contact\n",
		"roster zone=5 serial=4A kind=motion checkin=60m\n",
		"plan serial=4A from=2026-10-01 to=2026-10-02\n",
		"2026-10-01T08:00:00Z check-in zone=5\n",
		"2026-10-01T08:00:00Z restore zone=5 marks=still\n",
		"now 2026-09-01\n2026-10-01T08:00:00Z zone-open zone=5 times=3 every=1d\n",
	};

	(void)state;
	for (size_t i = 0; i < LEN(text); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, text[i], NULL);

		if (*got)
			fail_msg("%s: %s", text[i], got);
		arena_release(&a);
	}
}

/* Without an event and without cover there is no now, from which anything could be counted. */
static void
test_no_now(void **state)
{
	static const char *const text[] = { "",
		"roster zone=5 serial=4A kind=motion cell=CR123A installed=2019-10-01 as_of=2019-10-01\n",
		("roster zone=5 serial=4A kind=smoke checkin=60m installed=2009-10-01\n"
		"service 2026-10-01 what=cell zone=5\n"),
		"plan serial=4A zone=5 kind=smoke from=2026-10-01 to=2026-10-02\n" };

	(void)state;
	for (size_t i = 0; i < LEN(text); i++) {
		struct findings out = { 0 };
		struct view v;

		help_view(&v, text[i]);
		assert_true(v.now == NO_TIME);
		rules_judge(&v, NULL, &out);
		assert_int_equal(out.n, 0);
		assert_int_equal(out.n_summary, 0);
		findings_release(&out);
		view_release(&v);
	}
}

static void
test_span_text(void **state)
{
	static const struct {
		int64_t ms;
		const char *text;
	} cases[] = {
		{ 0, "0 s" }, { 999, "0 s" }, { 119 * SECOND, "119 s" }, { 120 * SECOND, "2 min" },
		{ 2 * HOUR - 1, "119 min" }, { 2 * HOUR, "2 h" }, { 2 * HOUR + MINUTE, "2 h 1 min" },
		{ 2 * DAY - 1, "47 h 59 min" }, { 2 * DAY, "2 d" }, { 2 * DAY + HOUR, "2 d 1 h" },
	};
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++)
		assert_string_equal(rule_span_text(&a, cases[i].ms), cases[i].text);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_table),
		cmocka_unit_test(test_levels),
		cmocka_unit_test(test_settings),
		cmocka_unit_test(test_fleet_settings),
		cmocka_unit_test(test_finding_grows),
		cmocka_unit_test(test_subject),
		cmocka_unit_test(test_life),
		cmocka_unit_test(test_limits_of_proof),
		cmocka_unit_test(test_order),
		cmocka_unit_test(test_next_to_nothing),
		cmocka_unit_test(test_no_now),
		cmocka_unit_test(test_span_text),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
