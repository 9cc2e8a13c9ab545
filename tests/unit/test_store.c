/* test_store.c - opening a store, what is refused, who may read while another writes, and
 * what it tells of itself. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/derive.h"
#include "daemon/store/schema.h"
#include "daemon/store/write.h"
#include "rules/view.h"
#include "tests/unit/help_store.h"

#define HEAD "account,time,event,zone\n"

static int
mode_of(const char *path)
{
	struct stat st;

	return stat(path, &st) == 0 ? (int)(st.st_mode & 0777) : -1;
}

/* ---- opening ---------------------------------------------------------------- */

static void
made_for_its_owner_alone(void **state)
{
	/* As main() has it, then as with --group; never for all, whatever the umask. */
	static const struct { mode_t mask; int mode; } as[] = { { 007, 0660 }, { 0, 0660 },
	    { 077, 0600 } };
	struct help h;

	(void)state;
	for (size_t i = 0; i < 3; i++) {
		mode_t mask = umask(as[i].mask);

		help_open(&h);
		help_take(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,\n");
		assert_int_equal(mode_of(h.db), as[i].mode);
		assert_int_equal(mode_of(arena_fmt(&h.arena, "%s-wal", h.db)), as[i].mode);
		assert_int_equal(mode_of(arena_fmt(&h.arena, "%s-shm", h.db)), as[i].mode);
		umask(mask);
		if (i < 2)
			help_close(&h);
	}
	assert_string_equal(help_sql(&h, "PRAGMA journal_mode"), "wal");
	assert_int_equal(help_number(&h, "PRAGMA application_id"), STORE_APPLICATION_ID);
	assert_int_equal(help_number(&h, "PRAGMA user_version"), STORE_SCHEMA);
	assert_string_equal(help_sql(&h, "PRAGMA integrity_check"), "ok");
	help_close(&h);
}

static void
made_only_when_asked_for(void **state)
{
	struct help h;
	struct store *s;
	struct err e;
	bool made = true;
	const char *none, *empty;

	(void)state;
	help_open(&h);
	none = arena_fmt(&h.arena, "%s/none.db", h.dir);
	assert_null(store_open(none, STORE_READ, &made, &e));
	assert_false(made);
	assert_non_null(strstr(e.text, "none.db"));
	assert_null(store_open(none, STORE_WRITE, NULL, &e));
	assert_int_equal(mode_of(none), -1);
	/* An empty file is no store either, until one is to be made of it. */
	empty = help_file(&h, "empty.db", "");
	assert_null(store_open(empty, STORE_READ, NULL, &e));
	assert_null(store_open(empty, STORE_WRITE, NULL, &e));
	s = store_open(empty, STORE_CREATE, &made, &e);
	assert_non_null(s);
	assert_true(made);
	assert_string_equal(store_path(s) + strlen(store_path(s)) - 8, "empty.db");
	store_close(s);
	/* There already. */
	made = true;
	s = store_open(empty, STORE_CREATE, &made, &e);
	assert_non_null(s);
	assert_false(made);
	store_close(s);
	assert_null(store_open("/nowhere/at/all/s.db", STORE_CREATE, &made, &e));
	help_close(&h);
}

static void *
open_and_close(void *path)
{
	struct err e;
	struct store *s = store_open(path, STORE_CREATE, NULL, &e);

	if (!s)
		return strdup(e.text);
	store_close(s);
	return NULL;
}

/* Several that want to make the same store at once all have it in the end. */
static void
made_by_several_at_once(void **state)
{
	enum { N = 4, ROUNDS = 5 };
	struct help h;

	(void)state;
	help_open(&h);
	for (int round = 0; round < ROUNDS; round++) {
		char *path = arena_fmt(&h.arena, "%s/%d.db", h.dir, round);
		pthread_t thread[N];
		void *fault;

		for (int i = 0; i < N; i++)
			assert_int_equal(pthread_create(&thread[i], NULL, open_and_close, path), 0);
		for (int i = 0; i < N; i++) {
			assert_int_equal(pthread_join(thread[i], &fault), 0);
			if (fault)
				fail_msg("%s", (char *)fault);
		}
	}
	help_close(&h);
}

/* What is no store of ours is left exactly as it was. */
static void
others_are_left_alone(void **state)
{
	static const struct { const char *name, *sql, *says; } other[] = {
		{ "foreign.db", "CREATE TABLE t(x); INSERT INTO t VALUES(1)", "another program" },
		{ "marked.db", "PRAGMA application_id = 12345", "another program" },
		{ "newer.db", "PRAGMA application_id = 1416840820; PRAGMA user_version = 1000;"
		  " CREATE TABLE t(x)", "newer" },
		{ "text.db", NULL, "not a" },
	};
	static const enum store_mode modes[] = { STORE_READ, STORE_WRITE, STORE_CREATE };
	struct help h;

	(void)state;
	assert_int_equal(STORE_APPLICATION_ID, 1416840820);
	help_open(&h);
	for (size_t i = 0; i < sizeof other / sizeof *other; i++) {
		const char *path = arena_fmt(&h.arena, "%s/%s", h.dir, other[i].name), *copy;
		char before[8192], after[8192];
		size_t n;
		FILE *f;

		print_message("%s\n", other[i].name);
		if (other[i].sql)
			help_exec(path, other[i].sql);
		else
			help_file(&h, other[i].name, "account,time,event\nA1,2026-10-01 08:00:00,arm\n");
		f = fopen(path, "rb");
		n = fread(before, 1, sizeof before, f);
		fclose(f);
		for (size_t m = 0; m < 3; m++) {
			struct err e;
			bool made = true;

			assert_null(store_open(path, modes[m], &made, &e));
			assert_int_equal(e.code, ERR_STORE);
			assert_false(made);
			assert_non_null(strstr(e.text, other[i].says));
		}
		f = fopen(path, "rb");
		assert_int_equal(fread(after, 1, sizeof after, f), n);
		fclose(f);
		assert_memory_equal(before, after, n);
		copy = arena_fmt(&h.arena, "%s-wal", path);
		assert_int_equal(mode_of(copy), -1);
	}
	for (size_t m = 0; m < 3; m++) {
		struct err e;

		assert_null(store_open(h.dir, modes[m], NULL, &e));
		assert_int_equal(e.code, ERR_STORE);
	}
	help_close(&h);
}

static void
defensive(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	/* All tables are STRICT, and say what they hold. */
	assert_string_equal(help_sql(&h, "SELECT name FROM pragma_table_list WHERE schema = 'main'"
	    " AND type = 'table' AND name NOT LIKE 'sqlite%%' AND NOT strict"), "");
	help_close(&h);
}

/* ---- two handles ------------------------------------------------------------- */

static void
readers_read_while_another_writes(void **state)
{
	struct help h;
	struct store *reader;
	struct arena a = { 0 };
	struct store_status st;
	struct err e;
	struct view v;

	(void)state;
	help_open(&h);
	help_take(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,\n");
	help_judged(&h, false);
	assert_int_equal(store_begin(h.s, &e), 0);
	reader = store_open(h.db, STORE_READ, NULL, &e);
	assert_non_null(reader);
	assert_int_equal(store_status(reader, &a, &st, &e), 0);
	assert_int_equal(st.events, 1);
	assert_string_equal(st.journal, "wal");
	assert_int_equal(store_view(reader, "A1", NO_TIME, &v, &e), 0);
	assert_int_equal(v.n_event, 1);
	view_release(&v);
	store_abort(h.s);
	/* A reader cannot write, whatever it is asked. */
	assert_int_equal(store_decide(reader, "nosuch1", "seen", "mk", NO_TIME, "", 0, &e), -1);
	store_close(reader);
	arena_release(&a);
	help_close(&h);
}

/* Two ingests one after the other, through two handles: each knows what the other did. */
static void
two_handles_one_after_the_other(void **state)
{
	static const char rows[] = HEAD "A1,2026-10-01 08:00:00,zone-open,1\n";
	struct help h;
	struct store *first, *second;
	struct err e;

	(void)state;
	help_open(&h);
	first = h.s;
	second = store_open(h.db, STORE_WRITE, NULL, &e);
	assert_non_null(second);
	help_take(&h, "a.csv", rows);
	h.s = second;
	help_take(&h, "b.csv", HEAD "A1,2026-10-01 08:00:00,zone-open,1\nA1,2026-10-01 08:00:01,E131,2\n");
	assert_string_equal(help_counts(&h, 0), "2 1 1 0");
	h.s = first;
	help_take(&h, "c.csv", HEAD "A1,2026-10-01 08:00:01,E131,2\nA1,2026-10-01 08:00:02,trip,3\n");
	assert_string_equal(help_counts(&h, 0), "2 1 1 0");
	assert_string_equal(help_sql(&h, "SELECT event, zone FROM event_log ORDER BY time"),
	    "zone-open|1\nE131|2\ntrip|3");
	store_close(second);
	help_close(&h);
}

/* What a writer remembers of accounts and cells is worth nothing once another has taken
 * files in: it must say so, and leave its own file whole outside. */
static void
two_writers_at_once(void **state)
{
	struct write_options o = { .derive = derive_time };
	struct piece piece = { .file = 1, .begins = true, .ends = true, .name = "x", .place = "x",
	    .header = "", .ignored = "", .separator = ',', .from = NO_TIME, .to = NO_TIME,
	    .sure_from = NO_TIME, .sure_to = NO_TIME };
	struct cell_list *cells;
	struct batch b = { .piece = &piece, .n_piece = 1 };
	struct help h;
	struct store *other;
	struct writer *w;
	struct err e;

	(void)state;
	help_open(&h);
	cells = arena_take(&h.arena, sizeof *cells);
	other = store_open(h.db, STORE_WRITE, NULL, &e);
	assert_non_null(other);
	w = writer_open(other, &o, &e);
	assert_non_null(w);
	assert_int_equal(writer_cells(w, &h.arena, cells, &e), 0);
	assert_int_equal(writer_take(w, &b, cells, &e), 0);
	piece.file = 2;
	assert_int_equal(writer_take(w, &b, cells, &e), 0);
	help_take(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,zone-open,1\n");
	piece.file = 3;
	assert_int_equal(writer_take(w, &b, cells, &e), -1);
	assert_non_null(strstr(e.text, "another process"));
	assert_int_equal(help_number(&h, "SELECT count(*) FROM file"), 3);
	writer_close(w);
	/* Run again, it goes. */
	w = writer_open(other, &o, &e);
	assert_non_null(w);
	assert_int_equal(writer_take(w, &b, cells, &e), 0);
	writer_close(w);
	store_close(other);
	help_close(&h);
}

/* ---- accounts ----------------------------------------------------------------- */

static void
identity(void **state)
{
	struct arena a = { 0 };
	struct account_info *list;
	const char **twin;
	size_t n;
	struct err e;
	struct view v;
	struct help h;

	(void)state;
	help_open(&h);
	help_take(&h, "a.csv", "account,time,event,receiver,line\n"
	    "42,2026-10-01 08:00:00,arm,,\n0042,2026-10-01 08:00:00,arm,,\n042,2026-10-01 08:00:00,arm,,\n"
	    "b7,2026-10-01 08:00:00,arm,R1,1\nB7,2026-10-01 08:00:01,arm,r1,1\nB7,2026-10-01 08:00:02,arm,R1,2\n"
	    "C1,2026-10-01 08:00:00,arm,R1,\n0,2026-10-01 08:00:00,arm,,\n00,2026-10-01 08:00:00,arm,,\n"
	    "D1,2026-10-01 08:00:00,arm,R1,1\nD1,2026-10-01 08:00:00,arm,,\n"
	    "E@1,2026-10-01 08:00:00,arm,R@2,3\nE,2026-10-01 08:00:00,arm,R,\n");
	assert_int_equal(store_accounts(h.s, &a, &list, &n, &e), 0);
	assert_int_equal(n, 12);
	assert_int_equal(store_twins(h.s, &a, &twin, &n, &e), 0);
	assert_int_equal(n, 4);		/* three spellings of 42, two of 0 */
	for (size_t i = 0; i < n; i++)
		assert_true(strcmp(twin[2 * i], twin[2 * i + 1]) != 0 &&
		    (strchr(twin[2 * i], '4') != NULL) == (strchr(twin[2 * i + 1], '4') != NULL));

	/* Letter case aside; the receiver need not be said where there is only one. */
	assert_int_equal(store_view(h.s, "c1", NO_TIME, &v, &e), 0);
	assert_string_equal(v.account, "C1");
	view_release(&v);
	assert_int_equal(store_view(h.s, "C1@r1/", NO_TIME, &v, &e), 0);
	view_release(&v);
	assert_int_equal(store_view(h.s, "B7", NO_TIME, &v, &e), -1);
	assert_int_equal(e.code, ERR_USAGE);
	assert_non_null(strstr(e.text, "b7@R1/1"));
	assert_non_null(strstr(e.text, "B7@R1/2"));
	assert_int_equal(store_view(h.s, "B7@R1/1", NO_TIME, &v, &e), 0);
	assert_int_equal(v.n_event, 2);
	assert_string_equal(v.account, "b7@R1/1");
	view_release(&v);
	/* One with events on a line and one with events on none: both can be had. */
	assert_int_equal(store_view(h.s, "D1", NO_TIME, &v, &e), -1);
	assert_non_null(strstr(e.text, "D1@R1/1"));
	assert_non_null(strstr(e.text, "D1@/"));
	assert_int_equal(store_view(h.s, "D1@/", NO_TIME, &v, &e), 0);
	assert_string_equal(v.receiver, "");
	view_release(&v);
	/* Wherever the sign stands: in the account, the receiver, or between them. */
	for (size_t i = 0; i < 3; i++) {
		static const char *const text[] = { "e@1", "E@1@r@2/3", "E@R/" };

		assert_int_equal(store_view(h.s, text[i], NO_TIME, &v, &e), 0);
		assert_int_equal(v.n_event, 1);
		view_release(&v);
	}
	assert_int_equal(store_view(h.s, "E@1@r@2", NO_TIME, &v, &e), -1);
	/* Near ones are named. */
	assert_int_equal(store_view(h.s, "00042", NO_TIME, &v, &e), -1);
	assert_int_equal(e.code, ERR_USAGE);
	assert_non_null(strstr(e.text, "0042"));
	arena_release(&a);
	help_close(&h);
}

/* The row that sites makes for an account gives way to the one an export names. */
static void
sites_and_receivers(void **state)
{
	struct help h;
	struct view v;
	struct err e;
	bool skip;

	(void)state;
	help_open(&h);
	help_take(&h, "sites.csv", "account,timezone,name\nA1,Europe/Vienna,Mill\n");
	help_take(&h, "a.csv", "account,time,event,receiver,line\nA1,2026-07-01 08:00:00,arm,R1,2\n");
	assert_int_equal(store_view(h.s, "A1", NO_TIME, &v, &e), 0);
	assert_int_equal(v.n_event, 1);
	assert_string_equal(v.receiver, "R1");
	assert_string_equal(v.name, "Mill");
	assert_int_equal(v.event[0].offset, 7200);
	view_release(&v);
	/* Nor is it judged beside that one, also where a file speaks for all of sites. */
	help_judged(&h, false);
	h.o.covers = COVERS_ALL;
	help_take(&h, "b.csv", HEAD "A2,2026-07-02 08:00:00,arm,\n");
	assert_int_equal(store_view_judge(h.s, help_number(&h, "SELECT id FROM account WHERE receiver = ''"
	    " AND account = 'A1'"), NO_TIME, &v, &skip, &e), 0);
	assert_true(skip);
	view_release(&v);
	assert_int_equal(store_view_judge(h.s, help_number(&h, "SELECT id FROM account WHERE receiver = 'R1'"),
	    NO_TIME, &v, &skip, &e), 0);
	assert_false(skip);
	view_release(&v);
	help_close(&h);
}

static void
not_in_the_exports(void **state)
{
	struct help h;
	struct arena a = { 0 };
	struct account_info *list;
	struct err e;
	size_t n;

	(void)state;
	help_open(&h);
	help_take(&h, "sites.csv", "account,timezone,was\nA1,UTC,\nA2,UTC,\nA3,UTC,\nA4,UTC,\n"
	    "OLD,UTC,\nN1,UTC,old\n");
	help_take(&h, "a.csv", HEAD "A1,2026-10-10 08:00:00,arm,\n");
	help_take(&h, "b.csv", HEAD "A2,2026-10-07 08:00:00,arm,\n");	/* three days before */
	help_take(&h, "c.csv", HEAD "A3,2026-10-07 07:59:59,arm,\n");	/* and a second */
	assert_int_equal(store_uncovered(h.s, &a, &list, &n, &e), 0);
	assert_int_equal(n, 3);	/* a former name is none of them */
	assert_string_equal(list[0].account, "A3");
	assert_string_equal(list[1].account, "A4");
	assert_string_equal(list[2].account, "N1");
	assert_int_equal(list[1].cover_to, NO_TIME);
	arena_release(&a);
	help_close(&h);
}

/* ---- event_log, status ---------------------------------------------------------- */

static int
count_rows(void *ctx, const struct log_row *row)
{
	++*(int *)ctx;
	assert_string_equal(row->account, "A1");
	return 0;
}

static void
the_log_of_one_account(void **state)
{
	struct help h;
	struct err e;
	int n = 0;

	(void)state;
	help_open(&h);
	help_take(&h, "a.csv", "account,time,event,zone,partition,serial,user,text,received,signal\n"
	    "A1,2026-10-01T08:00:00.250+02:00,E131,007,1,4a-01,03,\"a, \"\"b\"\"\",2026-10-01 08:00:01,-70 dBm\n"
	    "A1,2026-10-01 09:00:00-00:30,R131,7,,,,,,\nA2,2026-10-01 08:00:00,arm,,,,,,,\n");
	assert_int_equal(store_event_log(h.s, "a1", count_rows, &n, &e), 0);
	assert_int_equal(n, 2);
	assert_string_equal(help_sql(&h, "SELECT account, utc, time, event, word, partition, zone, serial,"
	    " user, text, received, signal, line FROM event_log WHERE account = 'A1' ORDER BY line"),
	    "A1|2026-10-01T06:00:00.250Z|2026-10-01 08:00:00.250+02:00|E131|burglary-alarm|1|007|4a-01|03|"
	    "a, \"b\"|2026-10-01 08:00:01|-70 dBm|2\n"
	    "A1|2026-10-01T09:30:00Z|2026-10-01 09:00:00-00:30|R131|alarm-restore||7||-|-|-|-|3");
	help_close(&h);
}

static void
status_adds_up(void **state)
{
	struct help h;
	struct arena a = { 0 };
	struct store_status st;
	struct err e;

	(void)state;
	help_open(&h);
	help_take(&h, "sites.csv", "account,timezone\nA1,UTC\nA2,Europe/Nowhere\n");
	help_take(&h, "a.csv", HEAD "A1,2026-10-01 08:00:00,arm,\nA1,x,arm,\nA1,2026-10-01 09:00:00,arm,\n");
	help_take(&h, "b.csv", HEAD "A1,2026-10-01 08:00:00,arm,\n");
	assert_int_equal(store_status(h.s, &a, &st, &e), 0);
	assert_int_equal(st.rows, 6);
	assert_int_equal(st.rows, st.stored + st.repeated + st.set_aside);
	assert_int_equal(st.stored, 3);
	assert_int_equal(st.repeated, 1);
	assert_int_equal(st.set_aside, 2);
	assert_int_equal(st.events, 2);
	assert_int_equal(st.files, 3);
	assert_int_equal(st.due, 1);
	assert_int_equal(st.cover_from, help_number(&h, "SELECT unixepoch('2026-10-01 08:00') * 1000"));
	assert_int_equal(st.cover_to, help_number(&h, "SELECT unixepoch('2026-10-01 09:00') * 1000"));
	help_judged(&h, false);
	assert_int_equal(store_status(h.s, &a, &st, &e), 0);
	assert_int_equal(st.due, 0);
	arena_release(&a);
	help_close(&h);
}

/* ---- free texts ------------------------------------------------------------------ */

static void
a_text_met_twice_becomes_a_phrase(void **state)
{
	char edge[258], beyond[258];
	struct help h;
	const char *text;

	(void)state;
	memset(edge, 'e', sizeof edge);
	memset(beyond, 'b', sizeof beyond);
	edge[256] = beyond[257] = '\0';
	help_open(&h);
	text = "account,time,event,text\n";
	for (int i = 0; i < 3; i++)
		text = arena_fmt(&h.arena, "%sA1,2026-10-01 08:00:0%d,arm,often\nA1,2026-10-01 08:01:0%d,arm,%s\n"
		    "A1,2026-10-01 08:02:0%d,arm,%s\nA1,2026-10-01 08:03:0%d,arm,once %d\n", text, i, i, edge, i,
		    beyond, i, i);
	help_take(&h, "a.csv", text);
	assert_string_equal(help_sql(&h, "SELECT substr(text, 1, 5), length(text) FROM phrase ORDER BY 1"),
	    "eeeee|256\noften|5");
	assert_string_equal(help_sql(&h, "SELECT length(text), count(*) FROM event_log GROUP BY text"
	    " ORDER BY 1, text"), "5|3\n6|1\n6|1\n6|1\n256|3\n257|3");
	/* Known to the next run too. */
	help_reopen(&h);
	help_take(&h, "b.csv", "account,time,event,text\nA1,2026-10-02 08:00:00,arm,often\n");
	assert_int_equal(help_number(&h, "SELECT count(*) FROM phrase"), 2);
	assert_string_equal(help_sql(&h, "SELECT text FROM event_log WHERE time > '2026-10-02'"), "often");
	help_close(&h);
}

static long
resident_kib(void)
{
	char line[128];
	long kib = 0;
	FILE *f = fopen("/proc/self/status", "r");

	while (f && fgets(line, sizeof line, f))
		if (sscanf(line, "VmRSS: %ld", &kib) == 1)
			break;
	if (f)
		fclose(f);
	return kib;
}

static void
texts_that_never_repeat(void **state)
{
	enum { N = 200000 };
	struct help h;
	long before;
	const char *path;
	FILE *f;

	(void)state;
	help_open(&h);
	path = help_file(&h, "a.csv", "");
	f = fopen(path, "w");
	assert_non_null(f);
	fputs("account,time,event,text\n", f);
	for (int i = 0; i < N; i++)
		fprintf(f, "A%d,2026-10-%02d %02d:%02d:%02d,arm,text number %d that nobody wrote before or after\n",
		    i % 100, 1 + i / 86400, i / 3600 % 24, i / 60 % 60, i % 60, i);
	fclose(f);
	h.o.batch = 20000;
	help_take(&h, "small.csv", "account,time,event,text\nA1,2026-10-01 08:00:00,arm,x\n");
	before = resident_kib();
	help_ingest(&h, path, NULL);
	assert_string_equal(help_counts(&h, 0), arena_fmt(&h.arena, "%d %d 0 0", N, N));
	/* Far from one for each text; two texts of one hash are the only way in. */
	assert_in_range(help_number(&h, "SELECT count(*) FROM phrase"), 0, 20);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM event_log WHERE text LIKE 'text number %%'"), N);
#ifndef __SANITIZE_ADDRESS__
	assert_in_range(resident_kib() - before, 0, 120 * 1024);
#else
	(void)before;
#endif
	help_close(&h);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(made_for_its_owner_alone),
		cmocka_unit_test(made_only_when_asked_for),
		cmocka_unit_test(made_by_several_at_once),
		cmocka_unit_test(others_are_left_alone),
		cmocka_unit_test(defensive),
		cmocka_unit_test(readers_read_while_another_writes),
		cmocka_unit_test(two_handles_one_after_the_other),
		cmocka_unit_test(two_writers_at_once),
		cmocka_unit_test(identity),
		cmocka_unit_test(sites_and_receivers),
		cmocka_unit_test(not_in_the_exports),
		cmocka_unit_test(the_log_of_one_account),
		cmocka_unit_test(status_adds_up),
		cmocka_unit_test(a_text_met_twice_becomes_a_phrase),
		cmocka_unit_test(texts_that_never_repeat),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
