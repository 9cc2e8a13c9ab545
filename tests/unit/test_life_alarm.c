/* What the rule takes for a life-safety alarm, and its limits; its sentences and
 * whole cases are in tests/rules/life-alarm. */
#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "tests/unit/help_view.h"

#define LEN(a) (sizeof (a) / sizeof *(a))

static size_t
findings_in(const char *text)
{
	size_t n = 0;

	for (const char *p = text; (p = strstr(p, "life-alarm now ")) != NULL; p++)
		n++;
	return n;
}

static void
test_what_counts(void **state)
{
	static const struct {
		const char *kind, *row;
		bool        listed;
	} cases[] = {
		/* Life-safety words, whatever the device is said to be. */
		{ "contact", "fire-alarm zone=5", true },
		{ "contact", "heat-alarm zone=5", true },
		{ "contact", "co-alarm zone=5", true },
		{ "contact", "gas-alarm zone=5", true },
		{ "keypad", "medical-alarm zone=5", true },
		{ "keypad", "panic-alarm zone=5", true },
		{ "keypad", "hold-up-alarm zone=5", true },
		{ "keypad", "duress-alarm zone=5", true },
		{ "water-flow", "fire-supervisory zone=5", true },
		/* On the panel itself, on a user number, on a serial alone. */
		{ "contact", "fire-alarm", true },
		{ "contact", "fire-alarm zone=0", true },
		{ "contact", "duress-alarm zone=5 marks=user", true },
		{ "contact", "co-alarm serial=AA01", true },
		{ "contact", "co-alarm serial=1.2E+11", true },
		/* Any alarm of a life-safety device, by kind, code or hint. */
		{ "smoke", "alarm zone=5", true },
		{ "smoke", "burglary-alarm zone=5", true },
		{ "water-flow", "water-alarm zone=5", true },
		{ "call-point", "alarm zone=5", true },
		{ "contact", "alarm zone=5 marks=life-code", true },
		{ "contact", "alarm zone=5 hint=panic", true },
		{ "smoke", "trip zone=5", true },
		{ "co", "zone-open zone=5", true },
		{ "smoke", "near-alarm zone=5", true },
		{ "smoke", "alarm-verified zone=5", true },
		{ "smoke", "swinger zone=5", true },
		{ "smoke", "fire-alarm zone=5 marks=still", true },
		{ "smoke", "fire-alarm zone=5 marks=coarse,buffered,reset", true },
		/* Not alarms, or not of life safety. */
		{ "contact", "burglary-alarm zone=5", false },
		{ "contact", "alarm zone=5", false },
		{ "contact", "near-alarm zone=5", false },
		{ "contact", "swinger zone=5", false },
		{ "contact", "trip zone=5", false },
		{ "contact", "zone-open zone=5 marks=life-code", false },
		{ "water", "water-alarm zone=5", false },
		{ "smoke", "zone-close zone=5", false },
		{ "smoke", "alarm-restore zone=5", false },
		{ "smoke", "alarm-cancel", false },
		{ "smoke", "trouble zone=5 marks=life-code", false },
		{ "smoke", "low-battery zone=5", false },
		{ "smoke", "check-in zone=5", false },
		{ "smoke", "test zone=5", false },
		{ "smoke", "bypass zone=5 marks=life-code", false },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, arena_fmt(&a, "now 2026-10-11\n"
		    "roster zone=5 kind=%s\n2026-10-10T08:00:00Z %s\n", cases[i].kind,
		    cases[i].row), "life-alarm");

		if ((findings_in(got) == 1) != cases[i].listed || findings_in(got) > 1)
			fail_msg("%s of %s: %s", cases[i].row, cases[i].kind, got);
		if (cases[i].listed && !strstr(got, "caution Life safety: treat every alarm as real"))
			fail_msg("%s of %s: no caution", cases[i].row, cases[i].kind);
		arena_release(&a);
	}
}

static void
test_join(void **state)
{
	static const struct {
		const char *set, *second;
		size_t      findings;
	} cases[] = {
		{ "", "2026-10-02T07:59:59.999Z", 1 },
		{ "", "2026-10-02T08:00:00Z", 1 },
		{ "", "2026-10-02T08:00:00.001Z", 2 },
		{ "setting life-alarm.join=1\n", "2026-10-01T09:00:00Z", 1 },
		{ "setting life-alarm.join=1\n", "2026-10-01T09:00:00.001Z", 2 },
		/* No setting goes below an hour, and none makes a finding disappear. */
		{ "setting life-alarm.join=0\n", "2026-10-01T08:30:00Z", 1 },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, arena_fmt(&a, "now 2026-10-11\n"
		    "roster zone=5 kind=smoke\n%s2026-10-01T08:00:00Z fire-alarm zone=5\n"
		    "%s fire-alarm zone=5\n", cases[i].set, cases[i].second), "life-alarm");

		assert_int_equal(findings_in(got), cases[i].findings);
		arena_release(&a);
	}
}

/* Each point stands for itself; the same zone number in another partition is another. */
static void
test_points_apart(void **state)
{
	struct arena a = { 0 };
	const char *got = help_judge(&a, "now 2026-10-11\n"
	    "2026-10-01T08:00:00Z fire-alarm zone=5 part=1\n"
	    "2026-10-01T08:00:01Z fire-alarm zone=5 part=2\n"
	    "2026-10-01T08:00:02Z fire-alarm zone=6 serial=AA01\n"
	    "2026-10-01T08:00:03Z fire-alarm\n"
	    "2026-10-01T08:00:04Z duress-alarm marks=user zone=3\n", "life-alarm");

	(void)state;
	assert_int_equal(findings_in(got), 4);
	assert_non_null(strstr(got, " zone:1/5 "));
	assert_non_null(strstr(got, " zone:2/5 "));
	assert_non_null(strstr(got, " serial:AA01 "));
	assert_non_null(strstr(got, "the panel: fire alarm, duress alarm within 1 s"));
	arena_release(&a);
}

/* A restore never closes; the newest one after the last alarm is told. */
static void
test_restore(void **state)
{
	static const struct {
		const char *rows, *restored, *comings;
	} cases[] = {
		{ "", "no", "1" },
		{ "2026-10-01T08:01:00Z alarm-restore zone=5\n", "2026-10-01T08:01:00Z", "1" },
		{ "2026-10-01T08:01:00Z restore zone=5\n", "2026-10-01T08:01:00Z", "1" },
		{ "2026-10-01T08:01:00Z alarm-restore zone=6\n", "no", "1" },
		{ "2026-10-01T07:59:00Z alarm-restore zone=5\n", "no", "1" },
		{ "2026-10-01T08:01:00Z alarm-restore zone=5 marks=still\n", "no", "1" },
		{ "2026-10-01T08:01:00Z alarm-restore zone=5\n"
		  "2026-10-01T08:02:00Z fire-alarm zone=5\n", "no", "2" },
		{ "2026-10-01T08:01:00Z alarm-restore zone=5\n"
		  "2026-10-01T08:02:00Z fire-alarm zone=5\n"
		  "2026-10-01T08:03:00Z clear zone=5\n"
		  "2026-10-01T08:04:00Z clear zone=5\n", "2026-10-01T08:03:00Z", "2" },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, arena_fmt(&a, "now 2026-12-31\n"
		    "roster zone=5 kind=smoke\n2026-10-01T08:00:00Z fire-alarm zone=5\n%s",
		    cases[i].rows), "life-alarm");

		if (!strstr(got, arena_fmt(&a, "measure restored %s\n", cases[i].restored)) ||
		    !strstr(got, arena_fmt(&a, "measure comings %s\n", cases[i].comings)) ||
		    !strstr(got, " life open | "))
			fail_msg("case %zu: %s", i, got);
		arena_release(&a);
	}
}

/* Nothing that the finding says may talk anybody into silencing the device. */
static void
test_words_of_care(void **state)
{
	static const char *const kind[] = { "smoke", "heat", "flame", "duct", "call-point",
		"water-flow", "co", "gas", "panic", "hold-up", "medical", "contact" };
	static const char *const never[] = { "ignore", "mute", "silence", "nuisance", "disable",
		"false alarm", "chatter" };

	(void)state;
	for (size_t i = 0; i < LEN(kind); i++) {
		struct arena a = { 0 };
		const char *got = help_judge(&a, arena_fmt(&a, "now 2026-10-11\n"
		    "roster zone=5 kind=%s\n2026-10-10T08:00:00Z alarm zone=5 marks=life-code\n"
		    "2026-10-10T08:00:10Z alarm-restore zone=5\n"
		    "2026-10-10T08:00:20Z alarm zone=5 marks=life-code\n", kind[i]), "life-alarm");

		assert_int_equal(findings_in(got), 1);
		for (size_t k = 0; k < LEN(never); k++)
			if (strstr(got, never[k]))
				fail_msg("%s: '%s' in %s", kind[i], never[k], got);
		arena_release(&a);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_what_counts),
		cmocka_unit_test(test_join),
		cmocka_unit_test(test_points_apart),
		cmocka_unit_test(test_restore),
		cmocka_unit_test(test_words_of_care),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
