/* The numbers of the rule; what it fires and does not fire on is in tests/rules/chatter. */
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "tests/unit/help_view.h"

#define LEN(a) (sizeof (a) / sizeof *(a))

/* A contact that opens at the given seconds and closes `dwell` ms later. */
static const char *
openings(struct arena *a, const char *head, const int *at, size_t n, int dwell)
{
	const char *text = arena_fmt(a, "now 2026-10-11\nroster zone=5 kind=contact\n%s", head);
	int64_t begin = help_time("2026-10-10T08:00:00Z");
	char t[CIVIL_TEXT];

	for (size_t i = 0; i < n; i++) {
		text = arena_fmt(a, "%s%s zone-open zone=5\n", text,
		    civil_rfc3339(begin + at[i] * SECOND, t));
		text = arena_fmt(a, "%s%s zone-close zone=5\n", text,
		    civil_rfc3339(begin + at[i] * SECOND + dwell, t));
	}
	return text;
}

/* Run-length chatter index after Kondaveeti and others 2013 (the formula from memory):
 * values by arithmetic. */
static void
test_index(void **state)
{
	static const struct {
		int         at[5];
		size_t      n;
		const char *want;
	} cases[] = {
		{ { 0, 20, 40, 60 }, 4, "0.05 1/s" },
		{ { 0, 1, 2, 3 }, 4, "1 1/s" },
		{ { 0, 10, 30, 60, 120 }, 5, "0.05 1/s" },
		{ { 0, 60, 120 }, 3, "0.0166667 1/s" },
		{ { 0, 1, 3601, 7201 }, 4, "0.333519 1/s" },
		{ { 0, 0, 0 }, 3, "1 1/s" },		/* pairs of one second count as 1 s */
		{ { 0 }, 1, "n/a" },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		/* Looser settings, so that each of the series is a finding; a report of the panel
		 * does it for the one activation. */
		const char *text = openings(&a, "setting chatter.bursts=1\n"
		    "setting chatter.activations=2\nsetting chatter.window=3600\n"
		    "setting chatter.gap=3600\n2026-10-10T12:00:00Z swinger zone=5\n", cases[i].at,
		    cases[i].n, 0);
		const char *got = help_judge(&a, text, "chatter");

		if (!strstr(got, arena_fmt(&a, "measure chatter_index %s\n", cases[i].want)))
			fail_msg("series %zu: %s", i, got);
		arena_release(&a);
	}
}

static void
test_dwell(void **state)
{
	static const int at[] = { 0, 20, 40, 60, 80, 100, 120, 140, 160, 180 };
	static const struct {
		int         dwell;
		const char *want;
		bool        loose;	/* is brief opening named as a sign? */
	} cases[] = {
		{ 0, "0 s", true }, { 1999, "1.999 s", true }, { 2000, "2 s", true },
		{ 2001, "2.001 s", false }, { 9000, "9 s", false },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, openings(&a, "", at, LEN(at), cases[i].dwell),
		    "chatter");

		if (!strstr(got, arena_fmt(&a, "measure median_dwell %s\n", cases[i].want)) ||
		    (strstr(got, "half of the openings last") != NULL) != cases[i].loose)
			fail_msg("dwell %d: %s", cases[i].dwell, got);
		arena_release(&a);
	}
}

/* Each number is a setting: the same series fires just at it and not above. */
static void
test_settings(void **state)
{
	static const int at[] = { 0, 30, 60, 90, 120 };
	static const struct {
		const char *set;
		bool        fires;
	} cases[] = {
		{ "", false },
		{ "setting chatter.large=6\n", false },
		{ "setting chatter.large=5\n", true },
		{ "setting chatter.large=4\n", true },
		{ "setting chatter.large=5\nsetting chatter.gap=30\n", true },
		{ "setting chatter.large=5\nsetting chatter.gap=29\n", false },
		{ "setting chatter.large=5\nsetting chatter.window=60\n", true },
		{ "setting chatter.large=5\nsetting chatter.window=59\n", false },
		{ "setting chatter.large=5\nsetting chatter.activations=5\n"
		  "setting chatter.window=120\n", true },
		{ "setting chatter.large=5\nsetting chatter.activations=6\n"
		  "setting chatter.window=120\n", false },
		{ "setting chatter.bursts=1\n", true },
		{ "setting chatter.bursts=1 kind=motion\n", false },
		{ "setting chatter.bursts=1\nsetting chatter.bursts=2 kind=contact\n", false },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, openings(&a, cases[i].set, at, LEN(at), 1000),
		    "chatter");

		if ((*got != '\0') != cases[i].fires)
			fail_msg("%s: %s", cases[i].set, got);
		arena_release(&a);
	}
}

/* No setting makes a life-safety point chatter. */
static void
test_never_life(void **state)
{
	static const char *const kind[] = { "smoke", "heat", "flame", "duct", "call-point",
		"water-flow", "co", "gas", "panic", "hold-up", "medical" };

	(void)state;
	for (size_t i = 0; i < LEN(kind); i++) {
		struct arena a = { 0 };

		assert_string_equal(help_judge(&a, arena_fmt(&a, "now 2026-10-11\n"
		    "roster zone=5 kind=%s\nsetting chatter.bursts=1\nsetting chatter.activations=2\n"
		    "2026-10-10T08:00:00Z alarm zone=5 times=30 every=3s\n"
		    "2026-10-10T09:00:00Z swinger zone=5\n", kind[i]), "chatter"), "");
		arena_release(&a);
	}
}

/* The same rows give the same findings, in whatever order the files held them. */
static void
test_order_of_rows(void **state)
{
	struct arena a = { 0 };
	const char *forth = "now 2026-10-11\nroster zone=5 kind=contact\n";
	const char *back = forth;
	char t[CIVIL_TEXT], u[CIVIL_TEXT];

	(void)state;
	for (int i = 0; i < 40; i++) {
		civil_rfc3339(help_time("2026-10-10T08:00:00Z") + i * 10 * SECOND, t);
		civil_rfc3339(help_time("2026-10-10T08:00:00Z") + (39 - i) * 10 * SECOND, u);
		forth = arena_fmt(&a, "%s%s %s zone=5\n", forth, t, i % 2 ? "zone-close" : "zone-open");
		back = arena_fmt(&a, "%s%s %s zone=5\n", back, u, i % 2 ? "zone-open" : "zone-close");
	}
	forth = help_judge(&a, forth, "chatter");
	assert_true(*forth);
	assert_string_equal(forth, help_judge(&a, back, "chatter"));
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_index),
		cmocka_unit_test(test_dwell),
		cmocka_unit_test(test_settings),
		cmocka_unit_test(test_never_life),
		cmocka_unit_test(test_order_of_rows),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
