/* One cause is one finding where several rules could tell it, and life safety is never
 * folded away; what the held-condition rules share. */
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "rules/held.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* How many findings of the text begin so. */
static int
count(const char *text, const char *begin)
{
	int n = 0;

	for (const char *line = text; line; line = strchr(line, '\n')) {
		line += *line == '\n';
		n += strncmp(line, begin, strlen(begin)) == 0;
		if (!*line)
			break;
	}
	return n;
}

/* Seven cells of one age in a week: a crowd that chance does not explain. */
static const char *
crowd(struct arena *a, int cells)
{
	const char *text = "account A1\ncover 2026-05-01T00:00:00Z 2026-10-20T00:00:00Z\n";

	for (int i = 1; i <= 12; i++)
		text = arena_fmt(a, "%sroster zone=%d serial=B%05d kind=%s cell=CR123A\n", text, i, i,
		    i == 1 ? "smoke" : i == 2 ? "co" : "contact");
	for (int i = 1; i <= cells; i++)
		text = arena_fmt(a, "%s2026-10-%02dT08:00:00Z low-battery zone=%d\n", text, 10 + i, i);
	return text;
}

static void
a_crowd_has_one_finding(void **state)
{
	struct arena a = { 0 };
	const char *got = help_judge(&a, crowd(&a, 7), NULL);

	(void)state;
	assert_int_equal(count(got, "battery-cluster soon A1 site"), 1);
	assert_int_equal(count(got, "low-battery "), 2);
	assert_int_equal(count(got, "low-battery now A1 serial:B00001 "), 1);
	assert_int_equal(count(got, "low-battery now A1 serial:B00002 "), 1);
	arena_release(&a);
}

/* Two low cells of a site are chance: no cluster, so each is told. */
static void
two_cells_are_told_one_by_one(void **state)
{
	struct arena a = { 0 };
	const char *log = "account A1\ncover 2026-05-01T00:00:00Z 2026-10-20T00:00:00Z\n", *got;

	(void)state;
	for (int i = 1; i <= 12; i++)
		log = arena_fmt(&a, "%sroster zone=%d kind=contact\n", log, i);
	log = arena_fmt(&a, "%s2026-07-01T08:00:00Z low-battery zone=3\n"
	    "2026-10-19T08:00:00Z low-battery zone=4\n", log);
	got = help_judge(&a, log, NULL);
	assert_int_equal(count(got, "battery-cluster"), 0);
	assert_int_equal(count(got, "low-battery soon A1 zone:3 "), 1);
	assert_int_equal(count(got, "low-battery later A1 zone:4 "), 1);
	arena_release(&a);
}

/* The crowd of one account folds nothing at another. */
static void
another_account_keeps_its_own(void **state)
{
	struct arena a = { 0 };
	const char *got = help_judge(&a, arena_fmt(&a, "%saccount A2\n"
	    "cover 2026-05-01T00:00:00Z 2026-10-20T00:00:00Z\nroster zone=3 kind=contact\n"
	    "2026-10-19T08:00:00Z low-battery zone=3\n", crowd(&a, 7)), NULL);

	(void)state;
	assert_int_equal(count(got, "low-battery now A1"), 2);
	assert_int_equal(count(got, "low-battery later A2 zone:3"), 1);
	arena_release(&a);
}

/* A bypassed, open, troubled, lost door: what each rule says of it. */
static void
one_door_with_everything(void **state)
{
	static const struct {
		const char *log, *rule;
		int n;
	} cases[] = {
		{ "", "trouble-left", 1 },
		{ "", "bypass-left", 1 },
		{ "", "standing", 0 },
		{ "2026-10-03T08:00:00Z supervision-loss zone=3\n", "trouble-left", 0 },
		{ "2026-10-03T08:00:00Z supervision-loss zone=3\n", "supervision-loss", 1 },
		{ "2026-10-03T08:00:00Z supervision-loss zone=3\n", "bypass-left", 1 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, arena_fmt(&a, "account A1\nnow 2026-10-05T08:00:00Z\n"
		    "roster zone=3 serial=B00001 kind=contact\nroster zone=4 serial=B00002 kind=contact\n"
		    "roster zone=5 serial=B00003 kind=contact\n"
		    "2026-09-30T08:00:00Z zone-open zone=3\n2026-09-30T08:01:00Z zone-close zone=3\n"
		    "2026-10-01T08:00:00Z zone-open zone=3\n2026-10-01T08:00:00Z bypass zone=3\n"
		    "2026-10-01T08:00:00Z trouble zone=3\n%s", cases[i].log), NULL);

		assert_int_equal(count(got, arena_fmt(&a, "%s ", cases[i].rule)), cases[i].n);
		arena_release(&a);
	}
}

/* Whatever the settings say, every rule of held conditions speaks of a smoke detector as
 * early and as urgently as without them. */
static void
no_setting_hides_life_safety(void **state)
{
	static const char log[] = "account A1\nnow 2026-10-11T08:00:00Z\n"
	    "roster zone=3 serial=B00001 kind=smoke\n"
	    "2026-10-01T08:00:00Z low-battery zone=3\n2026-10-01T08:00:00Z trouble zone=3\n"
	    "2026-10-01T08:00:00Z bypass zone=3\n2026-10-01T08:00:00Z end-of-life zone=3\n"
	    "2026-10-01T08:00:00Z on-test-begin\n2026-10-01T08:00:00Z sounder-trouble\n"
	    "2026-10-01T08:00:00Z comm-loss\n"
	    "2026-10-02T08:00:00Z tamper zone=3 times=3 every=1h\n";
	static const char *const rules[] = { "low-battery", "trouble-left", "bypass-left",
		"end-of-life", "test-left", "tamper-repeat", "standing", "extra-device", "exit-error" };

	(void)state;
	for (size_t i = 0; i < COUNT(rules); i++) {
		const struct rule *r = rule_find(rules[i]);

		for (const struct setting *s = r->setting; s->name; s++) {
			for (int high = 0; high < 2; high++) {
				struct arena a = { 0 };
				const char *plain = help_judge(&a, log, rules[i]), *set;

				set = help_judge(&a, arena_fmt(&a, "%ssetting %s.%s=%g\n", log, rules[i], s->name,
				    high ? s->max : s->min), rules[i]);
				if (count(set, arena_fmt(&a, "%s now", rules[i])) <
				    count(plain, arena_fmt(&a, "%s now", rules[i])) ||
				    count(set, rules[i]) < count(plain, rules[i]))
					fail_msg("%s.%s=%g hides:\n%s", rules[i], s->name,
					    high ? s->max : s->min, set);
				arena_release(&a);
			}
		}
	}
}

/* Judged by all rules at once or one by one, the same is found. */
static void
shared_state_changes_nothing(void **state)
{
	static const char *const rules[] = { "trouble-left", "bypass-left", "test-left" };
	struct arena a = { 0 };
	const char *log = "account A1\nnow 2026-10-05T08:00:00Z\nroster zone=3 kind=smoke\n"
	    "2026-10-01T08:00:00Z trouble zone=3\n2026-10-01T08:00:00Z bypass zone=3\n"
	    "2026-10-01T08:00:00Z on-test-begin\n";
	const char *all = help_judge(&a, log, NULL);

	(void)state;
	for (size_t i = 0; i < COUNT(rules); i++)
		assert_non_null(strstr(all, help_judge(&a, log, rules[i])));
	arena_release(&a);
}

static void
limits(void **state)
{
	static const struct setting setting[] = {
		{ "wait", 2, 0, 10, "h", "common practice, no source" },
		{ NULL, 0, 0, 0, NULL, NULL }
	};
	static const struct rule rule = { .id = "trouble-left", .setting = setting };
	static const struct {
		double value, contact, smoke, unknown, site;
	} cases[] = {
		{ 1, 1, 1, 1, 1 }, { 2, 2, 2, 2, 2 }, { 3, 3, 2, 2, 2 }, { 0, 0, 0, 0, 0 },
		{ 11, 10, 2, 2, 2 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct override o = { "trouble-left", "wait", cases[i].value, KIND_UNKNOWN, 0 };
		struct findings out = { 0 };
		struct held h;
		struct view v;

		help_view(&v, "account A1\nroster zone=1 kind=contact\nroster zone=2 kind=smoke\n"
		    "2026-10-01T08:00:00Z zone-open zone=3\n");
		v.override = &o;
		v.n_override = 1;
		h = held_begin(&v, &out, &rule);
		assert_true(held_limit(&h, "wait", view_device_find(&v, "1", "", NO_TIME)) ==
		    cases[i].contact);
		assert_true(held_limit(&h, "wait", view_device_find(&v, "2", "", NO_TIME)) ==
		    cases[i].smoke);
		assert_true(held_limit(&h, "wait", view_device_find(&v, "3", "", NO_TIME)) ==
		    cases[i].unknown);
		assert_true(held_limit(&h, "wait", -1) == cases[i].site);
		assert_int_equal(held_limit_ms(&h, "wait", -1), (int64_t)(cases[i].site * HOUR));
		findings_release(&out);
		view_release(&v);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_crowd_has_one_finding),
		cmocka_unit_test(two_cells_are_told_one_by_one),
		cmocka_unit_test(another_account_keeps_its_own),
		cmocka_unit_test(one_door_with_everything),
		cmocka_unit_test(no_setting_hides_life_safety),
		cmocka_unit_test(shared_state_changes_nothing),
		cmocka_unit_test(limits),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
