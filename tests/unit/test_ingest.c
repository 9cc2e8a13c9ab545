/* test_ingest.c - every row is accounted for, and a file is in the store whole or not at all. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "daemon/base/civil.h"
#include "daemon/nightly.h"
#include "tests/unit/help_store.h"

#define HEAD "account,time,event,zone,text\n"

/* ---- rows = stored + repeated + set aside ----------------------------------- */

static void
every_row_is_accounted_for(void **state)
{
	static const size_t batch[] = { 1, 2, 3, 0 };

	(void)state;
	for (size_t b = 0; b < sizeof batch / sizeof *batch; b++) {
		struct help h;

		help_open(&h);
		h.o.batch = batch[b];
		help_take(&h, "a.csv", HEAD
		    "A1,2026-10-01 08:00:00,arm,,\n"
		    "A1,2026-02-30 08:00:00,arm,,\n"		/* no such date */
		    "\n"					/* a blank line is no row */
		    "A1,2026-10-01 08:00:01,no-such-word,,\n"
		    ",2026-10-01 08:00:02,arm,,\n"
		    "A1,,arm,,\n"
		    "A1,2026-10-01 08:00:03,open,4,\n"		/* a door, or arming? */
		    "A1,2026-10-01 08:00:04,130,4,\n"		/* no qualifier */
		    "A1,2026-10-01 08:00:05,disarm,,\"two\nlines\"\n"
		    "A1,2026-10-01 08:00:06,E999,4,\n"		/* well formed, not in the tables */
		    "A1,2026-10-01 08:00:07,disarm,,x\"y\n");
		assert_string_equal(help_counts(&h, 0), "10 4 0 6");
		assert_int_equal(help_number(&h, "SELECT count(*) FROM event"), 4);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM aside"), 6);
		assert_string_equal(help_sql(&h, "SELECT rows, stored, repeated, set_aside FROM file"),
		    "10|4|0|6");
		/* The row itself, its physical line, and lines of events behind quoted line ends. */
		assert_string_equal(help_sql(&h, "SELECT line, raw FROM aside ORDER BY line"),
		    "3|A1,2026-02-30 08:00:00,arm,,\n5|A1,2026-10-01 08:00:01,no-such-word,,\n"
		    "6|,2026-10-01 08:00:02,arm,,\n7|A1,,arm,,\n8|A1,2026-10-01 08:00:03,open,4,\n"
		    "9|A1,2026-10-01 08:00:04,130,4,");
		assert_string_equal(help_sql(&h, "SELECT line FROM event_log ORDER BY line"),
		    "2\n10\n12\n13");
		assert_string_equal(help_sql(&h, "SELECT count(*) FROM aside WHERE reason = ''"), "0");
		help_close(&h);
	}
}

static const struct { const char *kind, *text, *counts; } kinds[] = {
	{ "roster", "account,device,zone,serial\nA1,contact,5,4A0071\nA1,teapot,5,\nA1,smoke,,\n", "3 1 0 2" },
	{ "sites", "account,timezone\nA1,Europe/Vienna\nA2,Europe/Nowhere\nA3,\n", "3 1 0 2" },
	{ "plan", "account,serial,visit\nA1,4A0071,2026-10-01\nA1,4A0072,\n", "2 1 0 1" },
	{ "service", "account,time,what\nA1,2026-10-01 08:00,cell changed\n"
	  "A1,2026-10-01 08:00,cell changed\nA1,never,x\n", "3 1 1 1" },
	{ "settings", "rule,setting,value\nchatter,bursts,3\nchatter,bursts,many\nnone,bursts,1\n",
	  "3 1 0 2" },
	{ "decisions", "finding,decision,who\nnosuch1,seen,mk\n", "1 0 0 1" },
};

static void
every_kind_counts_its_rows(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		struct help h;

		help_open(&h);
		print_message("%s\n", kinds[i].kind);
		help_take(&h, "x.csv", kinds[i].text);
		assert_string_equal(h.result.file[0].kind, kinds[i].kind);
		assert_string_equal(help_counts(&h, 0), kinds[i].counts);
		assert_int_equal(help_number(&h, "SELECT rows = stored + repeated + set_aside"
		    " AND set_aside = (SELECT count(*) FROM aside) FROM file"), 1);
		help_close(&h);
	}
}

static int
count_asides(void *ctx, const struct aside_row *row)
{
	++*(int *)ctx;
	assert_string_equal(row->file_name + strlen(row->file_name) - 5, "a.csv");
	assert_string_equal(row->kind, "events");
	assert_string_equal(row->header, "account,time,event,zone,text");
	assert_int_equal(row->separator, ',');
	assert_int_equal(row->line, 3);
	assert_int_equal(row->raw_n, strlen("A1,nonsense,\"a \"\"b\"\"\n\",,"));
	assert_memory_equal(row->raw, "A1,nonsense,\"a \"\"b\"\"\n\",,", row->raw_n);
	return 0;
}

static void
set_aside_rows_are_kept_whole_and_once(void **state)
{
	struct help h;
	struct err e;
	int n = 0;
	const char *path;

	(void)state;
	help_open(&h);
	path = help_file(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\n"
	    "A1,nonsense,\"a \"\"b\"\"\n\",,\n");
	for (int i = 0; i < 3; i++)
		help_ingest(&h, path, NULL);
	help_ingest(&h, path, path, NULL);
	assert_string_equal(help_counts(&h, 1), "2 0 1 1");
	assert_int_equal(store_asides(h.s, count_asides, &n, &e), 0);
	assert_int_equal(n, 1);
	assert_int_equal(help_number(&h, "SELECT sum(set_aside) FROM file"), 5);
	/* Another file with the same row is another row. */
	help_take(&h, "b.csv", HEAD "A1,nonsense,\"a \"\"b\"\"\n\",,\n");
	assert_int_equal(help_number(&h, "SELECT count(*) FROM aside"), 2);
	help_close(&h);
}

/* What could not be read when a file was read first must not be lost when it is read
 * again and other rows of it fail. */
static void
asides_of_a_second_reading(void **state)
{
	struct help h;
	const char *path;

	(void)state;
	help_open(&h);
	path = help_file(&h, "a.csv", "account,timezone\nA1,Europe/Vienna\nA2,Europe/Nowhere\n");
	help_ingest(&h, path, NULL);
	/* As if Europe/Nowhere had been known then, and its row stored. */
	help_exec(h.db, "DELETE FROM aside");
	help_ingest(&h, path, NULL);
	assert_string_equal(help_sql(&h, "SELECT line, raw FROM aside"), "3|A2,Europe/Nowhere");
	help_close(&h);
}

/* ---- whole or not at all ---------------------------------------------------- */

/* More than the survey of a file looks at. */
enum { LONG = 8000 };

/* Rows that leave traces everywhere: accounts, points, serials, cells, phrases, asides. */
static const char *
traces(struct help *h, const char *account, int n)
{
	const char *out;
	char *text;
	size_t size;
	FILE *f = open_memstream(&text, &size);

	assert_non_null(f);
	fputs("account,time,event,zone,serial,text\n", f);
	for (int i = 0; i < n; i++)
		fprintf(f, "%s%d,2026-10-01 %02d:%02d:%02d,%s,%d,%s%04d,same text\n%s", account, i % 7,
		    8 + i / 3600, i / 60 % 60, i % 60, i % 2 ? "zone-open" : "E131", i % 9, account, i % 50,
		    i % 40 == 0 ? "A1,nonsense,,,,\n" : "");
	fclose(f);
	out = arena_text(&h->arena, (struct span){ text, size });
	free(text);
	return out;
}

static const char everything[] =
    "SELECT (SELECT count(*) FROM event), (SELECT count(*) FROM run), (SELECT count(*) FROM point),"
    " (SELECT count(*) FROM account), (SELECT count(*) FROM cell), (SELECT count(*) FROM phrase),"
    " (SELECT count(*) FROM serial), (SELECT count(*) FROM cover), (SELECT count(*) FROM due),"
    " (SELECT count(*) FROM aside), (SELECT count(*) FROM file)";

static void
a_failed_file_leaves_nothing(void **state)
{
	static const size_t batch[] = { 7, 1000, 0 };

	(void)state;
	for (size_t b = 0; b < sizeof batch / sizeof *batch; b++) {
		for (int alone = 0; alone < 2; alone++) {
			const char *good, *bad, *later, *want, *want_dump;
			struct help h, clean;

			help_open(&clean);
			clean.o.batch = batch[b];
			if (!alone) {
				good = help_file(&clean, "1.csv", traces(&clean, "G", 30));
				later = help_file(&clean, "3.csv", traces(&clean, "L", 30));
				help_ingest(&clean, good, later, NULL);
			}
			want = help_sql(&clean, everything);
			want_dump = help_dump(&clean);

			help_open(&h);
			h.o.batch = batch[b];
			bad = help_gzip(&h, "2.csv.gz", traces(&h, "B", LONG), 60);
			if (alone) {
				help_ingest(&h, bad, NULL);
				assert_string_equal(help_counts(&h, 0), "failed");
			} else {
				good = help_file(&h, "1.csv", traces(&h, "G", 30));
				later = help_file(&h, "3.csv", traces(&h, "L", 30));
				help_ingest(&h, good, bad, later, NULL);
				assert_string_equal(help_counts(&h, 0), "31 30 0 1");
				assert_string_equal(help_counts(&h, 1), "failed");
				assert_string_equal(help_counts(&h, 2), "31 30 0 1");
				assert_non_null(h.result.file[1].message);
				assert_int_equal(h.result.file[1].rows + h.result.file[1].set_aside, 0);
			}
			print_message("batch %zu, alone %d\n", batch[b], alone);
			assert_string_equal(help_sql(&h, everything), want);
			assert_string_equal(help_dump(&h), want_dump);

			/* Mended, it is taken in. */
			h.o.batch = 0;
			help_ingest(&h, help_gzip(&h, "2.csv.gz", traces(&h, "B", LONG), 0), NULL);
			assert_string_equal(help_counts(&h, 0), "8200 8000 0 200");
			assert_int_equal(help_number(&h,
			    "SELECT count(*) FROM event_log WHERE account LIKE 'B%%' AND text = 'same text'"), LONG);
			help_close(&h);
			help_close(&clean);
		}
	}
}

/* The same accounts before, in and after the failed file. */
static void
accounts_of_a_failed_file_are_known_again(void **state)
{
	(void)state;
	for (size_t batch = 0; batch < 3000; batch += 1000) {
		const char *one, *bad, *three;
		struct help h;

		help_open(&h);
		h.o.batch = batch;
		one = help_file(&h, "1.csv", traces(&h, "A", 50));
		bad = help_gzip(&h, "2.csv.gz", traces(&h, "A", LONG), 60);
		three = help_file(&h, "3.csv", traces(&h, "A", 60));
		help_ingest(&h, one, bad, three, NULL);
		assert_string_equal(help_counts(&h, 0), "52 50 0 2");
		assert_string_equal(help_counts(&h, 1), "failed");
		assert_string_equal(help_counts(&h, 2), "62 10 50 2");
		/* Every event finds its account, place, cell and text. */
		assert_int_equal(help_number(&h, "SELECT count(*) FROM event_log WHERE account = 'A' ||"
		    " ((CAST(substr(time, 18, 2) AS INTEGER)) %% 7) AND event IS NOT NULL AND zone IS NOT NULL"
		    " AND text = 'same text'"), 60);
		help_close(&h);
	}
}

#define SPANS "SELECT group_concat(x, ' ') FROM (SELECT a.account || ':' ||" \
	" strftime('%%dT%%H', from_at / 1000, 'unixepoch') || '-' ||" \
	" strftime('%%dT%%H', to_at / 1000, 'unixepoch') AS x" \
	" FROM account_span s JOIN account a ON a.id = s.account ORDER BY 1)"

/* An export that is dropped night after night speaks once for each account; one that says
 * more speaks as well. Whatever speaks moves with the clock of the site. */
static void
the_same_file_speaks_once(void **state)
{
	static const char text[] = "account,time,event\nA1,2026-10-01 08:00:00,test\n"
	    "A2,2026-10-01 09:00:00,test\nA3,2026-10-02 09:00:00,test\n";

	(void)state;
	for (size_t batch = 0; batch < 4; batch += 2) {
		struct help h;

		help_open(&h);
		h.o.batch = batch;
		for (int n = 1; n < 5; n++) {
			help_take(&h, n == 3 ? "other name.csv" : "a.csv", text);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM file"), n);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM file WHERE from_at IS NULL"), n - 1);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM cover"), 3);
			assert_string_equal(help_sql(&h, SPANS), "A1:01T08-02T09 A2:01T08-02T09 A3:01T08-02T09");
			if (n == 1)
				help_exec(h.db, "DELETE FROM due");
		}
		assert_int_equal(help_number(&h, "SELECT count(*) FROM due"), 0);
		help_take(&h, "sites.csv", "account,timezone\nA1,Asia/Tokyo\nA2,Asia/Tokyo\nA3,Asia/Tokyo\n");
		assert_string_equal(help_sql(&h, SPANS), "A1:30T23-02T00 A2:30T23-02T00 A3:30T23-02T00");
		/* One row more is another file, also where its span is the same. */
		help_take(&h, "a.csv", arena_fmt(&h.arena, "%sA1,2026-10-02 08:00:00,test\n", text));
		assert_int_equal(help_number(&h, "SELECT count(*) FROM cover"), 6);
		/* Read in another zone it speaks for another span. */
		h.o.timezone = "Asia/Tokyo";
		help_take(&h, "b.csv", "account,time,event\nB1,2026-10-01 08:00:00,test\n");
		h.o.timezone = "UTC";
		help_take(&h, "b.csv", "account,time,event\nB1,2026-10-01 08:00:00,test\n");
		assert_int_equal(help_number(&h, "SELECT count(*) FROM cover"), 8);
		/* With every account of sites it says more than without. */
		help_take(&h, "c.csv", "account,time,event\nC1,2026-10-01 08:00:00,test\n");
		h.o.covers = COVERS_ALL;
		help_take(&h, "c.csv", "account,time,event\nC1,2026-10-01 08:00:00,test\n");
		assert_int_equal(help_number(&h, "SELECT count(*) FROM cover"), 10);
		help_take(&h, "c.csv", "account,time,event\nC1,2026-10-01 08:00:00,test\n");
		assert_int_equal(help_number(&h, "SELECT count(*) FROM cover"), 10);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM file"
		    " WHERE covers_all AND from_at IS NOT NULL"), 1);
		help_close(&h);
	}
}

static void
a_wrong_checksum_fails_the_file(void **state)
{
	struct help h;
	const char *path;
	struct stat st;
	char *bytes;
	FILE *f;

	(void)state;
	help_open(&h);
	path = help_gzip(&h, "a.csv.gz", traces(&h, "A", 20), 0);
	assert_int_equal(stat(path, &st), 0);
	bytes = arena_take(&h.arena, (size_t)st.st_size);
	f = fopen(path, "rb");
	assert_non_null(f);
	assert_int_equal(fread(bytes, 1, (size_t)st.st_size, f), st.st_size);
	fclose(f);
	bytes[st.st_size - 8] ^= 1;		/* CRC32, RFC 1952 section 2.3.1 */
	help_ingest(&h, help_bytes(&h, "b.csv.gz", bytes, (size_t)st.st_size), NULL);
	assert_string_equal(help_counts(&h, 0), "failed");
	assert_string_equal(help_sql(&h, everything), "0|0|0|0|0|0|0|0|0|0|0");
	help_close(&h);
}

static void
a_failed_list_leaves_nothing(void **state)
{
	const char *text = "account,device,zone,serial,name\n";
	struct help h;

	(void)state;
	help_open(&h);
	for (int i = 0; i < 3000; i++)
		text = arena_fmt(&h.arena, "%sA%d,contact,%d,S%06d,%d\n", text, i % 50, i, i * 7919 % 1000003,
		    i * 7907 % 65537);
	help_ingest(&h, help_gzip(&h, "roster.csv.gz", text, 40), NULL);
	assert_string_equal(help_counts(&h, 0), "failed");
	assert_string_equal(help_sql(&h, everything), "0|0|0|0|0|0|0|0|0|0|0");
	assert_int_equal(help_number(&h, "SELECT count(*) FROM roster"), 0);
	help_close(&h);
}

/* What cannot be opened, or tells no kind, is said and stops nobody else. */
static void
files_that_are_none(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	help_ingest(&h, help_file(&h, "empty.csv", ""), help_file(&h, "kind.csv", "a,b,c\n1,2,3\n"),
	    "/nowhere/at/all.csv", help_file(&h, "ok.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\n"), NULL);
	for (size_t i = 0; i < 3; i++) {
		assert_string_equal(help_counts(&h, i), "failed");
		assert_true(strlen(h.result.file[i].message) > 10);
	}
	assert_string_equal(help_counts(&h, 3), "1 1 0 0");
	assert_int_equal(help_number(&h, "SELECT count(*) FROM file"), 1);
	help_close(&h);
}

/* A folder is its files, lists before events, whatever their names. */
static void
a_folder_is_its_files(void **state)
{
	struct help h, sub;

	(void)state;
	help_open(&h);
	help_open(&sub);
	help_file(&sub, "a-events.csv", HEAD "A1,2026-07-01 08:00:00,arm,,\n");
	help_file(&sub, "z-sites.csv", "account,timezone\nA1,Europe/Vienna\n");
	help_file(&sub, ".hidden.csv", HEAD "A1,2026-07-01 09:00:00,arm,,\n");
	help_exec(sub.db, "PRAGMA journal_mode = DELETE");
	store_close(sub.s);
	sub.s = NULL;
	assert_int_equal(remove(sub.db), 0);
	help_ingest(&h, sub.dir, NULL);
	assert_int_equal(h.result.n_file, 2);
	assert_string_equal(help_counts(&h, 0), "1 1 0 0");
	assert_string_equal(help_sql(&h, "SELECT utc FROM event_log"), "2026-07-01T06:00:00Z");
	remove(arena_fmt(&h.arena, "%s/.hidden.csv", sub.dir));
	help_close(&sub);
	help_close(&h);
}

/* A store that lies in the folder it reads is no export, nor are the files beside it. */
static void
the_store_is_no_export(void **state)
{
	struct nightly_folder in;
	struct help h;
	struct err e;

	(void)state;
	help_open(&h);
	help_file(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\n");
	help_file(&h, "s.db.csv", HEAD "A2,2026-10-01 08:00:00,arm,,\n");
	help_ingest(&h, h.dir, NULL);
	assert_int_equal(h.result.n_file, 2);
	assert_string_equal(help_counts(&h, 0), "1 1 0 0");
	assert_string_equal(help_counts(&h, 1), "1 1 0 0");
	/* Named outright, it is said. */
	help_ingest(&h, h.db, arena_fmt(&h.arena, "%s-wal", h.db), help_file(&h, "b.csv",
	    HEAD "A1,2026-10-01 08:00:01,arm,,\n"), NULL);
	assert_string_equal(help_counts(&h, 0), "failed");
	assert_non_null(strstr(h.result.file[0].message, "the store itself"));
	assert_string_equal(help_counts(&h, 1), "failed");
	assert_string_equal(help_counts(&h, 2), "1 1 0 0");
	/* Nor does a night look at it. */
	assert_int_equal(nightly_files(h.s, h.dir, false, &h.arena, &in, &e), 0);
	assert_int_equal(in.n, 0);
	assert_int_equal(in.n_known, 3);
	help_close(&h);
}

/* A folder in a folder is not looked into, and nobody is left to believe that it was. */
static void
folders_inside_are_told(void **state)
{
	struct nightly_folder in;
	struct help h;
	struct err e;

	(void)state;
	help_open(&h);
	help_file(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\n");
	assert_int_equal(mkdir(arena_fmt(&h.arena, "%s/.hidden", h.dir), 0700), 0);
	help_ingest(&h, h.dir, NULL);
	assert_int_equal(h.result.inside.n, 0);
	assert_int_equal(mkdir(arena_fmt(&h.arena, "%s/south", h.dir), 0700), 0);
	help_file(&h, "south/b.csv", HEAD "A2,2026-10-01 08:00:00,arm,,\n");
	help_ingest(&h, h.dir, NULL);
	assert_int_equal(h.result.n_file, 1);
	assert_int_equal(h.result.inside.n, 1);
	assert_string_equal(ingest_inside_text(&h.arena, &h.result.inside), arena_fmt(&h.arena,
	    "The folder %s/south was not looked into: name it as well, if exports lie there.", h.dir));
	assert_int_equal(mkdir(arena_fmt(&h.arena, "%s/north", h.dir), 0700), 0);
	assert_int_equal(nightly_files(h.s, h.dir, false, &h.arena, &in, &e), 0);
	assert_int_equal(in.n, 0);
	assert_int_equal(in.inside.n, 2);
	assert_string_equal(in.inside.first, arena_fmt(&h.arena, "%s/north", h.dir));
	help_close(&h);
}

/* `check` reads the same way and leaves the store alone. */
static void
dry_stores_nothing(void **state)
{
	const char *path;
	struct help h;

	(void)state;
	help_open(&h);
	path = help_file(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\nA1,x,arm,,\n");
	h.o.dry = true;
	help_ingest(&h, path, path, NULL);
	assert_string_equal(help_counts(&h, 0), "2 1 0 1");
	assert_string_equal(help_counts(&h, 1), "2 0 1 1");
	assert_string_equal(help_sql(&h, everything), "0|0|0|0|0|0|0|0|0|0|0");
	help_close(&h);
}

/* ---- cover ------------------------------------------------------------------ */

static const struct { const char *what, *text, *span; } covered[] = {
	{ "from the first to the last time", HEAD
	  "A1,2026-10-03 08:00:00,arm,,\nA2,2026-10-01 08:00:00,arm,,\nA1,2026-10-02 08:00:00,arm,,\n",
	  "2026-10-01T08:00:00Z 2026-10-03T08:00:00Z" },
	{ "receipt goes before time", "account,time,event,received\n"
	  "A1,2026-10-03 08:00:00,arm,2026-10-03 09:00:00Z\nA1,2026-10-01 08:00:00,arm,2026-10-01 09:00:00\n",
	  "2026-10-01T09:00:00Z 2026-10-03T09:00:00Z" },
	{ "rows without receipt count by their time", "account,time,event,received\n"
	  "A1,2026-10-03 08:00:00,arm,\nA1,2026-10-01 08:00:00,arm,2026-10-01 09:00:00\n",
	  "2026-10-01T09:00:00Z 2026-10-03T08:00:00Z" },
	{ "a clock at 1970 does not count", HEAD
	  "A1,2026-10-01 08:00:00,arm,,\nA1,1970-01-01 00:00:10,arm,,\nA1,2026-10-02 08:00:00,arm,,\n",
	  "2026-10-01T08:00:00Z 2026-10-02T08:00:00Z" },
	{ "nor does one years ahead", HEAD
	  "A1,2026-10-01 08:00:00,arm,,\nA1,2036-01-01 00:00:10,arm,,\nA1,2026-10-02 08:00:00,arm,,\n",
	  "2026-10-01T08:00:00Z 2026-10-02T08:00:00Z" },
	{ "nor do many in a row at 1970", HEAD
	  "A1,2026-10-01 08:00:00,arm,,\nA1,2026-10-01 09:00:00,arm,,\nA1,2026-10-01 10:00:00,arm,,\n"
	  "A1,2026-10-01 11:00:00,arm,,\nA1,2026-10-01 12:00:00,arm,,\nA1,2026-10-02 08:00:00,arm,,\n"
	  "A1,1970-01-01 00:00:10,arm,,\nA1,1970-01-01 00:01:10,arm,,\nA1,1970-01-01 00:02:10,arm,,\n"
	  "A1,1970-01-01 00:03:10,arm,,\nA1,1970-01-01 00:04:10,arm,,\n",
	  "2026-10-01T08:00:00Z 2026-10-02T08:00:00Z" },
	{ "nor do many in a row at 2000", HEAD
	  "A1,2026-10-01 08:00:00,arm,,\nA1,2026-10-01 09:00:00,arm,,\nA1,2026-10-01 10:00:00,arm,,\n"
	  "A1,2026-10-01 11:00:00,arm,,\nA1,2026-10-01 12:00:00,arm,,\n"
	  "A1,2000-01-01 00:00:10,arm,,\nA1,2000-01-01 00:01:10,arm,,\nA1,2000-01-01 00:02:10,arm,,\n"
	  "A1,2000-01-01 00:03:10,arm,,\nA1,2026-10-02 08:00:00,arm,,\n",
	  "2026-10-01T08:00:00Z 2026-10-02T08:00:00Z" },
	{ "a reset clock with a receipt counts by that", "account,time,event,received\n"
	  "A1,2026-10-01 08:00:00,arm,\nA1,1970-01-01 00:00:10,arm,2026-10-04 00:00:00Z\n",
	  "2026-10-01T08:00:00Z 2026-10-04T00:00:00Z" },
	{ "nothing but rows set aside", HEAD "A1,x,arm,,\n", " " },
	{ "no rows", HEAD, " " },
};

static const char *
span_of_file(struct help *h)
{
	char from[CIVIL_TEXT], to[CIVIL_TEXT];

	return arena_fmt(&h->arena, "%s %s", civil_rfc3339(h->result.file[0].from, from),
	    civil_rfc3339(h->result.file[0].to, to));
}

static void
cover_is_the_span_of_trusted_times(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof covered / sizeof *covered; i++) {
		struct help h;

		help_open(&h);
		print_message("%s\n", covered[i].what);
		help_take(&h, "a.csv", covered[i].text);
		assert_string_equal(span_of_file(&h), covered[i].span);
		assert_int_equal(help_number(&h, "SELECT from_at IS %s FROM file",
		    h.result.file[0].from == NO_TIME ? "NULL"
		    : arena_fmt(&h.arena, "%lld", (long long)h.result.file[0].from)), 1);
		help_close(&h);
	}
}

/* Years ahead, more than a few rows in a row, under and at a tenth of the file's rows;
 * the first two of them are not even believed. */
static void
a_clock_years_ahead(void **state)
{
	static const struct { int rows; const char *span; } way[] = {
		{ 37, "2026-10-01T08:00:00Z 2026-10-01T08:36:00Z" },
		{ 36, "2026-10-01T08:00:00Z 2036-01-01T00:05:00Z" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof way / sizeof *way; i++) {
		const char *text = HEAD;
		struct help h;

		help_open(&h);
		for (int k = 0; k < way[i].rows; k++) {
			for (int m = 0; k == 20 && m < 6; m++)
				text = arena_fmt(&h.arena, "%sA2,2036-01-01 00:0%d:00,trip,1,\n", text, m);
			text = arena_fmt(&h.arena, "%sA1,2026-10-01 08:%02d:00,trip,1,\n", text, k);
		}
		help_take(&h, "a.csv", text);
		assert_string_equal(span_of_file(&h), way[i].span);
		help_close(&h);
	}
}

/* Who is spoken for: rows, all of sites, all in a stated span. */
static void
whom_a_file_covers(void **state)
{
	static const char rows[] = HEAD "A1,2026-10-01 08:00:00,arm,,\nA1,2026-10-02 08:00:00,arm,,\n";
	struct help h;

	(void)state;
	for (int i = 0; i < 3; i++) {
		static const char *const want[] = {
			"A1|1790841600000|1790928000000",
			"A1|1790841600000|1790928000000\nA2|1790841600000|1790928000000",
			"A1|1790726400000|1790899200000\nA2|1790726400000|1790899200000" };

		help_open(&h);
		h.o.covers = (enum covers)i;
		h.o.covers_from = INT64_C(1790726400000);	/* 2026-09-30 */
		h.o.covers_to = INT64_C(1790899200000);		/* 2026-10-02 */
		help_take(&h, "sites.csv", "account,timezone\nA1,UTC\nA2,UTC\n");
		help_take(&h, "a.csv", rows);
		assert_string_equal(help_sql(&h, "SELECT DISTINCT a.account, c.from_at, c.to_at FROM"
		    " account_span c JOIN account a ON a.id = c.account ORDER BY 1"), want[i]);
		help_close(&h);
	}
}

/* Sites that come after the events move their instants, and with them the span. */
static void
sites_after_events(void **state)
{
	static const struct { enum covers covers; const char *span; } way[] = {
		{ COVERS_ROWS, "2026-07-01T06:00:00Z 2026-07-02T06:00:00Z" },
		{ COVERS_ALL, "2026-07-01T06:00:00Z 2026-07-02T06:00:00Z" },
		/* A span that was stated stays as it was stated. */
		{ COVERS_SPAN, "2026-07-01T12:00:00Z 2026-07-01T13:00:00Z" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof way / sizeof *way; i++) {
		for (size_t batch = 0; batch < 2; batch++) {
			struct help h;
			const char *now;

			help_open(&h);
			h.o.covers = way[i].covers;
			h.o.covers_from = help_number(&h, "SELECT unixepoch('2026-07-01 12:00') * 1000");
			h.o.covers_to = help_number(&h, "SELECT unixepoch('2026-07-01 13:00') * 1000");
			h.o.batch = batch;
			help_take(&h, "a.csv", HEAD "A1,2026-07-01 08:00:00,arm,,\nA1,2026-07-02 08:00:00,arm,,\n");
			help_take(&h, "sites.csv", "account,timezone\nA1,Europe/Vienna\n");
			assert_string_equal(help_sql(&h, "SELECT group_concat(utc, ' ') FROM event_log"),
			    "2026-07-01T06:00:00Z 2026-07-02T06:00:00Z");
			now = help_sql(&h, "SELECT strftime('%%Y-%%m-%%dT%%H:%%M:%%SZ', from_at / 1000,"
			    " 'unixepoch') || ' ' || strftime('%%Y-%%m-%%dT%%H:%%M:%%SZ', to_at / 1000, 'unixepoch') FROM file WHERE kind = 'events'");
			assert_string_equal(now, way[i].span);
			assert_int_equal(help_number(&h, "SELECT count(*) FROM due"), 1);
			help_close(&h);
		}
	}
}

/* A reset clock's stand-in moves with the rows around it. */
static void
sites_after_a_reset_clock(void **state)
{
	struct help h, first;

	(void)state;
	static const char rows[] = HEAD "A1,2026-07-01 08:00:00,arm,,\nA1,1970-01-01 00:00:05,trip,1,\n"
	    "A1,2026-07-01 09:00:00,disarm,,\n";
	static const char sites[] = "account,timezone\nA1,Europe/Vienna\n";

	help_open(&h);
	help_open(&first);
	help_take(&h, "a.csv", rows);
	help_take(&h, "sites.csv", sites);
	help_take(&first, "sites.csv", sites);
	help_take(&first, "a.csv", rows);
	assert_string_equal(help_dump(&h), help_dump(&first));
	assert_string_equal(help_sql(&h, "SELECT utc, marks FROM event_log WHERE event = 'trip'"),
	    "2026-07-01T06:00:00Z|clock-reset");
	help_close(&h);
	help_close(&first);
}

/* ---- notes ------------------------------------------------------------------ */

static void
the_zone_is_said_where_it_was_guessed(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	h.o.timezone = "Europe/Vienna";
	help_take(&h, "sites.csv", "account,timezone\nA1,Europe/Vienna\n");
	/* Known from sites, though it is the same zone; then with an offset; then guessed. */
	help_take(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,,\n");
	assert_string_equal(h.result.file[0].note, "");
	help_take(&h, "b.csv", HEAD "A2,2026-10-01 08:00:00Z,arm,,\n");
	assert_string_equal(h.result.file[0].note, "");
	help_take(&h, "c.csv", HEAD "A2,2026-10-01 08:00:00,arm,,\n");
	assert_non_null(strstr(h.result.file[0].note, "Europe/Vienna"));
	help_take(&h, "d.csv", "account,time,event,colour\nA1,2026-10-01 08:00:00,arm,red\n");
	assert_non_null(strstr(h.result.file[0].note, "colour"));
	help_close(&h);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_row_is_accounted_for),
		cmocka_unit_test(every_kind_counts_its_rows),
		cmocka_unit_test(set_aside_rows_are_kept_whole_and_once),
		cmocka_unit_test(asides_of_a_second_reading),
		cmocka_unit_test(a_failed_file_leaves_nothing),
		cmocka_unit_test(accounts_of_a_failed_file_are_known_again),
		cmocka_unit_test(the_same_file_speaks_once),
		cmocka_unit_test(a_wrong_checksum_fails_the_file),
		cmocka_unit_test(a_failed_list_leaves_nothing),
		cmocka_unit_test(files_that_are_none),
		cmocka_unit_test(a_folder_is_its_files),
		cmocka_unit_test(the_store_is_no_export),
		cmocka_unit_test(folders_inside_are_told),
		cmocka_unit_test(dry_stores_nothing),
		cmocka_unit_test(cover_is_the_span_of_trusted_times),
		cmocka_unit_test(a_clock_years_ahead),
		cmocka_unit_test(whom_a_file_covers),
		cmocka_unit_test(sites_after_events),
		cmocka_unit_test(sites_after_a_reset_clock),
		cmocka_unit_test(the_zone_is_said_where_it_was_guessed),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
