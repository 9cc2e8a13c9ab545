#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

#include "rules/activation.h"
#include "tests/unit/help_view.h"

#define LEN(a) (sizeof (a) / sizeof *(a))

/* "08:00:00.500+1500 a" : start, length in ms ("-" = no return), a(larm), l(oose),
 * e(nd is loose), r and the number of reports where it is not 1, i and the input. */
static const char *
text_of(struct arena *a, const struct activations *list)
{
	const char *out = "";
	char time[CIVIL_TEXT];

	for (size_t i = 0; i < list->n; i++) {
		const struct activation *one = &list->one[i];
		size_t n;

		civil_rfc3339(one->start, time);
		n = strlen(time);
		time[n - 1] = '\0';
		out = arena_fmt(a, "%s%s%s+%s%s%s%s", out, i ? " " : "", time + 11,
		    one->end == NO_TIME ? "-" : arena_fmt(a, "%d", (int)(one->end - one->start)),
		    one->alarm ? "a" : "", one->loose ? "l" : "", one->loose_end ? "e" : "");
		if (one->reports != 1)
			out = arena_fmt(a, "%sr%u", out, one->reports);
		if (one->input)
			out = arena_fmt(a, "%si%u", out, one->input);
	}
	return out;
}

static void
test_folding(void **state)
{
	/* Each row is "TIME WORD and more" of zone 5. */
	static const struct {
		const char *what, *row[8], *want;
	} cases[] = {
		{ "open and close", { "08:00:00 zone-open", "08:00:05 zone-close" }, "08:00:00+5000" },
		{ "open, close, open within one second are two",
		  { "08:00:00 zone-open", "08:00:00.400 zone-close", "08:00:00.900 zone-open" },
		  "08:00:00+400 08:00:00.900+-" },
		{ "all in the same instant: the order of rows decides",
		  { "08:00:00 zone-open", "08:00:00 zone-close", "08:00:00 zone-open" },
		  "08:00:00+0 08:00:00+-" },
		{ "while active, all reports are one, whatever the time",
		  { "08:00:00 zone-open", "08:00:30 zone-open", "20:00:00 burglary-alarm",
		    "21:00:00 zone-close", "22:00:00 zone-open" },
		  "08:00:00+46800000ar3 22:00:00+-" },
		{ "no return: reports within 2 s are one",
		  { "08:00:00 trip", "08:00:01.999 trip", "08:00:03.999 trip" }, "08:00:00+-r3" },
		{ "exactly 2 s still is", { "08:00:00 trip", "08:00:02 trip" }, "08:00:00+-r2" },
		{ "2.001 s is not", { "08:00:00 trip", "08:00:02.001 trip" },
		  "08:00:00+- 08:00:02.001+-" },
		{ "an input that returns once, returns: no folding by time",
		  { "07:00:00 clear", "08:00:00 trip", "09:00:00 trip" }, "08:00:00+-r2" },
		{ "a status report begins nothing",
		  { "08:00:00 trip marks=still", "08:00:10 trip", "08:00:20 trip marks=still" },
		  "08:00:10+-" },
		{ "restore ends it", { "08:00:00 alarm", "08:00:09 restore" }, "08:00:00+9000a" },
		{ "a return with nothing open is nothing",
		  { "08:00:00 zone-close", "08:00:01 alarm-restore" }, "" },
		{ "not every word is an activation",
		  { "08:00:00 tamper", "08:00:01 low-battery", "08:00:02 bypass", "08:00:03 check-in",
		    "08:00:04 near-alarm", "08:00:05 exit-error" }, "" },
		{ "every alarm word is",
		  { "08:00:00 co-alarm", "08:00:10 water-alarm", "08:00:20 duress-alarm" },
		  "08:00:00+-a 08:00:10+-a 08:00:20+-a" },
		{ "coarse, buffered and reset stamps are loose",
		  { "08:00:00 trip marks=coarse", "08:01:00 trip marks=buffered",
		    "08:02:00 trip marks=reset", "08:03:00 trip" },
		  "08:00:00+-l 08:01:00+-l 08:02:00+-l 08:03:00+-" },
		{ "so are such ends",
		  { "08:00:00 trip", "08:00:03 clear marks=coarse" }, "08:00:00+3000e" },
	};

	(void)state;
	for (size_t i = 0; i < LEN(cases); i++) {
		struct arena a = { 0 };
		struct activations list = { 0 };
		const char *text = "", *got;
		struct view v;

		for (size_t k = 0; k < LEN(cases[i].row) && cases[i].row[k]; k++)
			text = arena_fmt(&a, "%s2026-10-01T%s zone=5\n", text, cases[i].row[k]);
		help_view(&v, text);
		activations_of(&v, 0, NO_TIME, &list);
		got = text_of(&a, &list);
		if (strcmp(got, cases[i].want) != 0)
			fail_msg("%s: %s", cases[i].what, got);
		activations_release(&list);
		view_release(&v);
		arena_release(&a);
	}
}

static void
test_from(void **state)
{
	struct activations list = { 0 };
	struct arena a = { 0 };
	struct view v;

	(void)state;
	help_view(&v, "2026-10-01T08:00:00Z zone-open zone=5\n"
	    "2026-10-01T09:00:00Z zone-open zone=5\n"
	    "2026-10-01T10:00:00Z zone-close zone=5\n"
	    "2026-10-01T11:00:00Z zone-open zone=5\n");
	/* What began before still decides: the report at nine is none of its own. */
	activations_of(&v, 0, help_time("2026-10-01T08:00:00.001Z"), &list);
	assert_string_equal(text_of(&a, &list), "11:00:00+-");
	activations_of(&v, 0, help_time("2026-10-01T08:00:00Z"), &list);
	assert_string_equal(text_of(&a, &list), "08:00:00+7200000r2 11:00:00+-");
	assert_int_equal(list.one[1].event, 3);
	activations_of(&v, 0, help_time("2026-10-01T11:00:00.001Z"), &list);
	assert_int_equal(list.n, 0);
	activations_release(&list);
	arena_release(&a);
	view_release(&v);
}

static void
test_inputs(void **state)
{
	struct activations list = { 0 };
	struct arena a = { 0 };
	struct view v;
	const char *text = "";

	(void)state;
	help_view(&v, "2026-10-01T08:00:00Z zone-open  zone=5 serial=AA\n"
	    "2026-10-01T08:00:01Z zone-open  zone=6 serial=AA\n"
	    "2026-10-01T08:00:02Z zone-close zone=5 serial=AA\n"
	    "2026-10-01T08:00:03Z zone-open  zone=5\n"
	    "2026-10-01T08:00:04Z zone-close zone=6\n");
	activations_of(&v, 0, NO_TIME, &list);
	assert_string_equal(text_of(&a, &list), "08:00:00+2000 08:00:01+3000i1 08:00:03+-");
	view_release(&v);

	/* More zones on one serial than any transmitter has. */
	for (int i = 1; i <= 40; i++)
		text = arena_fmt(&a, "%s2026-10-01T08:00:%02dZ trip zone=%d serial=AA\n", text, i, i);
	help_view(&v, text);
	activations_of(&v, 0, NO_TIME, &list);
	assert_true(list.n >= ACTIVATION_INPUTS);
	for (size_t i = 0; i < list.n; i++)
		assert_in_range(list.one[i].input, 0, ACTIVATION_INPUTS - 1);
	activations_release(&list);
	view_release(&v);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_folding),
		cmocka_unit_test(test_from),
		cmocka_unit_test(test_inputs),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
