/* base/civil: calendar and instants, against known days and the C library. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <cmocka.h>

#include "daemon/base/civil.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
known_days(void **state)
{
	static const struct { int y, m, d; int64_t days; int weekday; } cases[] = {
		{ 1970, 1, 1, 0, 3 },			/* a Thursday */
		{ 1969, 12, 31, -1, 2 },
		{ 2000, 2, 29, 11016, 1 },		/* checked with date -u */
		{ 2000, 3, 1, 11017, 2 },
		{ 1900, 2, 28, -25509, 2 },
		{ 1900, 3, 1, -25508, 3 },		/* 1900 was no leap year */
		{ 2026, 10, 1, 20727, 3 },
		{ 1, 1, 1, -719162, 0 },		/* ISO 8601: a Monday */
		{ 0, 3, 1, -719468, 2 },
		{ 0, 1, 1, -719528, 5 },
		{ -1, 12, 31, -719529, 4 },
		{ 9999, 12, 31, 2932896, 4 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct civil c;

		assert_int_equal(civil_days(cases[i].y, cases[i].m, cases[i].d), cases[i].days);
		civil_from_ms(cases[i].days * DAY + 12 * HOUR, &c);
		assert_int_equal(c.year, cases[i].y);
		assert_int_equal(c.month, cases[i].m);
		assert_int_equal(c.day, cases[i].d);
		assert_int_equal(c.hour, 12);
		assert_int_equal(civil_weekday(cases[i].days * DAY), cases[i].weekday);
		assert_int_equal(civil_weekday(cases[i].days * DAY + DAY - 1), cases[i].weekday);
	}
}

static void
month_lengths(void **state)
{
	static const int lengths[] = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };

	(void)state;
	for (int m = 1; m <= 12; m++)
		assert_int_equal(civil_month_days(2026, m), lengths[m - 1]);
	assert_int_equal(civil_month_days(2024, 2), 29);
	assert_int_equal(civil_month_days(1900, 2), 28);
	assert_int_equal(civil_month_days(2000, 2), 29);
	assert_int_equal(civil_month_days(2100, 2), 28);
	assert_int_equal(civil_month_days(0, 2), 29);
}

/* Day by day over 400 years: each day one after the other, and gmtime_r() agrees. */
static void
as_the_c_library(void **state)
{
	int64_t days = civil_days(1800, 1, 1);

	(void)state;
	for (int y = 1800; y < 2200; y++) {
		for (int m = 1; m <= 12; m++) {
			for (int d = 1; d <= civil_month_days(y, m); d++, days++) {
				int64_t ms = days * DAY + (days % 86400) * SECOND % DAY + 250;
				struct civil c;
				time_t t;
				struct tm tm;

				assert_int_equal(civil_days(y, m, d), days);
				civil_from_ms(ms, &c);
				assert_int_equal(civil_to_ms(&c), ms);
				t = (time_t)((ms - 250) / 1000);
				assert_non_null(gmtime_r(&t, &tm));
				assert_int_equal(c.day, tm.tm_mday);
				assert_int_equal(c.month, tm.tm_mon + 1);
				assert_int_equal(c.year, tm.tm_year + 1900);
				assert_int_equal(c.second, tm.tm_sec);
				assert_int_equal(c.ms, 250);
				assert_int_equal(civil_weekday(ms), (tm.tm_wday + 6) % 7);
			}
		}
	}
}

static void
texts(void **state)
{
	static const struct { int64_t ms; const char *rfc3339, *text; } cases[] = {
		{ 0, "1970-01-01T00:00:00Z", "1970-01-01 00:00" },
		{ -1, "1969-12-31T23:59:59.999Z", "1969-12-31 23:59" },
		/* RFC 3339 section 5.8 */
		{ INT64_C(482196050520), "1985-04-12T23:20:50.520Z", "1985-04-12 23:20" },
		{ INT64_C(851042397000), "1996-12-20T00:39:57Z", "1996-12-20 00:39" },
		{ INT64_C(-1041337172130), "1937-01-01T11:40:27.870Z", "1937-01-01 11:40" },
		{ INT64_C(253402300799999), "9999-12-31T23:59:59.999Z", "9999-12-31 23:59" },
		{ NO_TIME, "", "" },
	};
	char out[CIVIL_TEXT];

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		assert_ptr_equal(civil_rfc3339(cases[i].ms, out), out);
		assert_string_equal(out, cases[i].rfc3339);
		assert_string_equal(civil_short(cases[i].ms, out), cases[i].text);
	}
	/* nothing that is not NO_TIME overruns the text */
	civil_rfc3339(INT64_MAX, out);
	assert_true(strlen(out) < CIVIL_TEXT);
	civil_rfc3339(INT64_MIN + 1, out);
	assert_true(strlen(out) < CIVIL_TEXT);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(known_days),
		cmocka_unit_test(month_lengths),
		cmocka_unit_test(as_the_c_library),
		cmocka_unit_test(texts),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
