/* parsers/stamp: what is a time, what is none, and why. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
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
		/* offsets of ISO 8601 without a colon or minutes, and behind a blank */
		{ "2026-10-01 08:15:30 +02:00", 1790835330, 0, 120, PREC_SECOND, false },
		{ "2026-10-01 08:15:30+0200", 1790835330, 0, 120, PREC_SECOND, false },
		{ "2026-10-01 08:15:30-0330", 1790855130, 0, -210, PREC_SECOND, false },
		{ "2026-10-01 08:15:30+02", 1790835330, 0, 120, PREC_SECOND, false },
		{ "2026-10-01 08:15:30 Z", 1790842530, 0, 0, PREC_SECOND, false },
		{ "2026-10-01 08:15:30 utc", 1790842530, 0, 0, PREC_SECOND, false },
		{ "2026-10-01 08:15:30UTC", 1790842530, 0, 0, PREC_SECOND, false },
		/* year first, written loosely */
		{ "2026/10/01 08:15:30", 1790842530, 0, LOCAL, PREC_SECOND, false },
		{ "2026.10.1, 8:15:30", 1790842530, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-1 8:15", 1790842500, 0, LOCAL, PREC_MINUTE, false },
		{ "2026-10-01   08:15:30", 1790842530, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01\xc2\xa0" "08:15:30\xe2\x80\xaf", 1790842530, 0, LOCAL, PREC_SECOND, false },
		/* twelve hours; 12 AM is midnight, 12 PM noon */
		{ "2026-10-01 12:00:00 AM", 1790812800, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 12:59:59 AM", 1790816399, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 1:00:00 AM", 1790816400, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 11:59:59 am", 1790855999, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 12:00:00 PM", 1790856000, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 12:59:59PM", 1790859599, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 01:00 p.m.", 1790859600, 0, LOCAL, PREC_MINUTE, false },
		{ "2026-10-01 11:59:59 P.M.", 1790899199, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 8:15:30\xe2\x80\xafPM", 1790885730, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 8:15:30\xc2\xa0pm", 1790885730, 0, LOCAL, PREC_SECOND, false },
		{ "2026-10-01 8:15:30\t\xe2\x80\x89 PM +02:00", 1790878530, 0, 120, PREC_SECOND, false },
		{ "2026-10-01T08:15:30.5PM-01:00", 1790889330, 500, -60, PREC_MS, false },
		{ "2016-12-31 11:59:60 PM", 1483228799, 0, LOCAL, PREC_SECOND, true },
		/* one day only, whichever stands first */
		{ "25.10.2026 08:15", 1792916100, 0, LOCAL, PREC_MINUTE, false },
		{ "10/25/2026 8:15:00 PM", 1792959300, 0, LOCAL, PREC_SECOND, false },
		{ "10-10-2026 00:00", 1791590400, 0, LOCAL, PREC_MINUTE, false },
		{ "29/2/2028 00:00:00", 1835395200, 0, LOCAL, PREC_SECOND, false },
		/* seconds and milliseconds since 1970, by size */
		{ "100000000", 100000000, 0, 0, PREC_SECOND, false },
		{ "999999999", 999999999, 0, 0, PREC_SECOND, false },
		{ "1790842530", 1790842530, 0, 0, PREC_SECOND, false },
		{ "9999999999", INT64_C(9999999999), 0, 0, PREC_SECOND, false },
		{ "1790842530.25", 1790842530, 250, 0, PREC_MS, false },
		{ "1790842530,2509", 1790842530, 250, 0, PREC_MS, false },
		{ "100000000000", 100000000, 0, 0, PREC_MS, false },
		{ "1790842530250", 1790842530, 250, 0, PREC_MS, false },
		{ "9999999999999", INT64_C(9999999999), 999, 0, PREC_MS, false },
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
	static const char zone[] = "the short name of a time zone means several zones; write an"
	    " offset such as +02:00";
	static const char epoch[] = "a number of neither seconds (9 or 10 digits) nor"
	    " milliseconds (12 or 13 digits) since 1970";
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
		{ "2026-10-01 08:00:00.", unreadable },
		{ "2026-10-01 08:00:00.Z", unreadable },
		{ "2026-10-01 08:00:", unreadable }, { "2026-10-01 08:00:0", unreadable },
		{ "2026-10-01 :00:00", unreadable }, { "2026-10-01 08", unreadable },
		{ "2026-10-01 008:00:00", unreadable }, { "2026-10-01_08:00:00", unreadable },
		{ "2026-10-01,08:00:00", unreadable }, { "2026-10-01T 08:00:00", unreadable },
		{ "2026-10-001 08:00:00", unreadable }, { "2026/10-01 08:00:00", unreadable },
		{ "2026-010-01 08:00:00", unreadable }, { "12026-10-01 08:00:00", unreadable },
		{ "2026-10-01\xe2\x80\x20" "08:00:00", unreadable },
		{ "26-10-01 08:00:00", mixed },
		{ "+2026-10-01 08:00", unreadable }, { "yesterday", unreadable },
		{ "2026-10-01 08:00:00+2", unreadable }, { "2026-10-01 08:00:00+020", unreadable },
		{ "2026-10-01 08:00:00+02-00", unreadable },
		{ "2026-10-01 08:00:00+02:000", unreadable }, { "2026-10-01 08:00:00++2", unreadable },
		{ "2026-10-01 08:00:00+2400", no_offset }, { "2026-10-01 08:00:00-24", no_offset },
		/* twelve hours: 1 to 12 */
		{ "2026-10-01 0:30 AM", no_clock }, { "2026-10-01 00:30 PM", no_clock },
		{ "2026-10-01 13:00 PM", no_clock }, { "2026-10-01 13:00 AM", no_clock },
		{ "2026-10-01 24:00 PM", no_clock }, { "2026-10-01 12:60 PM", no_clock },
		{ "2026-10-01 08:00 P", zone }, { "2026-10-01 08:00 PMT", zone },
		{ "2026-10-01 08:00 am PM", zone },
		/* zones by short name: CST alone is three of them */
		{ "2026-10-01 08:00:00 CET", zone }, { "2026-10-01 08:00:00EST", zone },
		{ "2026-10-01 08:00:00 GMT", zone }, { "2026-10-01 8:00 PM CST", zone },
		{ "2026-10-01 08:00:00 GMT+1", zone }, { "2026-10-01 08:00 Europe/Vienna", zone },
		{ "2026-10-01 08:00:00 CET(", unreadable },
		{ "2026-10-01 08:00:00 \xc3\xa9t\xc3\xa9", unreadable },
		/* numbers: 9 or 10 digits, 12 or 13 */
		{ "0", epoch }, { "99999999", epoch }, { "20261001", epoch },
		{ "10000000000", epoch }, { "99999999999", epoch },
		{ "10000000000000", epoch }, { "20261001081530", epoch },
		{ "1790842530000000000000000000000", epoch },
		{ "1790842530.", unreadable }, { "1790842530250.5", unreadable },
		{ "1790842530.5s", unreadable }, { "1790842530 5", unreadable },
		{ "99999999.5", epoch }, { "-1790842530", unreadable },
		/* no such day in either order */
		{ "13/25/2026 08:00", no_date }, { "31/04/2026 08:00", no_date },
		{ "29.02.2026 08:00", no_date }, { "0/10/2026 08:00", no_date },
		{ "10/0/2026 08:00", no_date }, { "32/10/26 08:00", no_date },
		{ "25.10.2026", only }, { "25/10/026 08:00", unreadable },
		{ "25/10/20266 08:00", unreadable }, { "025/10/2026 08:00", unreadable },
		{ "01/10/2026 08:00", mixed }, { "1.10.2026 08:00:00", mixed },
		{ "10-01-2026", mixed }, { "1/2/26", mixed }, { "1/2/", unreadable },
		/* two digits of year are read where the file has an order, not alone */
		{ "25/10/26 08:15", mixed }, { "10/10/26 08:15", mixed },
		{ "25/10/2026/ 08:15", unreadable }, { "25 10 2026 08:15", unreadable },
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
	assert_null(stamp_parse_date(SPAN("2026/1/10"), &st));
	assert_int_equal(st.wall, 1790812800 - 264 * 86400);
	assert_null(stamp_parse_date(SPAN("25.10.2026"), &st));
	assert_int_equal(st.wall, 1790812800 + 24 * 86400);
	assert_non_null(stamp_parse_date(SPAN("01/10/2026"), &st));
}

/* Which day a date is, in each order; NULL = the reason is that day and month stand
 * the other way round, "" = there is no such date. */
static void
orders(void **state)
{
	static const struct { const char *text, *day_first, *month_first; } cases[] = {
		{ "01/10/2026 08:15:00", "2026-10-01", "2026-01-10" },
		{ "1.10.2026 8:15", "2026-10-01", "2026-01-10" },
		{ "12-12-2026 8:15", "2026-12-12", "2026-12-12" },
		{ "12-1-2026 8:15", "2026-01-12", "2026-12-01" },
		{ "13-1-2026 8:15", "2026-01-13", NULL },
		{ "1-13-2026 8:15", NULL, "2026-01-13" },
		{ "25/10/26 08:15", "2026-10-25", NULL },
		{ "10/25/26 8:15:00 PM", NULL, "2026-10-25" },
		{ "31.12.68 23:59", "2068-12-31", NULL }, { "1.1.69 0:00", "1969-01-01", "1969-01-01" },
		{ "1.1.00 0:00", "2000-01-01", "2000-01-01" }, { "1.1.99 0:00", "1999-01-01", "1999-01-01" },
		{ "29/02/28 0:00", "2028-02-29", NULL }, { "29/02/27 0:00", "", "" },
		{ "13/13/2026 0:00", "", "" }, { "0/1/2026 0:00", "", "" },
		{ "2026-10-01 8:15", "2026-10-01", "2026-10-01" },
		{ "2026/1/10 8:15", "2026-01-10", "2026-01-10" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		for (enum stamp_order o = STAMP_DAY_FIRST; o <= STAMP_MONTH_FIRST; o++) {
			const char *day = o == STAMP_DAY_FIRST ? cases[i].day_first : cases[i].month_first;
			struct stamp_memo memo = { .order = o };
			struct stamp got = { 0 }, again = { 0 };
			char text[CIVIL_TEXT] = "";
			bool alone = true;
			const char *why = stamp_read(o, span_of(cases[i].text), &got, &alone);
			const char *memoed = stamp_parse_memo(&memo, span_of(cases[i].text), &again);

			if (!day || !*day) {
				assert_non_null(why);
				assert_string_equal(why, day ? "no such date" : "day and month stand the"
				    " other way round than in the rest of the file");
				assert_string_equal(memoed, why);
				continue;
			}
			if (why)
				print_error("\"%s\": %s\n", cases[i].text, why);
			assert_null(why);
			assert_null(memoed);
			assert_false(alone);
			same_stamp(&got, &again, cases[i].text);
			civil_rfc3339(got.wall * 1000, text);
			text[10] = '\0';
			assert_string_equal(text, day);
		}
	}
}

/* What a column of cells says about its order. */
static void
tallies(void **state)
{
	enum { NO = 9 };
	static const char elsewhere[] = "some of its dates can only be day first";
	static const char neither[] = "day and month cannot be told apart: no date in it has a day"
	    " above 12";
	static const char year[] = "the two-digit year seems to stand first";
	static const struct { const char *cells; int order; const char *why; bool open; uint64_t line; }
	cases[] = {
		{ "", STAMP_UNDECIDED, NULL, false, 0 },
		{ "2026-10-01 8:00|x||9/9|31/4/2026 8:00", STAMP_UNDECIDED, NULL, false, 0 },
		{ "1/10/2026 8:00|25/10/2026 8:00", STAMP_DAY_FIRST, NULL, false, 2 },
		{ "1/10/2026 8:00|2/10/2026 8:00|10/25/2026 8:00", STAMP_MONTH_FIRST, NULL, false, 3 },
		{ "12/10/2026 8:00", NO, neither, true, 0 }, { "13/10/2026 8:00", STAMP_DAY_FIRST, NULL, false, 1 },
		{ "10/10/2026 8:00|11/11/26", STAMP_DAY_FIRST, NULL, true, 0 },
		{ "10/10/2026 8:00|11/10/2026 8:00", NO, neither, true, 0 },
		/* most do not need one */
		{ "1/10/2026 8:00|2026-10-01 8:00", STAMP_UNDECIDED, NULL, true, 0 },
		{ "1/10/2026 8:00|2/10/2026 8:00|2026-10-01 8:00", NO, neither, true, 0 },
		{ "1/10/2026 8:00|1790842530|x", STAMP_UNDECIDED, NULL, true, 0 },
		{ "1/10/2026 8:00|x|y", NO, neither, true, 0 },
		/* both are proved: nine to one, ten to one */
		{ "20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|"
		  "20/1/2026|1/20/2026", NO, elsewhere, false, 1 },
		{ "20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|20/1/2026|"
		  "20/1/2026|20/1/2026|1/20/2026", STAMP_DAY_FIRST, NULL, false, 1 },
		{ "20/1/2026|1/20/2026|1/20/2026|1/20/2026|1/20/2026|1/20/2026|1/20/2026|1/20/2026|"
		  "1/20/2026|1/20/2026|1/20/2026", STAMP_MONTH_FIRST, NULL, false, 2 },
		{ "20/1/2026|1/20/2026", NO, elsewhere, false, 1 },
		/* two-digit years: last, unless all could stand first and vary less there */
		{ "25/10/26", STAMP_DAY_FIRST, NULL, false, 1 },
		{ "25/10/26|26/10/26", STAMP_DAY_FIRST, NULL, false, 1 },
		{ "26/10/25|26/10/26", NO, year, false, 1 },
		{ "26/10/25|26/10/26|26/10/32", STAMP_DAY_FIRST, NULL, false, 1 },
		{ "31/12/25|01/01/26", STAMP_DAY_FIRST, NULL, false, 1 },
		{ "26/02/28|26/02/29", STAMP_DAY_FIRST, NULL, false, 1 },	/* no 2026-02-29 */
		{ "10/25/26|10/26/27", STAMP_MONTH_FIRST, NULL, false, 1 },
		{ "5/5/26|5/6/26", NO, neither, true, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct stamp_tally t = { 0 };
		enum stamp_order order = (enum stamp_order)NO;
		const char *p = cases[i].cells, *why;

		for (uint64_t line = 1; *p; line++) {
			size_t n = strcspn(p, "|");

			stamp_tally_add(&t, (struct span){ p, n }, line);
			p += n + (p[n] == '|');
		}
		assert_int_equal(stamp_tally_open(&t), cases[i].open);
		why = stamp_tally_order(&t, &order);
		if (!why != !cases[i].why || (int)order != cases[i].order)
			print_error("%s: %s\n", cases[i].cells, why ? why : "(decided)");
		assert_int_equal(order, cases[i].order);
		if (cases[i].why)
			assert_int_equal(strncmp(why, cases[i].why, strlen(cases[i].why)), 0);
		else
			assert_null(why);
		if (cases[i].line)
			assert_true(t.line[1] == cases[i].line || t.line[2] == cases[i].line);
	}
}

/* Every half of every hour of twelve. */
static void
twelve_hours(void **state)
{
	(void)state;
	for (int h = 0; h < 24; h++) {
		char text[40];
		struct stamp st;

		snprintf(text, sizeof text, "2026-10-01 %d:30 %s", (h + 11) % 12 + 1, h < 12 ? "AM" : "PM");
		assert_null(stamp_parse(span_of(text), &st));
		assert_int_equal(st.wall, 1790812800 + h * 3600 + 1800);
	}
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
		cmocka_unit_test(orders),
		cmocka_unit_test(tallies),
		cmocka_unit_test(twelve_hours),
		cmocka_unit_test(every_day),
		cmocka_unit_test(empty_memo),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
