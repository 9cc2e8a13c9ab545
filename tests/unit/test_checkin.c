/* How often devices report: learned from gaps, or stated. Limits are common practice, no
 * source. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "rules/checkin.h"
#include "tests/unit/help_view.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
learns(void **state)
{
	static const struct {
		const char *what, *log;
		enum checkin_source source;
		int64_t interval;
		size_t  gaps;
	} cases[] = {
		{ "eight gaps are enough",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n",
		  CHECKIN_LEARNED, HOUR, 8 },
		{ "seven are too few",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=8\n",
		  CHECKIN_NONE, 0, 0 },
		{ "the roster wins, and the learned gaps are still told",
		  "roster zone=1 checkin=90m\n"
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n",
		  CHECKIN_STATED, 90 * MINUTE, 8 },
		{ "stated and never heard",
		  "roster zone=1 checkin=200s\n",
		  CHECKIN_STATED, 200 * SECOND, 0 },
		{ "missed ones in between do not spoil it",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n"
		  "2026-10-01T12:00:00 check-in zone=1 every=4h times=4\n",
		  CHECKIN_LEARNED, HOUR, 12 },
		{ "three radio repeats of each are one",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n"
		  "2026-10-01T00:00:01 check-in zone=1 every=1h times=9\n"
		  "2026-10-01T00:00:02 check-in zone=1 every=1h times=9\n",
		  CHECKIN_LEARNED, HOUR - 2 * SECOND, 8 },
		{ "a gap between two exports is none",
		  "cover 2026-10-01 2026-10-01T04:00\ncover 2026-10-01T04:30 2026-10-02\n"
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n",
		  CHECKIN_NONE, 0, 0 },
		{ "a reset clock in between makes none",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n"
		  "2026-10-01T03:30:00 arm marks=reset\n",
		  CHECKIN_NONE, 0, 0 },
		{ "random gaps are no interval",
		  "2026-10-01T00:00:00 check-in zone=1\n2026-10-01T00:30:00 check-in zone=1\n"
		  "2026-10-01T02:00:00 check-in zone=1\n2026-10-01T02:20:00 check-in zone=1\n"
		  "2026-10-01T05:00:00 check-in zone=1\n2026-10-01T05:10:00 check-in zone=1\n"
		  "2026-10-01T09:00:00 check-in zone=1\n2026-10-01T10:00:00 check-in zone=1\n"
		  "2026-10-01T13:30:00 check-in zone=1\n",
		  CHECKIN_NONE, 0, 0 },
		{ "a daily self-test is as regular as a clock",
		  "2026-10-01T03:00:00 test zone=1 every=1d times=9\n",
		  CHECKIN_REGULAR, DAY, 8 },
		{ "a door twice a day is not, although half its gaps are alike",
		  "2026-10-01T08:00:00 zone-open zone=1 every=1d times=9\n"
		  "2026-10-01T17:00:00 zone-close zone=1 every=1d times=9\n",
		  CHECKIN_NONE, 0, 0 },
		{ "a motion detector that trips every 5 min is below the floor",
		  "2026-10-01T03:00:00 trip zone=1 every=5m times=20\n",
		  CHECKIN_NONE, 0, 0 },
		{ "just at the floor",
		  "2026-10-01T03:00:00 trip zone=1 every=10m times=20\n",
		  CHECKIN_REGULAR, 10 * MINUTE, 19 },
		{ "activity in between starts the interval anew: undisturbed gaps are used",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n"
		  "2026-10-01T08:30:00 trip zone=1\n2026-10-01T09:30:00 check-in zone=1\n"
		  "2026-10-01T10:10:00 trip zone=1\n2026-10-01T11:10:00 check-in zone=1\n",
		  CHECKIN_LEARNED, HOUR, 8 },
		{ "rows marked still are not heard",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=20 marks=still\n",
		  CHECKIN_NONE, 0, 0 },
		{ "of a buffer being emptied, gaps under 10 min are none",
		  "2026-10-01T00:00:00 check-in zone=1 every=3m times=20 marks=buffered\n",
		  CHECKIN_NONE, 0, 0 },
		{ "nor below 10 min where no stamp is finer than a minute",
		  "2026-10-01T00:00 check-in zone=1 every=3m times=20\n",
		  CHECKIN_NONE, 0, 0 },
		{ "every 10 min is fine with minutes",
		  "2026-10-01T00:00 check-in zone=1 every=10m times=20\n",
		  CHECKIN_LEARNED, 10 * MINUTE, 19 },
		{ "with seconds, 200 s are (NFPA 72, 23.16, second hand)",
		  "2026-10-01T00:00:00 check-in zone=1 every=200s times=20\n",
		  CHECKIN_LEARNED, 200 * SECOND, 19 },
		{ "a setting can ask for more gaps",
		  "setting supervision-loss.learn_gaps=9\nroster zone=1 kind=contact\n"
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n",
		  CHECKIN_NONE, 0, 0 },
		{ "pairs 3 s apart are no interval of 3 s",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=12\n"
		  "2026-10-01T00:00:03 check-in zone=1 every=1h times=12\n",
		  CHECKIN_NONE, 0, 0 },
		{ "a quarter of stray gaps",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=10\n"
		  "2026-10-01T14:00:01 check-in zone=1\n2026-10-01T19:00:00 check-in zone=1\n"
		  "2026-10-02T00:00:00 check-in zone=1\n",
		  CHECKIN_LEARNED, HOUR, 12 },
		{ "more than a quarter",
		  "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n"
		  "2026-10-01T13:00:00 check-in zone=1\n2026-10-01T18:00:00 check-in zone=1\n"
		  "2026-10-01T23:00:00 check-in zone=1\n",
		  CHECKIN_NONE, 0, 0 },
		{ "a spread of just 25 %",
		  "2026-10-01T00:00:00 check-in zone=1 every=45m times=5\n"
		  "2026-10-01T04:00:00 check-in zone=1\n"
		  "2026-10-01T05:15:00 check-in zone=1 every=75m times=4\n",
		  CHECKIN_LEARNED, HOUR, 9 },
		{ "a spread over 25 %",
		  "2026-10-01T00:00:00 check-in zone=1 every=44m times=5\n"
		  "2026-10-01T03:56:00 check-in zone=1\n"
		  "2026-10-01T05:12:00 check-in zone=1 every=76m times=4\n",
		  CHECKIN_NONE, 0, 0 },
		{ "nine of ten gaps regular",
		  "2026-10-01T03:00:00 test zone=1 every=1d times=10\n2026-10-10T20:00:00 test zone=1\n",
		  CHECKIN_REGULAR, DAY, 10 },
		{ "nine of eleven",
		  "2026-10-01T03:00:00 test zone=1 every=1d times=10\n2026-10-10T20:00:00 test zone=1\n"
		  "2026-10-11T10:00:00 test zone=1\n",
		  CHECKIN_NONE, 0, 0 },
		{ "10 min apart counts in a buffer, too",
		  "2026-10-01T00:00:00 check-in zone=1 every=10m times=20 marks=buffered\n",
		  CHECKIN_LEARNED, 10 * MINUTE, 19 },
		{ "only the newest gaps count",
		  "2026-09-01T00:00:00 check-in zone=1 every=1h times=200\n"
		  "2026-10-01T00:00:00 check-in zone=1 every=30m times=300\n",
		  CHECKIN_LEARNED, 30 * MINUTE, 256 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		char text[2048];
		struct checkin c;
		struct view v;

		snprintf(text, sizeof text, "account A1\n%s", cases[i].log);
		help_view(&v, text);
		assert_int_equal(v.n_device, 1);
		checkin_learn(&v, &c);
		if (c.source != cases[i].source || c.interval != cases[i].interval ||
		    c.gaps != cases[i].gaps)
			print_error("%s: source %d, interval %lld, gaps %zu\n", cases[i].what,
			    (int)c.source, (long long)c.interval, c.gaps);
		assert_int_equal(c.source, cases[i].source);
		assert_int_equal(c.interval, cases[i].interval);
		assert_int_equal(c.gaps, cases[i].gaps);
		view_release(&v);
	}
}

/* Median and spread against a plain sort, for every number of gaps around the limit. */
static void
median_of_any_number(void **state)
{
	uint64_t seed = 7;

	(void)state;
	for (int n = 8; n < 60; n++) {
		char text[8192];
		size_t len = (size_t)snprintf(text, sizeof text, "account A1\n");
		int64_t gap[64], at = help_time("2026-10-01"), middle;
		struct checkin c;
		struct view v;

		for (int i = 0; i <= n; i++) {
			char stamp[CIVIL_TEXT];

			len += (size_t)snprintf(text + len, sizeof text - len, "%s check-in zone=1\n",
			    civil_rfc3339(at, stamp));
			seed = seed * 6364136223846793005U + 1442695040888963407U;
			if (i < n)
				gap[i] = (3000 + (int64_t)(seed >> 33) % 1200) * SECOND;
			at += i < n ? gap[i] : 0;
		}
		help_view(&v, text);
		checkin_learn(&v, &c);
		for (int i = 1; i < n; i++)
			for (int k = i; k > 0 && gap[k - 1] > gap[k]; k--) {
				int64_t swap = gap[k];

				gap[k] = gap[k - 1];
				gap[k - 1] = swap;
			}
		middle = gap[(n - 1) / 2];
		assert_int_equal(c.interval, middle);
		assert_true(c.spread > 0 && c.spread <= 600 * SECOND);
		view_release(&v);
	}
}

static void
shows_check_ins(void **state)
{
	struct checkin learned = { .source = CHECKIN_LEARNED }, regular = { .source = CHECKIN_REGULAR };
	struct view v;

	(void)state;
	help_view(&v, "account A1\n"
	    "2026-10-01T00:00:00 check-in zone=1\n"
	    "2026-10-01T01:00:00 check-in zone=1 marks=still\n"
	    "2026-10-01T02:00:00 test zone=1\n"
	    "2026-10-01T03:00:00 bypass zone=1\n");
	assert_true(checkin_shown(&v, &v.event[0], &learned));
	assert_false(checkin_shown(&v, &v.event[1], &learned));
	assert_false(checkin_shown(&v, &v.event[2], &learned));
	assert_true(checkin_shown(&v, &v.event[2], &regular));
	assert_false(checkin_shown(&v, &v.event[3], &regular));
	view_release(&v);
}

/* How sure an interval is, and how it reads. */
static void
says_how_sure(void **state)
{
	static const struct { const char *log, *text; int64_t low, high; } cases[] = {
		{ "2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n", "60 min", HOUR, HOUR },
		{ "2026-10-01T00:00:00 check-in zone=1 every=43198s times=19\n", "12 h",
		  43198 * SECOND, 43198 * SECOND },
		{ "roster zone=1 checkin=90m\n2026-10-01T00:00:00 check-in zone=1 every=1h times=9\n",
		  "90 min", 90 * MINUTE, 90 * MINUTE },
		/* Gaps of 58, 58, 60, 61, 61, 62, 65, 66 min: eight give the whole range. */
		{ "2026-10-01T00:00:00 check-in zone=1\n2026-10-01T00:58:00 check-in zone=1\n"
		  "2026-10-01T02:04:00 check-in zone=1\n2026-10-01T03:05:00 check-in zone=1\n"
		  "2026-10-01T04:05:00 check-in zone=1\n2026-10-01T05:10:00 check-in zone=1\n"
		  "2026-10-01T06:08:00 check-in zone=1\n2026-10-01T07:09:00 check-in zone=1\n"
		  "2026-10-01T08:11:00 check-in zone=1\n", "about 61 min (58 to 66)", 58 * MINUTE,
		  66 * MINUTE },
		/* Of four gaps in ten two intervals long, each tells one. */
		{ "2026-10-01T00:00:00 check-in zone=1 every=1h times=7\n"
		  "2026-10-01T08:00:00 check-in zone=1 every=2h times=4\n", "60 min", HOUR, HOUR },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct arena a = { 0 };
		struct checkin c;
		struct view v;

		help_view(&v, arena_fmt(&a, "account A1\n%s", cases[i].log));
		checkin_learn(&v, &c);
		assert_true(c.low == c.interval && c.high == c.interval);
		checkin_range(&v, 0, &c);
		if (c.low != cases[i].low || c.high != cases[i].high ||
		    strcmp(checkin_text(&a, &c), cases[i].text) != 0)
			fail_msg("%s: %s, %lld to %lld", cases[i].text, checkin_text(&a, &c),
			    (long long)c.low, (long long)c.high);
		view_release(&v);
		arena_release(&a);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(learns),
		cmocka_unit_test(median_of_any_number),
		cmocka_unit_test(shows_check_ins),
		cmocka_unit_test(says_how_sure),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
