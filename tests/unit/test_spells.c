/* From when to when something held at the panel, its modules and devices. */
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "rules/spells.h"
#include "tests/unit/help_view.h"

#define LEN(a) (sizeof (a) / sizeof *(a))

/* "08:00-09:00 08:30- ..." with "+" before one that began before. */
static const char *
spells_text(struct arena *a, const struct spells *s)
{
	const char *out = "";
	char from[CIVIL_TEXT], to[CIVIL_TEXT];

	for (size_t i = 0; i < s->n; i++) {
		civil_rfc3339(s->spell[i].from, from);
		civil_rfc3339(s->spell[i].to, to);
		out = arena_fmt(a, "%s%s%s%.5s-%.5s%s", out, *out ? " " : "",
		    s->spell[i].before ? "+" : "", from + 11, *to ? to + 11 : "",
		    s->spell[i].device < 0 ? "" : "d");
	}
	return out;
}

static void
test_spells(void **state)
{
	static const struct {
		const char *rows, *want;
	} cases[] = {
		{ "2026-10-01T08:00:00Z trip zone=1\n", "" },
		{ "2026-10-01T08:00:00Z power-restore\n", "" },
		{ "2026-10-01T08:00:00Z power-loss\n", "08:00-" },
		{ "2026-10-01T08:00:00Z power-loss\n2026-10-01T09:00:00Z power-restore\n",
			"08:00-09:00" },
		/* Said again; restored twice. */
		{ "2026-10-01T08:00:00Z power-loss\n2026-10-01T08:10:00Z power-loss\n"
			"2026-10-01T09:00:00Z power-restore\n"
			"2026-10-01T09:01:00Z power-restore\n", "08:00-09:00" },
		{ "2026-10-01T08:00:00Z power-loss\n2026-10-01T09:00:00Z power-restore\n"
			"2026-10-01T10:00:00Z power-loss\n", "08:00-09:00 10:00-" },
		/* Two modules, and a device. */
		{ "2026-10-01T08:00:00Z power-loss\n"
			"2026-10-01T08:10:00Z power-loss zone=3 marks=panel\n"
			"2026-10-01T09:00:00Z power-restore zone=3 marks=panel\n"
			"2026-10-01T10:00:00Z power-restore\n", "08:00-10:00 08:10-09:00" },
		{ "2026-10-01T08:00:00Z power-loss zone=7\n"
			"2026-10-01T09:00:00Z power-restore\n", "08:00-d" },
		{ "2026-10-01T08:00:00Z power-loss zone=7\n"
			"2026-10-01T09:00:00Z power-restore zone=7\n", "08:00-09:00d" },
		/* A bare restore; what is still so. */
		{ "2026-10-01T08:00:00Z power-loss\n2026-10-01T09:00:00Z restore\n", "08:00-09:00" },
		{ "2026-10-01T08:00:00Z power-loss marks=still\n"
			"2026-10-01T09:00:00Z power-restore\n", "+08:00-09:00" },
		{ "2026-10-01T08:00:00Z power-loss\n"
			"2026-10-01T09:00:00Z power-restore marks=still\n", "08:00-" },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		struct view v;
		struct spells s;

		help_view(&v, cases[i].rows);
		spells_find(&v, W_POWER_LOSS, W_POWER_RESTORE, &s);
		if (strcmp(spells_text(&a, &s), cases[i].want) != 0)
			fail_msg("%s gave '%s', not '%s'", cases[i].rows, spells_text(&a, &s),
			    cases[i].want);
		view_release(&v);
		arena_release(&a);
	}
}

/* Those within a day of the newest, both ends counted; devices aside. */
static void
test_newest(void **state)
{
	struct view v;
	struct spells s;
	size_t first = 99, last = 99;

	(void)state;
	help_view(&v, "2026-10-01T07:59:59Z jam\n2026-10-01T07:59:59Z jam-clear\n"
	    "2026-10-01T08:00:00Z jam\n2026-10-01T08:00:01Z jam-clear\n"
	    "2026-10-02T08:00:00Z jam\n");
	spells_find(&v, W_JAM, W_JAM_CLEAR, &s);
	assert_int_equal(s.n, 3);
	assert_int_equal(spells_newest(&s, DAY, &first, &last), 2);
	assert_int_equal(first, 1);
	assert_int_equal(last, 2);
	assert_int_equal(spells_newest(&s, DAY + SECOND, &first, &last), 3);
	assert_int_equal(first, 0);
	assert_int_equal(spells_newest(&s, 0, &first, &last), 1);
	assert_int_equal(first, 2);
	view_release(&v);

	help_view(&v, "2026-10-01T08:00:00Z power-loss zone=7\n");
	spells_find(&v, W_POWER_LOSS, W_POWER_RESTORE, &s);
	assert_int_equal(spells_newest(&s, DAY, &first, &last), 0);
	view_release(&v);

	/* A device's spells before, between and after those of the panel. */
	help_view(&v, "2026-10-01T08:00:00Z power-loss zone=7\n"
	    "2026-10-01T08:00:01Z power-restore zone=7\n"
	    "2026-10-01T09:00:00Z power-loss\n2026-10-01T09:00:01Z power-restore\n"
	    "2026-10-01T10:00:00Z power-loss zone=7\n"
	    "2026-10-01T10:00:01Z power-restore zone=7\n"
	    "2026-10-01T11:00:00Z power-loss\n2026-10-01T12:00:00Z power-loss zone=7\n");
	spells_find(&v, W_POWER_LOSS, W_POWER_RESTORE, &s);
	assert_int_equal(s.n, 5);
	assert_int_equal(spells_newest(&s, DAY, &first, &last), 2);
	assert_int_equal(first, 1);
	assert_int_equal(last, 3);
	assert_int_equal(spells_newest(&s, HOUR, &first, &last), 1);
	view_release(&v);
}

static int
day_at(const char *p)
{
	int64_t v = 0;

	assert_true(span_to_int((struct span){ p, strcspn(p, " ") }, 1, 31, &v));
	return (int)v;
}

/* Three within seven days, and what comes of them. */
static void
test_due(void **state)
{
	static const struct { const char *days, *now; size_t n, first, last; } cases[] = {
		{ "1 3 8", "2026-10-09", 3, 0, 2 },		/* just a week from first to last */
		{ "1 3 9", "2026-10-09", 0, 0, 0 },
		{ "1 3 5", "2026-10-11", 3, 0, 2 },		/* six days after the last */
		{ "1 3 5", "2026-10-12", 0, 0, 0 },		/* seven */
		{ "1 3 5 11", "2026-10-11", 3, 0, 2 },	/* one more does not end it */
		{ "1 3 5 7 9 11 13 15", "2026-10-15", 4, 0, 7 },
		{ "1 2 3 11 12 13", "2026-10-13", 3, 3, 5 },	/* a quiet week between */
		{ "1 2 3 9 10 11", "2026-10-11", 3, 0, 5 },	/* 3 9 10 are one too */
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *text = arena_fmt(&a, "cover 2026-09-20 2026-10-30\nnow %s\n", cases[i].now);
		size_t first = 0, last = 0, n;
		struct spells s;
		struct view v;

		for (const char *p = cases[i].days; *p; p += strcspn(p, " "), p += *p == ' ')
			text = arena_fmt(&a, "%s2026-10-%02dT00:00:00Z jam\n2026-10-%02dT00:01:00Z jam-clear\n",
			    text, day_at(p), day_at(p));
		help_view(&v, text);
		spells_find(&v, W_JAM, W_JAM_CLEAR, &s);
		n = spells_due(&v, &s, 3, 7 * DAY, &first, &last);
		if (n != cases[i].n || (n && (first != cases[i].first || last != cases[i].last)))
			fail_msg("case %zu: %zu from %zu to %zu", i, n, first, last);
		view_release(&v);
		arena_release(&a);
	}
}

/* A device's spell is none of the panel's: it makes no run last longer. */
static void
test_due_beside_a_device(void **state)
{
	size_t first = 0, last = 0;
	struct spells s;
	struct view v;

	(void)state;
	for (int day = 11; day <= 12; day++) {
		struct arena a = { 0 };

		help_view(&v, arena_fmt(&a, "cover 2026-09-20 2026-10-30\nnow 2026-10-%d\n"
		    "2026-10-01 power-loss times=3 every=2d\n2026-10-01T00:01:00 power-restore times=3 every=2d\n"
		    "2026-10-08 power-loss zone=7\n2026-10-08T00:01:00 power-restore zone=7\n", day));
		spells_find(&v, W_POWER_LOSS, W_POWER_RESTORE, &s);
		assert_int_equal(s.n, 4);
		assert_int_equal(spells_due(&v, &s, 3, 7 * DAY, &first, &last), day == 11 ? 3 : 0);
		assert_int_equal(first, 0);
		assert_int_equal(last, day == 11 ? 2 : SIZE_MAX);
		view_release(&v);
		arena_release(&a);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_spells),
		cmocka_unit_test(test_newest),
		cmocka_unit_test(test_due),
		cmocka_unit_test(test_due_beside_a_device),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
