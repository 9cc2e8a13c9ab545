/* test_repeat.c - which rows of overlapping exports are the same event, and what their
 * repeats may fill in. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "tests/unit/help_store.h"

#define HEAD "account,time,event,zone,partition,serial,user,text,received,signal,receiver,line\n"
#define T "2026-10-01 08:15:30"
#define ROW "A1," T ",zone-open,7,1,4A0071,3,back door,,,,\n"

/* Batches so small that files span them, and one that holds all of them at once. */
static const size_t batch[] = { 1, 2, 3, 5, 0 };
enum { BATCHES = sizeof batch / sizeof *batch };

/* What a row stands for, each spelling beside "the same" or "another one". */
static const struct { const char *what, *row; int same; } spelled[] = {
	{ "as it was", ROW, 1 },
	{ "letter case of the account", "a1," T ",zone-open,7,1,4A0071,3,back door,,,,\n", 1 },
	{ "zeros before the zone", "A1," T ",zone-open,007,1,4A0071,3,back door,,,,\n", 1 },
	{ "zeros before the partition", "A1," T ",zone-open,7,01,4A0071,3,back door,,,,\n", 1 },
	{ "zeros before the user", "A1," T ",zone-open,7,1,4A0071,003,back door,,,,\n", 1 },
	{ "serial with dashes", "A1," T ",zone-open,7,1,4A-00-71,3,back door,,,,\n", 1 },
	{ "serial with dots and colons", "A1," T ",zone-open,7,1,4a:00.71,3,back door,,,,\n", 1 },
	{ "serial with blanks", "A1," T ",zone-open,7,1,4a 00 71,3,back door,,,,\n", 1 },
	{ "letter case of the event", "A1," T ",ZONE-Open,7,1,4A0071,3,back door,,,,\n", 1 },
	{ "T between date and time", "A1,2026-10-01T08:15:30,zone-open,7,1,4A0071,3,back door,,,,\n", 1 },
	{ "no milliseconds written out", "A1," T ".000,zone-open,7,1,4A0071,3,back door,,,,\n", 1 },
	{ "received and signal", "A1," T ",zone-open,7,1,4A0071,3,back door," T "Z,-70 dBm,,\n", 1 },
	{ "another account", "A2," T ",zone-open,7,1,4A0071,3,back door,,,,\n", 0 },
	{ "an account with a zero before", "0A1," T ",zone-open,7,1,4A0071,3,back door,,,,\n", 0 },
	{ "a second later", "A1,2026-10-01 08:15:31,zone-open,7,1,4A0071,3,back door,,,,\n", 0 },
	{ "a millisecond later", "A1," T ".001,zone-open,7,1,4A0071,3,back door,,,,\n", 0 },
	{ "the same wall clock, with an offset", "A1," T "Z,zone-open,7,1,4A0071,3,back door,,,,\n", 0 },
	{ "the same wall clock, another offset",
	  "A1," T "+02:00,zone-open,7,1,4A0071,3,back door,,,,\n", 0 },
	{ "another event", "A1," T ",zone-close,7,1,4A0071,3,back door,,,,\n", 0 },
	{ "another zone", "A1," T ",zone-open,70,1,4A0071,3,back door,,,,\n", 0 },
	{ "no zone", "A1," T ",zone-open,,1,4A0071,3,back door,,,,\n", 0 },
	{ "another partition", "A1," T ",zone-open,7,2,4A0071,3,back door,,,,\n", 0 },
	{ "no partition", "A1," T ",zone-open,7,,4A0071,3,back door,,,,\n", 0 },
	{ "another serial", "A1," T ",zone-open,7,1,4A0072,3,back door,,,,\n", 0 },
	{ "a serial with a zero before", "A1," T ",zone-open,7,1,04A0071,3,back door,,,,\n", 0 },
	{ "no serial", "A1," T ",zone-open,7,1,,3,back door,,,,\n", 0 },
	{ "another user", "A1," T ",zone-open,7,1,4A0071,30,back door,,,,\n", 0 },
	{ "no user", "A1," T ",zone-open,7,1,4A0071,,back door,,,,\n", 0 },
	{ "another text", "A1," T ",zone-open,7,1,4A0071,3,Back door,,,,\n", 0 },
	{ "no text", "A1," T ",zone-open,7,1,4A0071,3,,,,,\n", 0 },
	{ "another receiver", "A1," T ",zone-open,7,1,4A0071,3,back door,,,R1,\n", 0 },
	{ "another line", "A1," T ",zone-open,7,1,4A0071,3,back door,,,,L1\n", 0 },
};

static void
spellings(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof spelled / sizeof *spelled; i++) {
		const char *want = spelled[i].same ? "1 0 1 0" : "1 1 0 0";
		const char *a, *b;
		struct help h;

		/* One run after the other, then both files in one commit. */
		help_open(&h);
		print_message("%s\n", spelled[i].what);
		help_take(&h, "a.csv", HEAD ROW);
		help_take(&h, "b.csv", arena_fmt(&h.arena, "%s%s", HEAD, spelled[i].row));
		assert_string_equal(help_counts(&h, 0), want);
		help_close(&h);

		help_open(&h);
		a = help_file(&h, "a.csv", HEAD ROW);
		b = help_file(&h, "b.csv", arena_fmt(&h.arena, "%s%s", HEAD, spelled[i].row));
		help_ingest(&h, a, b, NULL);
		assert_string_equal(help_counts(&h, 0), "1 1 0 0");
		assert_string_equal(help_counts(&h, 1), want);
		help_close(&h);
	}
}

/* Zone 0 is the panel itself, as is no zone at all. */
static void
panel_zone(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	help_events(&h, "a.csv", "A1," T ",power-loss,000\n");
	help_events(&h, "b.csv", "A1," T ",power-loss,\n");
	assert_string_equal(help_counts(&h, 0), "1 0 1 0");
	help_close(&h);
}

/* How often a row stands in each of some files, and what is stored of each. */
static const struct { int n[4]; int stored[4]; } counted[] = {
	{ { 1, 1, 1, 1 }, { 1, 0, 0, 0 } },
	{ { 2, 1, 2, 3 }, { 2, 0, 0, 1 } },
	{ { 1, 3, 2, 4 }, { 1, 2, 0, 1 } },
	{ { 0, 2, 0, 1 }, { 0, 2, 0, 0 } },
	{ { 5, 4, 6, 5 }, { 5, 0, 1, 0 } },
};

static const char *
times(struct help *h, int n, const char *before, const char *after)
{
	const char *out = arena_fmt(&h->arena, "%s%s", HEAD, before);

	for (int i = 0; i < n; i++)
		out = arena_fmt(&h->arena, "%s%s", out, ROW);
	return arena_fmt(&h->arena, "%s%s", out, after);
}

/* Between rows that no other file has, so that batches end everywhere. */
static const char *
nth(struct help *h, int file, int n)
{
	return times(h, n, arena_fmt(&h->arena, "A1,2026-10-01 07:00:0%d,arm,,,,,,,,,\n", file),
	    arena_fmt(&h->arena, "A1,2026-10-01 09:00:0%d,disarm,,,,,,,,,\n", file));
}

static void
as_often_as_the_file_that_has_it_most(void **state)
{
	(void)state;
	for (size_t c = 0; c < sizeof counted / sizeof *counted; c++) {
		for (int b = 0; b < BATCHES; b++) {
			for (int together = 0; together < 2; together++) {
				const char *path[4];
				struct help h;
				int all = 0;

				help_open(&h);
				h.o.batch = batch[b];
				for (int i = 0; i < 4; i++)
					path[i] = help_file(&h, arena_fmt(&h.arena, "%d.csv", i),
					    nth(&h, i, counted[c].n[i]));
				if (together)
					help_ingest(&h, path[0], path[1], path[2], path[3], NULL);
				for (int i = 0; i < 4; i++) {
					const char *want = arena_fmt(&h.arena, "%d %d %d 0", counted[c].n[i] + 2,
					    counted[c].stored[i] + 2, counted[c].n[i] - counted[c].stored[i]);

					if (!together)
						help_ingest(&h, path[i], NULL);
					assert_string_equal(help_counts(&h, together ? (size_t)i : 0), want);
					all += counted[c].stored[i];
				}
				assert_int_equal(help_number(&h,
				    "SELECT count(*) FROM event_log WHERE event = 'zone-open'"), all);
				help_close(&h);
			}
		}
	}
}

/* The same file again, whole and in parts: nothing changes, nothing is due. */
static void
twice_changes_nothing(void **state)
{
	(void)state;
	for (int b = 0; b < BATCHES; b++) {
		for (int again = 0; again < BATCHES; again++) {
			const char *text, *before, *path;
			struct help h;

			help_open(&h);
			h.o.batch = batch[b];
			text = times(&h, 7, "A1,2026-10-01 07:00:00,zone-open,1,1,,,one," T "Z,-70 dBm,,\n"
			    "A2," T ",zone-open,7,1,4A0071,3,back door,,60 %,,\n",
			    "A1,2026-10-01 09:00:00,zone-open,1,1,,,one,,-71 dBm,,\nnonsense\n");
			path = help_file(&h, "a.csv", text);
			help_ingest(&h, path, NULL);
			assert_string_equal(help_counts(&h, 0), "11 10 0 1");
			help_judged(&h, false);
			before = help_dump(&h);
			h.o.batch = batch[again];
			help_ingest(&h, path, NULL);
			assert_string_equal(help_counts(&h, 0), "11 0 10 1");
			assert_string_equal(help_dump(&h), before);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM due"), 0);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM aside"), 1);
			help_close(&h);
		}
	}
}

/* Cut anywhere, read in any batches: the store is the same. */
static void
batches_change_nothing(void **state)
{
	const char *want = NULL;
	struct arena keep = { 0 };

	(void)state;
	for (int b = 0; b < BATCHES; b++) {
		for (size_t read = 0; read < 3; read++) {
			const char *a, *c;
			struct help h;

			help_open(&h);
			h.o.batch = batch[b];
			h.o.read_size = read * 7;
			a = help_file(&h, "a.csv", times(&h, 3,
			    "A1,2026-10-01 07:00:00,fire-alarm,1,,,,,,,,\nB1,2026-10-01 07:00:00,arm,,,,1,,,,,\n",
			    "A1,2026-10-01 07:00:00,fire-alarm,1,,,,,,,,\n"));
			c = help_file(&h, "b.csv", times(&h, 2, "",
			    "A1,2026-10-01 07:00:00,fire-alarm,01,,,,," T "Z,,,\n"
			    "b1,2026-10-01 07:00:00,arm,,,,01,,,5 bars,,\n"));
			help_ingest(&h, a, c, NULL);
			if (!want)
				want = arena_text(&keep, span_of(help_dump(&h)));
			assert_string_equal(help_dump(&h), want);
			help_close(&h);
		}
	}
	arena_release(&keep);
}

/* So that every file covers the same span. */
#define DAY_OF "A1,2026-10-01 07:00:00,arm,,,,,,,,,\nA1,2026-10-01 23:00:00,disarm,,,,,,,,,\n"

/* Which columns of a repeated row fill what the stored row left blank, and no more. */
static const struct { const char *first, *again, *received, *signal; int due; } filled[] = {
	{ ",", ",", "-", "-", 0 },
	{ ",", T "Z,", T "+00:00", "-", 1 },
	{ ",", ",-70 dBm", "-", "-70 dBm", 1 },
	{ ",", T "Z,-70 dBm", T "+00:00", "-70 dBm", 1 },
	{ T "Z,", "2026-10-01 09:00:00Z,", T "+00:00", "-", 0 },
	{ ",-70 dBm", ",-80 dBm", "-", "-70 dBm", 0 },
	{ ",-70 dBm", T "Z,-80 dBm", T "+00:00", "-70 dBm", 1 },
	{ T "Z,", "2026-10-01 09:00:00Z,-80 dBm", T "+00:00", "-80 dBm", 1 },
	{ T "Z,-70 dBm", "2026-10-01 09:00:00Z,-80 dBm", T "+00:00", "-70 dBm", 0 },
	{ ",", "2026-10-01 08:15:31.250,", "2026-10-01 08:15:31.250", "-", 1 },
};

static void
blanks_are_filled(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof filled / sizeof *filled; i++) {
		for (int way = 0; way < 3; way++) {	/* two runs, one commit, parts */
			const char *a, *b;
			struct help h;

			help_open(&h);
			print_message("[%s] then [%s], way %d\n", filled[i].first, filled[i].again, way);
			a = help_file(&h, "a.csv", arena_fmt(&h.arena, "%s" DAY_OF "A1," T ",trip,1,,,,,%s,,\n", HEAD, filled[i].first));
			b = help_file(&h, "b.csv", arena_fmt(&h.arena, "%s" DAY_OF "A1," T ",trip,1,,,,,%s,,\n", HEAD, filled[i].again));
			h.o.batch = way == 2 ? 1 : 0;
			if (way == 1) {
				help_ingest(&h, a, b, NULL);
			} else {
				help_ingest(&h, a, NULL);
				help_judged(&h, false);
				help_ingest(&h, b, NULL);
				/* Rules see times of receipt, so what fills them is news. */
				assert_int_equal(help_number(&h, "SELECT count(*) FROM due"), filled[i].due);
			}
			assert_string_equal(help_sql(&h,
			    "SELECT received, signal FROM event_log WHERE event = 'trip'"),
			    arena_fmt(&h.arena, "%s|%s", filled[i].received, filled[i].signal));
			help_close(&h);
		}
	}
}

/* What is filled in stands beside texts of every kind, which stay as they were. */
static void
texts_survive(void **state)
{
	static const char rows[] = HEAD
	    "A1," T ",trip,1,,,\"us\"\"er\",\"say \"\"hi\"\", C:\\dir\\\ttab \xc3\xa9 \xf0\x9f\x94\xa5\n"
	    "second line\",%s,%s,,\n"
	    "A1," T ".250,trip,2,,,,12,%s,%s,,\n"
	    "A1," T "+02:00,trip,3,,,,null,%s,%s,,\n"
	    "A1," T ",trip,4,,,007,\"[1,{}]\",%s,%s,,\n";
	static const char log[] = "SELECT time, zone, user, text, utc, line FROM event_log"
	    " WHERE event = 'trip' ORDER BY zone";
	const char *const more = T "Z", *const signal = "5 bars";
	struct help h;
	const char *before, *filled_in;

	(void)state;
	help_open(&h);
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
	help_take(&h, "a.csv", arena_fmt(&h.arena, rows, "", "", "", "", "", "", "", ""));
	filled_in = arena_fmt(&h.arena, rows, more, signal, more, signal, more, signal, more, signal);
#pragma GCC diagnostic pop
	before = help_sql(&h, log);
	assert_non_null(strstr(before, "say \"hi\", C:\\dir\\\ttab \xc3\xa9 \xf0\x9f\x94\xa5\nsecond line"));
	help_take(&h, "b.csv", filled_in);
	assert_string_equal(help_counts(&h, 0), "4 0 4 0");
	assert_string_equal(help_sql(&h, log), before);
	assert_string_equal(help_sql(&h, "SELECT DISTINCT received, signal FROM event_log"),
	    T "+00:00|5 bars");
	help_take(&h, "b.csv", filled_in);
	assert_string_equal(help_counts(&h, 0), "4 0 4 0");
	help_close(&h);
}

/* Long runs are searched by bisection: they must be in order whatever else a batch
 * holds. Dates of the years 1601 and 9999 are what other programs write for "none". */
static const char *const far[] = {
	"", "B1,1601-01-01 00:00:00,arm,,,,,,,,,\n", "B1,9999-12-31 23:59:59,arm,,,,,,,,,\n",
	"B1,0000-01-01 00:00:00,arm,,,,,,,,,\nB1,9999-12-31 23:59:59,arm,,,,,,,,,\n",
	"A1,1601-01-01 00:00:00,arm,,,,,,,,,\n", "A1,9999-12-31 23:59:59,arm,,,,,,,,,\n",
};

static void
long_runs_stay_in_order(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof far / sizeof *far; i++) {
		for (int newest = 0; newest < 2; newest++) {
			enum { N = 700 };
			const char *text = HEAD, *path;
			struct help h;

			help_open(&h);
			for (int k = 0; k < N; k++) {
				int n = newest ? N - 1 - k : k;

				text = arena_fmt(&h.arena, "%sA1,2026-10-01 00:%02d:%02d,trip,%d,,,,,,,,\n", text,
				    n / 60, n % 60, n % 5);
			}
			path = help_file(&h, "a.csv", arena_fmt(&h.arena, "%s%s", text, far[i]));
			help_ingest(&h, path, NULL);
			help_ingest(&h, path, NULL);
			assert_int_equal(h.result.file[0].stored, 0);
			/* Walls ascend within each run, as the schema says. */
			assert_int_equal(help_number(&h, "SELECT count(*) FROM (SELECT wall, lag(wall) OVER"
			    " (PARTITION BY id / 256 ORDER BY id) AS before FROM event) WHERE before > wall"), 0);
			help_close(&h);
		}
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(spellings),
		cmocka_unit_test(panel_zone),
		cmocka_unit_test(as_often_as_the_file_that_has_it_most),
		cmocka_unit_test(twice_changes_nothing),
		cmocka_unit_test(batches_change_nothing),
		cmocka_unit_test(blanks_are_filled),
		cmocka_unit_test(texts_survive),
		cmocka_unit_test(long_runs_stay_in_order),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
