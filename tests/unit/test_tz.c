/* parsers/tz: against published instants, against the C library, against damage. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>
#include <cmocka.h>

#include "daemon/base/civil.h"
#include "parsers/tz.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static int64_t
wall_of(int year, int month, int day, int hour, int minute)
{
	return civil_days(year, month, day) * 86400 + hour * 3600 + minute * 60;
}

static const struct tz *
find(struct tz_set *set, const char *name)
{
	struct err e = { 0 };
	const struct tz *z = tz_find(set, span_of(name), &e);

	if (!z)
		print_error("%s: %s\n", name, e.text);
	assert_non_null(z);
	return z;
}

static void
local_times(void **state)
{
	static const struct {
		const char *zone;
		int year, month, day, hour, minute;
		enum tz_fit fit;
		int64_t first, second;
	} cases[] = {
		/* PEP 495, "2014-11-02 01:30" in New York; the first by arithmetic */
		{ "America/New_York", 2014, 11, 2, 1, 30, TZ_TWICE, 1414906200, 1414909800 },
		/* by arithmetic from here on, each checked with a second implementation */
		{ "America/New_York", 2024, 11, 3, 1, 30, TZ_TWICE, 1730611800, 1730615400 },
		{ "America/New_York", 2024, 11, 3, 1, 0, TZ_TWICE, 1730610000, 1730613600 },
		{ "America/New_York", 2024, 11, 3, 0, 59, TZ_ONCE, 1730609940, 1730609940 },
		{ "America/New_York", 2024, 11, 3, 2, 0, TZ_ONCE, 1730617200, 1730617200 },
		/* PEP 495: moved on by the gap, 02:30 is 03:30 EDT; second is 01:30 EST */
		{ "America/New_York", 2024, 3, 10, 2, 30, TZ_NEVER, 1710055800, 1710052200 },
		{ "America/New_York", 2024, 3, 10, 1, 59, TZ_ONCE, 1710053940, 1710053940 },
		{ "America/New_York", 2024, 3, 10, 2, 0, TZ_NEVER, 1710054000, 1710050400 },
		{ "America/New_York", 2024, 3, 10, 3, 0, TZ_ONCE, 1710054000, 1710054000 },
		{ "Europe/London", 2024, 10, 27, 1, 30, TZ_TWICE, 1729989000, 1729992600 },
		{ "Europe/London", 2024, 3, 31, 1, 30, TZ_NEVER, 1711848600, 1711845000 },
		{ "Europe/Vienna", 2026, 10, 25, 2, 30, TZ_TWICE, 1792888200, 1792891800 },
		{ "Europe/Vienna", 2026, 7, 1, 12, 0, TZ_ONCE, 1782900000, 1782900000 },
		/* southern summer, half an hour of it, and a zone off by 45 minutes */
		{ "Australia/Sydney", 2026, 4, 5, 2, 30, TZ_TWICE, 1775316600, 1775320200 },
		{ "Australia/Sydney", 2026, 10, 4, 2, 30, TZ_NEVER, 1791045000, 1791041400 },
		{ "Australia/Lord_Howe", 2026, 4, 5, 1, 45, TZ_TWICE, 1775313900, 1775315700 },
		{ "Australia/Lord_Howe", 2026, 10, 4, 2, 15, TZ_NEVER, 1791042300, 1791040500 },
		{ "Asia/Kathmandu", 2026, 1, 1, 0, 0, TZ_ONCE, 1767204900, 1767204900 },
		/* a day that never was: 2011-12-30 in Samoa */
		{ "Pacific/Apia", 2011, 12, 30, 12, 0, TZ_NEVER, 1325282400, 1325196000 },
		/* far behind the last instant of any file: by the footer's rule */
		{ "America/New_York", 2400, 7, 1, 12, 0, TZ_ONCE,
		  INT64_C(13585248000), INT64_C(13585248000) },
		{ "America/New_York", 9999, 1, 1, 12, 0, TZ_ONCE,
		  INT64_C(253370826000), INT64_C(253370826000) },
		{ "Australia/Sydney", 2500, 1, 1, 0, 0, TZ_ONCE,
		  INT64_C(16725186000), INT64_C(16725186000) },
		/* before standard time: local mean time, -4:56:02 */
		{ "America/New_York", 1850, 1, 1, 0, 0, TZ_ONCE, INT64_C(-3786807838), INT64_C(-3786807838) },
		{ "UTC", 2026, 1, 1, 0, 0, TZ_ONCE, 1767225600, 1767225600 },
	};
	struct tz_set *set = tz_set_open();

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		int64_t wall = wall_of(cases[i].year, cases[i].month, cases[i].day, cases[i].hour,
		    cases[i].minute);
		int32_t first = 0, second = 0;
		enum tz_fit fit = tz_local(find(set, cases[i].zone), wall, &first, &second);

		if (fit != cases[i].fit || wall - first != cases[i].first)
			print_error("case %zu, %s\n", i, cases[i].zone);
		assert_int_equal(fit, cases[i].fit);
		assert_int_equal(wall - first, cases[i].first);
		assert_int_equal(wall - second, cases[i].second);
	}
	tz_set_close(set);
}

/* Offsets of the C library at many instants, and there and back again. */
static void
as_the_c_library(void **state)
{
	static const char *const zones[] = {
		"America/New_York", "Europe/London", "Europe/Vienna", "Australia/Sydney",
		"Australia/Lord_Howe", "America/Santiago", "Africa/Casablanca", "Asia/Kolkata",
		"Pacific/Apia", "Pacific/Chatham", "America/St_Johns", "Asia/Tehran",
		"Europe/Dublin", "Antarctica/Troll", "Asia/Gaza", "America/Nuuk", "UTC",
		"Etc/GMT+12", "EST5EDT",
	};
	struct tz_set *set = tz_set_open();

	(void)state;
	for (size_t i = 0; i < COUNT(zones); i++) {
		const struct tz *z = find(set, zones[i]);
		uint64_t seed = 88172645463325252u;

		assert_int_equal(setenv("TZ", zones[i], 1), 0);
		tzset();
		for (int k = 0; k < 6000; k++) {
			struct tm tm;
			int32_t offset, first, second;
			enum tz_fit fit;
			time_t t;

			seed ^= seed << 13;
			seed ^= seed >> 7;
			seed ^= seed << 17;
			/* 1900 to 2150, and the hours around 2000 to 2040 tightly */
			t = k % 2 ? (time_t)(seed % 7889238000u) - 2208988800 :
			    (time_t)(seed % 1262304000u) + 946684800;
			assert_non_null(localtime_r(&t, &tm));
			offset = tz_offset(z, t);
			if (offset != tm.tm_gmtoff)
				print_error("%s at %lld\n", zones[i], (long long)t);
			assert_int_equal(offset, tm.tm_gmtoff);
			fit = tz_local(z, t + offset, &first, &second);
			assert_true(fit == TZ_ONCE ? first == offset && second == offset :
			    fit == TZ_TWICE && first != second &&
			    (first == offset || second == offset));
		}
	}
	assert_int_equal(unsetenv("TZ"), 0);
	tz_set_close(set);
}

/* Every minute around each change of a year agrees with a search by tz_offset(). */
static void
around_changes(void **state)
{
	static const char *const zones[] = { "Europe/Vienna", "Australia/Lord_Howe",
		"America/St_Johns" };
	struct tz_set *set = tz_set_open();

	(void)state;
	for (size_t i = 0; i < COUNT(zones); i++) {
		const struct tz *z = find(set, zones[i]);
		int64_t from = wall_of(2026, 1, 1, 0, 0);

		for (int64_t t = from; t < from + 366 * 86400; t += 900) {
			if (tz_offset(z, t) == tz_offset(z, t + 900))
				continue;
			for (int64_t w = t - 90000; w < t + 90000; w += 60) {
				int32_t a = tz_offset(z, t), b = tz_offset(z, t + 900);
				int32_t first, second;
				bool fits_a = tz_offset(z, w - a) == a;
				bool fits_b = tz_offset(z, w - b) == b;
				enum tz_fit fit = tz_local(z, w, &first, &second);

				assert_int_equal(fit, fits_a && fits_b ? TZ_TWICE :
				    fits_a || fits_b ? TZ_ONCE : TZ_NEVER);
				assert_int_equal(first, fits_a || !fits_b ? a : b);
			}
		}
	}
	tz_set_close(set);
}

static void
names(void **state)
{
	static const struct { const char *name, *says; } wrong[] = {
		{ "Europe/Viena", "no time zone \"Europe/Viena\"; nearest: Europe/Vienna" },
		{ "europe/vienna", "nearest: Europe/Vienna" },
		{ "Vienna", "nearest: Europe/Vienna" },
		{ "Amercia/New_York", "nearest: America/New_York" },
		{ "", "no time zone \"\"" },
		{ "/etc/passwd", "no time zone" },
		{ "../../etc/passwd", "no time zone" },
		{ "Europe/../Europe/Vienna", "no time zone" },
		{ "Europe//Vienna", "no time zone" },
		{ "Europe/Vienna/", "no time zone" },
		{ "Europe", "no time zone" },
		{ "zone.tab", "no time zone" },
		{ "tzdata", "no time zone" },
		{ "right/UTC", "no time zone" },
		{ "Europe/Vienna;rm", "no time zone" },
	};
	char long_name[400];
	struct tz_set *set = tz_set_open();
	struct err e;

	(void)state;
	for (size_t i = 0; i < COUNT(wrong); i++) {
		e.text[0] = '\0';
		assert_null(tz_find(set, span_of(wrong[i].name), &e));
		assert_int_equal(e.code, ERR_DATA);
		if (!strstr(e.text, wrong[i].says))
			print_error("%s\n", e.text);
		assert_non_null(strstr(e.text, wrong[i].says));
	}
	for (size_t n = 63; n <= sizeof long_name - 1; n = n < 66 ? n + 1 : n + 100) {
		memset(long_name, 'A', n);
		assert_null(tz_find(set, (struct span){ long_name, n }, &e));
	}
	assert_ptr_equal(find(set, "Europe/Vienna"), find(set, " Europe/Vienna "));
	assert_string_equal(tz_name(find(set, "Europe/Vienna")), "Europe/Vienna");
	tz_set_close(set);
	tz_set_close(NULL);
}

static void
machine(void **state)
{
	struct tz_set *set;
	const struct tz *z;
	int32_t a, b;

	(void)state;
	setenv("TZ", ":Asia/Tokyo", 1);
	set = tz_set_open();
	assert_string_equal(tz_name(tz_machine(set)), "Asia/Tokyo");
	assert_string_equal(tz_shown(tz_machine(set)), "Asia/Tokyo");
	setenv("TZ", ":Etc/UTC", 1);
	assert_string_equal(tz_name(tz_machine(set)), "Etc/UTC");
	assert_string_equal(tz_shown(tz_machine(set)), "UTC");
	setenv("TZ", "", 1);
	assert_string_equal(tz_name(tz_machine(set)), "UTC");
	setenv("TZ", "not a zone", 1);
	assert_non_null(tz_machine(set));
	unsetenv("TZ");
	assert_non_null(tz_machine(set));

	/* A POSIX rule; RFC 9636 section 3.3.1 shows forms like these. */
	setenv("TZ", "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1", 1);
	z = tz_machine(set);
	assert_int_equal(tz_offset(z, wall_of(2026, 1, 1, 0, 0)), -3 * 3600);
	assert_int_equal(tz_offset(z, wall_of(2026, 7, 1, 0, 0)), -2 * 3600);
	/* two hours before midnight of the last Sunday in March, 2026-03-28 22:00 local */
	assert_int_equal(tz_offset(z, wall_of(2026, 3, 29, 1, 0) - 1), -3 * 3600);
	assert_int_equal(tz_offset(z, wall_of(2026, 3, 29, 1, 0)), -2 * 3600);
	setenv("TZ", "XXX3EDT4,0/0,J365/23", 1);	/* summer time all year */
	z = tz_machine(set);
	for (int day = 1; day < 30; day++) {
		assert_int_equal(tz_offset(z, wall_of(2026, 1, day, 0, 0)), -4 * 3600);
		assert_int_equal(tz_offset(z, wall_of(2027, 12, day + 2, 23, 0)), -4 * 3600);
		assert_int_equal(tz_local(z, wall_of(2027, 1, 1, 0, day), &a, &b), TZ_ONCE);
	}
	setenv("TZ", "IST-1GMT0,M10.5.0,M3.5.0/1", 1);	/* winter time that is less */
	z = tz_machine(set);
	assert_int_equal(tz_offset(z, wall_of(2026, 1, 1, 0, 0)), 0);
	assert_int_equal(tz_offset(z, wall_of(2026, 7, 1, 0, 0)), 3600);
	setenv("TZ", "AAA0BBB,J60/0,J61/0", 1);		/* 1 March, leap year or not */
	z = tz_machine(set);
	assert_int_equal(tz_offset(z, wall_of(2024, 2, 29, 12, 0)), 0);
	assert_int_equal(tz_offset(z, wall_of(2024, 3, 1, 12, 0)), 3600);
	assert_int_equal(tz_offset(z, wall_of(2025, 3, 1, 12, 0)), 3600);
	assert_int_equal(tz_offset(z, wall_of(2025, 3, 2, 12, 0)), 0);
	setenv("TZ", "AAA0BBB,59/0,60/0", 1);		/* day 60 from zero: 29 February counts */
	z = tz_machine(set);
	assert_int_equal(tz_offset(z, wall_of(2024, 2, 29, 12, 0)), 3600);
	assert_int_equal(tz_offset(z, wall_of(2025, 3, 1, 12, 0)), 3600);
	unsetenv("TZ");
	tz_set_close(set);
}

/* A database without any zone has UTC all the same. */
static void
no_database(void **state)
{
	struct tz_set *set;
	struct err e;

	(void)state;
	setenv("TZDIR", "/nonexistent", 1);
	set = tz_set_open();
	assert_int_equal(tz_offset(find(set, "UTC"), 0), 0);
	assert_null(tz_find(set, SPAN("Europe/Vienna"), &e));
	assert_non_null(tz_machine(set));
	tz_set_close(set);
	unsetenv("TZDIR");
}

static void
put(const char *path, const unsigned char *p, size_t n)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);

	assert_true(fd >= 0);
	assert_int_equal(write(fd, p, n), n);
	close(fd);
}

/* Every truncation and every byte turned over: refused or read, never worse. */
static void
damage(void **state)
{
	char dir[] = "/tmp/tz-test-XXXXXX", path[64];
	static unsigned char good[8192], bad[8192];
	struct tz_set *set;
	struct err e;
	int fd = open("/usr/share/zoneinfo/Europe/Vienna", O_RDONLY);
	ssize_t n;
	size_t read_ok = 0;

	(void)state;
	if (fd < 0)
		skip();
	n = read(fd, good, sizeof good);
	close(fd);
	assert_true(n > 100 && n < (ssize_t)sizeof good);
	assert_non_null(mkdtemp(dir));
	snprintf(path, sizeof path, "%s/Z", dir);
	setenv("TZDIR", dir, 1);
	for (ssize_t i = 0; i <= n; i++) {
		for (int how = 0; how < 3; how++) {
			size_t len = (size_t)n;
			const struct tz *z;
			int32_t a, b;

			memcpy(bad, good, (size_t)n);
			if (how == 0)
				len = (size_t)i;
			else if (i < n)
				bad[i] ^= how == 1 ? 0xff : 0x01;
			put(path, bad, len);
			set = tz_set_open();
			z = tz_find(set, SPAN("Z"), &e);
			if (z) {
				read_ok++;
				tz_local(z, 1790842530, &a, &b);
				tz_local(z, INT64_C(253402300799), &a, &b);
				tz_local(z, INT64_C(-62167219200), &a, &b);
				tz_offset(z, 0);
			}
			if (how == 0)
				assert_int_equal(z != NULL, len == (size_t)n);
			tz_set_close(set);
		}
	}
	assert_true(read_ok > 3);
	unlink(path);
	rmdir(dir);
	unsetenv("TZDIR");
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(local_times),
		cmocka_unit_test(as_the_c_library),
		cmocka_unit_test(around_changes),
		cmocka_unit_test(names),
		cmocka_unit_test(machine),
		cmocka_unit_test(no_database),
		cmocka_unit_test(damage),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
