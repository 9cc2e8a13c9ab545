/* parsers/stamp: what is a time, what is none, and why. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/civil.h"
#include "parsers/stamp.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))
#define LOCAL OFFSET_LOCAL

static void
same_stamp(const struct stamp *a, const struct stamp *b, const char *text)
{
	if (a->wall != b->wall || a->ms != b->ms || a->offset != b->offset ||
	    a->precision != b->precision || a->leap != b->leap)
		print_error("\"%s\"\n", text);
	assert_int_equal(a->wall, b->wall);
	assert_int_equal(a->ms, b->ms);
	assert_int_equal(a->offset, b->offset);
	assert_int_equal(a->precision, b->precision);
	assert_int_equal(a->leap, b->leap);
}

static void
read_forms(void **state)
{
	static const struct { const char *text; int64_t utc; int ms, offset, precision; bool leap; }
	cases[] = {
		/* RFC 3339 section 5.8; values by arithmetic */
		{ "1985-04-12T23:20:50.52Z", 482196050, 520, 0, PREC_MS, false },
		{ "1996-12-19T16:39:57-08:00", 851042397, 0, -480, PREC_SECOND, false },
		{ "1996-12-20T00:39:57Z", 851042397, 0, 0, PREC_SECOND, false },
		{ "1990-12-31T23:59:60Z", 662687999, 0, 0, PREC_SECOND, true },
		{ "1990-12-31T15:59:60-08:00", 662687999, 0, -480, PREC_SECOND, true },
		{ "1937-01-01T12:00:27.87+00:20", -1041337173, 870, 20, PREC_MS, false },
		/* by arithmetic, checked with date -u -d TEXT +%s */
		{ "1970-01-01 00:00:00", 0, 0, LOCAL, PREC_SECOND, false },
		{ "1969-12-31 23:59:59", -1, 0, LOCAL, PREC_SECOND, false },
		{ "2000-02-29 12:00:00", 951825600, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 08:15:30", 1790842530, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01T08:15:30", 1790842530, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01t08:15:30z", 1790842530, 0, 0, PREC_SECOND, false },
		{ "2026-10-01 08:15", 1790842500, 0, LOCAL, PREC_MINUTE, false },
		{ "2026-10-01T08:15Z", 1790842500, 0, 0, PREC_MINUTE, false },
		{ "2026-10-01 08:15+02:00", 1790835300, 0, 120, PREC_MINUTE, false },
		{ "2026-10-01 08:15:30.2", 1790842530, 200, LOCAL, PREC_MS, false },
		{ "2026-10-01 08:15:30.25", 1790842530, 250, LOCAL, PREC_MS, false },
		{ "2026-10-01 08:15:30.009", 1790842530, 9, LOCAL, PREC_MS, false },
		{ "2026-10-01 08:15:30.0009999999999999", 1790842530, 0, LOCAL, PREC_MS, false },
		{ "2026-10-01 08:15:30.999999", 1790842530, 999, LOCAL, PREC_MS, false },
		{ "2026-10-01 08:15:30,125", 1790842530, 125, LOCAL, PREC_MS, false },
		{ "2026-10-01T08:15:30-00:00", 1790842530, 0, 0, PREC_SECOND, false },
		{ "2026-10-01T08:15:30+23:59", 1790756190, 0, 1439, PREC_SECOND, false },
		{ "2026-10-01T08:15:30-23:59", 1790928870, 0, -1439, PREC_SECOND, false },
		{ "2026-10-01 24:00:00", 1790899200, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 24:00", 1790899200, 0, LOCAL, PREC_MINUTE, false },
		{ "2026-12-31 24:00:00.000", 1798761600, 0, LOCAL, PREC_MS, false },
		{ "2016-12-31 23:59:60", 1483228799, 0, LOCAL, PREC_SECOND, true },
		{ "2017-01-01 05:29:60", 1483248599, 0, LOCAL, PREC_SECOND, true },
		{ "2017-01-01T05:29:60+05:30", 1483228799, 0, 330, PREC_SECOND, true },
		{ "  2026-10-01 08:15:30\t", 1790842530, 0, LOCAL, PREC_SECOND, false },
		{ "0000-01-01 00:00:00", INT64_C(-62167219200), 0, LOCAL, PREC_SECOND, false },
		{ "9999-12-31 23:59:59", INT64_C(253402300799), 0, LOCAL, PREC_SECOND, false },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		int offset = cases[i].offset == LOCAL ? 0 : cases[i].offset;
		struct stamp want = {
			.wall = cases[i].utc + offset * 60, .ms = (int16_t)cases[i].ms,
			.offset = (int16_t)cases[i].offset,
			.precision = (uint8_t)cases[i].precision, .leap = cases[i].leap,
		};
		struct stamp got = { 0 }, dated = { 0 }, again = { 0 };
		struct stamp_memo memo = { 0 };
		struct span s = span_of(cases[i].text);
		const char *why = stamp_parse(s, &got);

		if (why)
			print_error("\"%s\": %s\n", cases[i].text, why);
		assert_null(why);
		same_stamp(&got, &want, cases[i].text);
		assert_null(stamp_parse_date(s, &dated));
		same_stamp(&dated, &want, cases[i].text);
		for (int k = 0; k < 3; k++) {
			assert_null(stamp_parse_memo(&memo, s, &again));
			same_stamp(&again, &want, cases[i].text);
		}
	}
}

static void
refused(void **state)
{
	static const char no_date[] = "no such date", no_clock[] = "no such time of day";
	static const char no_offset[] = "no such offset from UTC";
	static const char unreadable[] = "time not readable; write YYYY-MM-DD HH:MM:SS";
	static const char mixed[] =
	    "day and month cannot be told apart; write YYYY-MM-DD HH:MM:SS";
	static const char only[] = "a date without a time of day";
	static const struct { const char *text, *why; } cases[] = {
		{ "", "no time" }, { "  ", "no time" },
		{ "2026-10-01", only },
		{ "2026-02-29 08:00:00", no_date }, { "2100-02-29 08:00:00", no_date },
		{ "2026-02-30 08:00:00", no_date }, { "2026-04-31 08:00:00", no_date },
		{ "2026-00-10 08:00:00", no_date }, { "2026-13-01 08:00:00", no_date },
		{ "2026-01-00 08:00:00", no_date }, { "0000-00-00 00:00:00", no_date },
		{ "2026-02-30", no_date },
		{ "2026-10-01 25:00:00", no_clock }, { "2026-10-01 08:60:00", no_clock },
		{ "2026-10-01 08:00:61", no_clock }, { "2026-10-01 24:00:01", no_clock },
		{ "2026-10-01 24:01", no_clock }, { "2026-10-01 24:00:00.001", no_clock },
		{ "2026-10-01 08:00:60", no_clock },		/* no leap second there */
		{ "2016-12-31T22:59:60Z", no_clock },
		{ "2016-12-31T23:59:60+01:00", no_clock },
		{ "2026-10-01 08:00:00+24:00", no_offset },
		{ "2026-10-01 08:00:00+02:60", no_offset },
		{ "2026-10-01 08:00:00+0200", unreadable },
		{ "2026-10-01 08:00:00+02", unreadable },
		{ "2026-10-01 08:00:00 +02:00", unreadable },
		{ "2026-10-01 08:00:00 Z", unreadable },
		{ "2026-10-01 08:00:00.", unreadable },
		{ "2026-10-01 08:00:00.Z", unreadable },
		{ "2026-10-01 08:00:", unreadable }, { "2026-10-01 08:00:0", unreadable },
		{ "2026-10-01 8:00:00", unreadable }, { "2026-10-01 08", unreadable },
		{ "2026-10-01  08:00:00", unreadable }, { "2026-10-01_08:00:00", unreadable },
		{ "2026-10-1 08:00:00", unreadable }, { "2026/10/01 08:00:00", unreadable },
		{ "26-10-01 08:00:00", mixed },
		{ "2026-10-01 08:00:00 PM", unreadable }, { "+2026-10-01 08:00", unreadable },
		{ "1790842530", unreadable }, { "yesterday", unreadable },
		{ "01/10/2026 08:00", mixed }, { "1.10.2026 08:00:00", mixed },
		{ "10-01-2026", mixed }, { "1/2/26", mixed }, { "1/2/", unreadable },
		{ "-026-10-01 08:00:00", unreadable }, { "2026-1a-01 08:00:00", unreadable },
		{ "2026-10-01 -8:00:00", unreadable }, { "2026-10-01 08:-1:00", unreadable },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const struct stamp before = { .wall = 42, .ms = 7, .offset = 3 };
		struct stamp got = before;
		struct stamp_memo memo = { 0 };
		const char *why = stamp_parse(span_of(cases[i].text), &got);

		if (!why || strcmp(why, cases[i].why) != 0)
			print_error("\"%s\"\n", cases[i].text);
		assert_non_null(why);
		assert_string_equal(why, cases[i].why);
		same_stamp(&got, &before, cases[i].text);
		/* with the memo filled, and with the very date in it */
		for (int k = 0; k < 2; k++) {
			why = stamp_parse_memo(&memo, span_of(cases[i].text), &got);
			assert_non_null(why);
			assert_string_equal(why, cases[i].why);
			same_stamp(&got, &before, cases[i].text);
			assert_null(stamp_parse_memo(&memo, SPAN("2026-10-01 00:00:00"),
			    &(struct stamp){ 0 }));
		}
	}
}

static void
dates(void **state)
{
	struct stamp st;

	(void)state;
	assert_null(stamp_parse_date(SPAN(" 2026-10-01 "), &st));
	assert_int_equal(st.wall, 1790812800);
	assert_int_equal(st.offset, OFFSET_LOCAL);
	assert_int_equal(st.precision, PREC_MINUTE);
	assert_string_equal(stamp_parse_date(SPAN("2026-02-29"), &st), "no such date");
	assert_non_null(stamp_parse_date(SPAN(""), &st));
	assert_non_null(stamp_parse_date(SPAN("2026-1-01"), &st));
	assert_non_null(stamp_parse_date(SPAN("01/10/2026"), &st));
}

/* Any day of eight hundred years reads back as itself, and the memo changes nothing. */
static void
every_day(void **state)
{
	struct stamp_memo memo = { 0 };
	char text[CIVIL_TEXT];

	(void)state;
	for (int64_t day = -146097; day < 146097; day += 13) {
		int64_t wall = day * 86400 + (day * 7919 % 86400 + 86400) % 86400;
		struct stamp a, b;

		civil_rfc3339(wall * 1000, text);
		assert_null(stamp_parse(span_of(text), &a));
		assert_int_equal(a.wall, wall);
		text[strlen(text) - 1] = '\0';		/* without Z: the fast way */
		assert_null(stamp_parse_memo(&memo, span_of(text), &b));
		assert_int_equal(b.wall, wall);
		assert_null(stamp_parse_memo(&memo, span_of(text), &b));
		assert_int_equal(b.wall, wall);
	}
}

/* A zeroed memo is no date: not even for bytes that equal it. */
static void
empty_memo(void **state)
{
	char bytes[19] = { 0 };
	struct stamp_memo memo = { 0 };
	struct stamp st;

	(void)state;
	memcpy(bytes + 10, " 08:00:00", 9);
	assert_non_null(stamp_parse_memo(&memo, (struct span){ bytes, 19 }, &st));
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(read_forms),
		cmocka_unit_test(refused),
		cmocka_unit_test(dates),
		cmocka_unit_test(every_day),
		cmocka_unit_test(empty_memo),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
