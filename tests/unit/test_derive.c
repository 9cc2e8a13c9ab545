/* test_derive.c - from a wall clock to an instant: repeated and skipped hours, reset clocks,
 * and what becomes of it when sites tells another zone. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/derive.h"
#include "parsers/stamp.h"
#include "parsers/tz.h"
#include "rules/view.h"
#include "tests/unit/help_store.h"

static struct event_in
row_of(const char *time, const char *received)
{
	struct event_in row = { .received_offset = OFFSET_NONE };
	struct stamp s;

	assert_null(stamp_parse(span_of(time), &s));
	row.wall = s.wall;
	row.ms = (uint16_t)s.ms;
	row.offset = s.offset == OFFSET_LOCAL ? OFFSET_NONE : s.offset;
	if (received) {
		assert_null(stamp_parse(span_of(received), &s));
		row.has_received = true;
		row.received = s.wall;
		row.received_ms = (uint16_t)s.ms;
		row.received_offset = s.offset == OFFSET_LOCAL ? OFFSET_NONE : s.offset;
	}
	return row;
}

static const char *
utc_of(const struct event_in *row, char *out)
{
	return civil_rfc3339((row->wall - row->shift) * SECOND + row->ms, out);
}

/* One row, nothing before it. The three days are those of the IANA database; "fold" and
 * "gap" are the terms of PEP 495: in the repeated hour the first of the two is taken where
 * nothing else is known, in a gap the offset before it holds, which moves the time on. */
static const struct { const char *zone, *time, *received, *utc; int marks; } one[] = {
	{ "Europe/London", "2024-10-27 00:59:59", NULL, "2024-10-26T23:59:59Z", 0 },
	{ "Europe/London", "2024-10-27 01:00:00", NULL, "2024-10-27T00:00:00Z",
	  MARK_REPEATED | MARK_AMBIGUOUS },
	{ "Europe/London", "2024-10-27 01:30:00", NULL, "2024-10-27T00:30:00Z",
	  MARK_REPEATED | MARK_AMBIGUOUS },
	{ "Europe/London", "2024-10-27 01:59:59", NULL, "2024-10-27T00:59:59Z",
	  MARK_REPEATED | MARK_AMBIGUOUS },
	{ "Europe/London", "2024-10-27 02:00:00", NULL, "2024-10-27T02:00:00Z", 0 },
	{ "America/New_York", "2024-11-03 00:59:59", NULL, "2024-11-03T04:59:59Z", 0 },
	{ "America/New_York", "2024-11-03 01:30:00", NULL, "2024-11-03T05:30:00Z",
	  MARK_REPEATED | MARK_AMBIGUOUS },
	{ "America/New_York", "2024-11-03 02:00:00", NULL, "2024-11-03T07:00:00Z", 0 },
	{ "America/New_York", "2024-03-10 01:59:59", NULL, "2024-03-10T06:59:59Z", 0 },
	{ "America/New_York", "2024-03-10 02:00:00", NULL, "2024-03-10T07:00:00Z", MARK_SKIPPED },
	{ "America/New_York", "2024-03-10 02:30:00", NULL, "2024-03-10T07:30:00Z", MARK_SKIPPED },
	{ "America/New_York", "2024-03-10 03:00:00", NULL, "2024-03-10T07:00:00Z", 0 },
	/* Receipt tells which. */
	{ "Europe/London", "2024-10-27 01:30:00", "2024-10-27 00:30:05Z", "2024-10-27T00:30:00Z",
	  MARK_REPEATED },
	{ "Europe/London", "2024-10-27 01:30:00", "2024-10-27 01:30:05Z", "2024-10-27T01:30:00Z",
	  MARK_REPEATED },
	{ "Europe/London", "2024-10-27 01:59:00", "2024-10-27 02:00:05", "2024-10-27T01:59:00Z",
	  MARK_REPEATED },
	{ "Europe/London", "2024-10-27 01:30:00", "2024-10-27 01:30:05+01:00", "2024-10-27T00:30:00Z",
	  MARK_REPEATED },
	{ "America/New_York", "2024-11-03 01:30:00.250", "2024-11-03 06:31:00Z",
	  "2024-11-03T06:30:00.250Z", MARK_REPEATED },
	/* An offset leaves nothing to decide. */
	{ "Europe/London", "2024-10-27 01:30:00Z", NULL, "2024-10-27T01:30:00Z", 0 },
	{ "Europe/London", "2024-10-27 01:30:00+01:00", NULL, "2024-10-27T00:30:00Z", 0 },
	{ "America/New_York", "2024-03-10 02:30:00-05:00", NULL, "2024-03-10T07:30:00Z", 0 },
	{ "Asia/Kathmandu", "2024-03-10 02:30:00", NULL, "2024-03-09T20:45:00Z", 0 },
};

static void
one_row(void **state)
{
	struct tz_set *zones = tz_set_open();

	(void)state;
	for (size_t i = 0; i < sizeof one / sizeof *one; i++) {
		const struct tz *tz;
		struct event_in row = row_of(one[i].time, one[i].received);
		int64_t prev = NO_TIME;
		char utc[CIVIL_TEXT];
		struct err e;

		tz = tz_find(zones, span_of(one[i].zone), &e);
		assert_non_null(tz);
		print_message("%s %s\n", one[i].zone, one[i].time);
		/* Marks of an earlier reading are forgotten, others are kept. */
		row.marks = MARK_SKIPPED | MARK_REPEATED | MARK_AMBIGUOUS | MARK_COARSE;
		derive_time(tz, false, &prev, &row);
		assert_string_equal(utc_of(&row, utc), one[i].utc);
		assert_int_equal(row.marks, one[i].marks | MARK_COARSE);
		assert_int_equal(prev, (row.wall - row.shift) * SECOND + row.ms);
	}
	tz_set_close(zones);
}

/* Rows in file order, with the minutes that each stands after 00:00Z of 2024-10-27 in
 * London; '?' marks what nothing tells. */
static const struct { const char *what; bool newest; const char *rows, *want; } order[] = {
	{ "forward through both", false, "00:50 01:10 01:50 01:05 01:55 02:10",
	  "-10 10 50 65 115 130" },
	{ "backward through both", true, "02:10 01:55 01:05 01:50 01:10 00:50",
	  "130 115 65 50 10 -10" },
	{ "first row of the file in it", false, "01:10 01:50 01:05", "10? 50 65" },
	{ "first row of a newest-first file in it", true, "01:50 01:05", "50? 5" },
	{ "out of order by two minutes", false, "01:50:00 01:48:00 01:49:00", "50? 48 49" },
	{ "by more than that", false, "01:50:00 01:47:59", "50? 107:59" },
	{ "newest first, by two minutes", true, "02:10 01:50:00 01:52:00", "130 110 112" },
	{ "newest first, by more", true, "02:10 01:50:00 01:52:01", "130 110 52:01" },
	{ "a row three hours before tells", false, "2024-10-26 22:30:00 01:30:00", "-150 30" },
	{ "one longer before does not", false, "2024-10-26 22:29:59 01:30:00", "-150:01 30?" },
	{ "one after it, newest first", true, "03:00 01:30", "180 90" },
};

static void
rows_in_order(void **state)
{
	struct tz_set *zones = tz_set_open();
	struct arena a = { 0 };
	struct err e;
	const struct tz *tz = tz_find(zones, SPAN("Europe/London"), &e);

	(void)state;
	assert_non_null(tz);
	for (size_t i = 0; i < sizeof order / sizeof *order; i++) {
		const char *p = order[i].rows, *got = "";
		int64_t prev = NO_TIME;

		while (*p) {
			size_t n = strcspn(p, " ");
			struct event_in row;
			int64_t at;

			if (n == 10)
				n = 19;
			row = row_of(n == 19 ? arena_text(&a, (struct span){ p, n })
			    : arena_fmt(&a, "2024-10-27 %.*s", (int)n, p), NULL);
			derive_time(tz, order[i].newest, &prev, &row);
			at = row.wall - row.shift - INT64_C(1729987200);	/* 2024-10-27T00:00:00Z */
			got = arena_fmt(&a, "%s%s%d", got, *got ? " " : "", (int)(at / 60));
			if (at % 60)
				got = arena_fmt(&a, "%s:%02d", got, (int)(at % 60 < 0 ? -(at % 60) : at % 60));
			if (row.marks & MARK_AMBIGUOUS)
				got = arena_fmt(&a, "%s?", got);
			p += n + (p[n] == ' ');
		}
		print_message("%s\n", order[i].what);
		assert_string_equal(got, order[i].want);
	}
	arena_release(&a);
	tz_set_close(zones);
}

/* ---- the same through files and the store ----------------------------------- */

#define SITES "account,timezone\nA1,Europe/London\n"
#define HEAD "account,time,event,zone\n"

/* Read with sites known before, or told afterwards; in batches of any size. */
static void
sites_before_or_after(void **state)
{
	static const char *const rows[] = {
		HEAD "A1,2024-10-27 00:50:00,trip,1\nA1,2024-10-27 01:10:00,trip,2\n"
		"A2,2024-10-27 01:00:00,trip,9\n"
		"A1,2024-10-27 01:50:00,trip,3\nA1,2024-10-27 01:05:00,trip,4\nA1,2024-10-27 02:10:00,trip,5\n",
		HEAD "A1,2024-10-27 02:10:00,trip,5\nA1,2024-10-27 01:05:00,trip,4\n"
		"A2,2024-10-27 01:00:00,trip,9\n"
		"A1,2024-10-27 01:50:00,trip,3\nA1,2024-10-27 01:10:00,trip,2\nA1,2024-10-27 00:50:00,trip,1\n",
	};

	(void)state;
	for (size_t batch = 0; batch < 4; batch++) {
		for (int newest = 0; newest < 2; newest++) {
			for (int after = 0; after < 2; after++) {
				struct help h;

				help_open(&h);
				h.o.batch = batch;
				if (!after)
					help_take(&h, "sites.csv", SITES);
				help_take(&h, "a.csv", rows[newest]);
				if (after)
					help_take(&h, "sites.csv", SITES);
				assert_string_equal(help_sql(&h, "SELECT zone, utc, marks FROM event_log"
				    " WHERE account = 'A1' ORDER BY zone"),
				    "1|2024-10-26T23:50:00Z|-\n2|2024-10-27T00:10:00Z|repeated-hour\n"
				    "3|2024-10-27T00:50:00Z|repeated-hour\n4|2024-10-27T01:05:00Z|repeated-hour\n"
				    "5|2024-10-27T02:10:00Z|-");
				help_close(&h);
			}
		}
	}
}

/* A receipt that comes in later tells which hour was meant. */
static void
a_later_receipt_decides(void **state)
{
	static const char second[] = "account,time,event,zone,received\n"
	    "A1,2024-10-27 01:30:00,trip,1,2024-10-27 01:30:02Z\n";

	(void)state;
	for (int together = 0; together < 2; together++) {
		const char *a, *b;
		struct help h;

		help_open(&h);
		help_take(&h, "sites.csv", SITES);
		a = help_file(&h, "a.csv", HEAD "A1,2024-10-27 01:30:00,trip,1\n");
		b = help_file(&h, "b.csv", second);
		if (together) {
			help_ingest(&h, a, b, NULL);
		} else {
			help_ingest(&h, a, NULL);
			assert_string_equal(help_sql(&h, "SELECT utc, marks FROM event_log"),
			    "2024-10-27T00:30:00Z|repeated-hour ambiguous-hour");
			help_ingest(&h, b, NULL);
		}
		assert_string_equal(help_sql(&h, "SELECT utc, marks FROM event_log"),
		    "2024-10-27T01:30:00Z|repeated-hour");
		help_close(&h);
	}
}

static const struct { const char *what, *rows, *want; } resets[] = {
	{ "1970, the row before stands in",
	  "A1,2026-10-01 08:00:00,arm,,\nA1,1970-01-01 00:00:05,trip,1,\nA1,2026-10-01 09:00:00,arm,,\n",
	  "2026-10-01T08:00:00Z|clock-reset" },
	{ "2000, the account's own row before, not the file's",
	  "A1,2026-10-01 08:00:00,arm,,\nA2,2026-10-01 08:30:00,arm,,\nA1,2000-01-01 00:00:05,trip,1,\n",
	  "2026-10-01T08:00:00Z|clock-reset" },
	{ "none of its own: the file's row before",
	  "A2,2026-10-01 08:30:00,arm,,\nA2,2026-10-01 08:40:00,arm,,\nA1,2000-01-01 00:00:05,trip,1,\n",
	  "2026-10-01T08:40:00Z|clock-reset" },
	{ "years ahead", "A1,2026-10-01 08:00:00,arm,,\nA1,2036-01-01 00:00:05,trip,1,\n"
	  "A1,2026-10-01 09:00:00,arm,,\n", "2026-10-01T08:00:00Z|clock-reset" },
	{ "receipt stands in", "A1,2026-10-01 08:00:00,arm,,\n"
	  "A1,1970-01-01 00:00:05,trip,1,2026-10-01 08:20:00Z\nA1,2026-10-01 09:00:00,arm,,\n",
	  "2026-10-01T08:20:00Z|clock-reset" },
	{ "400 days from receipt is merely wrong",
	  "A1,2026-10-01 08:00:00,trip,1,2027-11-05 08:00:00Z\n", "2026-10-01T08:00:00Z|-" },
	{ "a second more is not", "A1,2026-10-01 08:00:00,trip,1,2027-11-05 08:00:01Z\n",
	  "2027-11-05T08:00:01Z|clock-reset" },
	{ "400 days ahead of the file is merely wrong",
	  "A1,2026-10-01 08:00:00,arm,,\nA1,2026-10-01 08:00:00,arm,,\nA1,2026-10-01 08:00:00,arm,,\n"
	  "A1,2027-11-05 08:00:00,trip,1,\n", "2027-11-05T08:00:00Z|-" },
	{ "a second more is not",
	  "A1,2026-10-01 08:00:00,arm,,\nA1,2026-10-01 08:00:00,arm,,\nA1,2026-10-01 08:00:00,arm,,\n"
	  "A1,2027-11-05 08:00:01,trip,1,\n", "2026-10-01T08:00:00Z|clock-reset" },
};

static void
reset_clocks(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof resets / sizeof *resets; i++) {
		for (size_t batch = 0; batch < 2; batch++) {
			struct help h;

			help_open(&h);
			h.o.batch = batch;
			print_message("%s\n", resets[i].what);
			help_take(&h, "a.csv", arena_fmt(&h.arena, "account,time,event,zone,received\n%s",
			    resets[i].rows));
			assert_string_equal(help_sql(&h, "SELECT utc, marks FROM event_log WHERE event = 'trip'"),
			    resets[i].want);
			help_close(&h);
		}
	}
}

/* Many rows in a row that agree on another year are the file's own new run; on one at
 * which clocks begin they are not. */
static void
a_new_run_of_the_file(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	help_take(&h, "a.csv", HEAD "A1,2023-10-01 08:00:00,arm,\nA1,2023-10-01 08:01:00,arm,\n"
	    "A1,2023-10-01 08:02:00,arm,\nA1,2026-10-01 08:00:00,trip,1\nA1,2026-10-01 08:01:00,trip,2\n"
	    "A1,2026-10-01 08:02:00,trip,3\nA1,2026-10-01 08:03:00,trip,4\n");
	assert_string_equal(help_sql(&h, "SELECT zone, utc, marks FROM event_log"
	    " WHERE event = 'trip' AND zone > 2"),
	    "3|2026-10-01T08:02:00Z|-\n4|2026-10-01T08:03:00Z|-");
	help_close(&h);

	help_open(&h);
	help_take(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,\nA1,2026-10-01 08:01:00,arm,\n"
	    "A1,2026-10-01 08:02:00,arm,\nA1,2026-10-01 08:03:00,arm,\nA1,2026-10-01 08:04:00,arm,\n"
	    "A1,2001-01-01 00:00:00,trip,1\nA1,2001-01-01 00:01:00,trip,2\n"
	    "A1,2001-01-01 00:02:00,trip,3\nA1,2001-01-01 00:03:00,trip,4\n");
	assert_string_equal(help_sql(&h, "SELECT DISTINCT utc, marks FROM event_log WHERE event = 'trip'"),
	    "2026-10-01T08:04:00Z|clock-reset");
	help_close(&h);
}

/* Where a clock was reset, its wall clock says nothing of when the row was received. */
static void
received_of_a_reset_clock(void **state)
{
	struct help h;
	struct view v;
	struct err e;

	(void)state;
	help_open(&h);
	help_take(&h, "sites.csv", SITES);
	help_take(&h, "a.csv", "account,time,event,zone,received\n"
	    "A1,2026-07-01 08:00:00,arm,,2026-07-01 08:00:01\n"
	    "A1,1970-01-01 00:00:05,trip,1,2026-07-01 08:20:00\n");
	assert_int_equal(store_view(h.s, "a1", NO_TIME, &v, &e), 0);
	assert_int_equal(v.n_event, 2);
	assert_int_equal(v.event[1].word, W_TRIP);
	assert_int_equal(v.event[1].at, help_number(&h, "SELECT unixepoch('2026-07-01 07:20') * 1000"));
	assert_int_equal(v.event[1].received, v.event[1].at);
	assert_int_equal(v.event[0].received, v.event[0].at + SECOND);
	view_release(&v);
	help_close(&h);
}

/* Rows of one second stand in the order in which they happened, in newest-first files too. */
static void
rows_of_one_second(void **state)
{
	static const char *const rows[] = {
		HEAD "A1,2026-10-01 08:00:00,arm,\nA1,2026-10-01 08:15:00,zone-open,1\n"
		"A1,2026-10-01 08:15:00,zone-close,1\nA1,2026-10-01 08:15:00,bypass,1\n"
		"A1,2026-10-01 08:15:00,unbypass,1\nA1,2026-10-01 09:00:00,disarm,\n",
		HEAD "A1,2026-10-01 09:00:00,disarm,\nA1,2026-10-01 08:15:00,unbypass,1\n"
		"A1,2026-10-01 08:15:00,bypass,1\nA1,2026-10-01 08:15:00,zone-close,1\n"
		"A1,2026-10-01 08:15:00,zone-open,1\nA1,2026-10-01 08:00:00,arm,\n",
	};

	(void)state;
	for (int newest = 0; newest < 2; newest++) {
		for (size_t batch = 0; batch < 5; batch++) {
			for (int judging = 0; judging < 2; judging++) {
				const char *got = "";
				struct help h;
				struct view v;
				struct err e;
				bool skip;

				help_open(&h);
				h.o.batch = batch;
				help_take(&h, "a.csv", rows[newest]);
				assert_int_equal(judging ? store_view_judge(h.s, 1, NO_TIME, &v, &skip, &e)
				    : store_view(h.s, "A1", NO_TIME, &v, &e), 0);
				for (size_t i = 0; i < v.n_event; i++)
					got = arena_fmt(&h.arena, "%s%s ", got, word_text((enum word)v.event[i].word));
				print_message("newest first %d, batch %zu\n", newest, batch);
				assert_string_equal(got, "arm zone-open zone-close bypass unbypass disarm ");
				view_release(&v);
				help_close(&h);
			}
		}
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(one_row),
		cmocka_unit_test(rows_in_order),
		cmocka_unit_test(sites_before_or_after),
		cmocka_unit_test(a_later_receipt_decides),
		cmocka_unit_test(reset_clocks),
		cmocka_unit_test(a_new_run_of_the_file),
		cmocka_unit_test(received_of_a_reset_clock),
		cmocka_unit_test(rows_of_one_second),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
