/* test_expire.c - what is removed because of its age, and what never is. The limits are
 * our own. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/retain.h"
#include "rules/override.h"
#include "rules/view.h"
#include "tests/unit/help_store.h"
#include "tests/unit/help_view.h"

#define HEAD "account,time,event,zone\n"
/* Far after everything, so that the end of cover counts. */
#define LATE "2035-01-01"

static struct removed
expire(struct help *h, const char *now, int days, bool dry)
{
	struct expire_options o = { .now = help_time(now), .days = days, .dry = dry };
	struct removed r;
	struct err e;

	if (expire_events(h->s, &o, &r, &e))
		fail_msg("%s", e.text);
	return r;
}

/* "10-01 08:00 arm 0, ...": what the store holds of the account. */
static const char *
holds(struct help *h, const char *account)
{
	return help_sql(h, "SELECT group_concat(substr(utc, 1, 16) || ' ' || word || ' ' || zone, ', ')"
	    " FROM (SELECT * FROM event_log WHERE account = '%s' ORDER BY utc, file, line)", account);
}

/* 400 days before 2026-10-01 08:00 is 2025-08-27 08:00, a Wednesday; whole weeks begin on
 * Thursdays, as 1970-01-01 was one. */
static void
the_horizon_is_a_whole_week(void **state)
{
	static const struct { const char *wall; int days, before, n; const char *from; } table[] = {
		{ LATE, 400, 0, 1, "2025-08-21T00:00:00Z" },
		{ LATE, 399, 1, 2, "2025-08-28T00:00:00Z" },
		{ LATE, 0, 0, 0, "" },
		/* Where the wall clock is behind, it counts. */
		{ "2026-09-25T08:00:00Z", 400, 0, 1, "2025-08-21T00:00:00Z" },
		{ "2026-09-24T23:59:59Z", 400, 0, 0, "2025-08-14T00:00:00Z" },
		{ "1971-01-01", 400, 0, 0, "1969-11-27T00:00:00Z" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		char text[CIVIL_TEXT];
		struct help h;
		int64_t from;

		help_open(&h);
		help_events(&h, "a.csv", "A1,2025-08-20T23:59:59.999Z,trip,1\nA1,2025-08-20T23:59:58Z,clear,1\n"
		    "A1,2025-08-20T23:59:57Z,trip,1\nA1,2025-08-21T00:00:00Z,trip,1\n");
		help_events(&h, "now.csv", "A1,2026-10-01T08:00:00Z,test,1\n");
		print_message("%zu\n", i);
		/* trip at :57 is first and not last: it stays as what was first heard. */
		assert_int_equal(expire(&h, table[i].wall, table[i].days, true).n, table[i].before);
		/* Only an earlier one takes that from it. */
		help_events(&h, "b.csv", "A1,2025-08-20T23:59:56Z,trip,1\n");
		assert_int_equal(expire(&h, table[i].wall, table[i].days, true).n, table[i].n);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM removal"), 0);
		assert_int_equal(help_number(&h, "SELECT kept_from IS NULL FROM account"), 1);
		assert_int_equal(expire(&h, table[i].wall, table[i].days, false).n, table[i].n);
		from = help_number(&h, "SELECT coalesce(kept_from, %lld) FROM account", (long long)NO_TIME);
		assert_string_equal(civil_rfc3339(from, text), table[i].from);
		assert_int_equal(help_number(&h, "SELECT coalesce(sum(n), 0) FROM removal"), table[i].n);
		assert_int_equal(expire(&h, table[i].wall, table[i].days, false).n, 0);
		assert_int_equal(help_number(&h, "SELECT sum(n) FROM run"), 6 - table[i].n);
		help_close(&h);
	}
}

/* What must stay: the last of each kind at each place, the first that was heard of it, what is
 * not older; and nothing else. Whatever the files and batches were. */
static void
what_stays(void **state)
{
	static const char *const row[] = {
		"A1,2024-01-01T08:00:00Z,bypass,1\n",		/* not heard; not the last */
		"A1,2024-01-01T09:00:00Z,zone-open,1\n",	/* first heard */
		"A1,2024-01-02T09:00:00Z,zone-open,1\n",
		"A1,2024-01-03T09:00:00Z,zone-open,1\n",	/* last */
		"A1,2024-01-03T09:00:01Z,zone-close,1\n",	/* last */
		"A1,2024-02-01T08:00:00Z,bypass,1\n",		/* last */
		"A1,2024-02-01T08:00:00Z,zone-open,2\n",	/* first heard, and last */
		"A1,2024-03-01T08:00:00Z,arm,\n",
		"A1,2024-03-02T08:00:00Z,arm,\n",		/* last */
	};
	enum { ROWS = sizeof row / sizeof *row };
	static const char want[] = "2024-01-01T09:00 zone-open 1, 2024-01-03T09:00 zone-open 1, "
	    "2024-01-03T09:00 zone-close 1, 2024-02-01T08:00 bypass 1, 2024-02-01T08:00 zone-open 2, "
	    "2024-03-02T08:00 arm , 2026-03-02T08:00 zone-open 1, 2026-10-01T08:00 zone-open 1";

	(void)state;
	for (int cut = 0; cut < 3; cut++) {
		struct removed r;
		struct help h;

		help_open(&h);
		h.o.batch = cut == 2 ? 2 : 0;
		for (int part = 0; part < 2; part++) {
			const char *text = HEAD;

			for (size_t i = 0; i < ROWS; i++)
				if (cut == 0 ? part == 0 : (int)(i % 2) == part)
					text = arena_fmt(&h.arena, "%s%s", text, row[i]);
			help_take(&h, arena_fmt(&h.arena, "%d.csv", part), text);
		}
		help_events(&h, "now.csv", "A1,2026-03-02T08:00:00Z,zone-open,1\n"
		    "A1,2026-10-01T08:00:00Z,zone-open,1\n");
		r = expire(&h, LATE, 400, false);
		assert_int_equal(r.n, 3);
		assert_int_equal(r.oldest, help_time("2024-01-01T08:00:00Z"));
		assert_int_equal(r.newest, help_time("2024-03-01T08:00:00Z"));
		assert_true(r.bytes > 30 && r.bytes < 300);
		assert_string_equal(help_sql(&h, "SELECT kind, days, n, bytes FROM removal"),
		    arena_fmt(&h.arena, "events|400|3|%d", (int)r.bytes));
		if (cut == 0)
			assert_string_equal(holds(&h, "A1"), want);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM event"), 8);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM run WHERE n <> (SELECT count(*) FROM"
		    " json_each((SELECT events FROM block WHERE id = run.block)))"), 0);
		/* Spans of runs are exact, and blocks without a run are gone. */
		assert_int_equal(help_number(&h, "SELECT count(*) FROM block WHERE id NOT IN (SELECT block"
		    " FROM run)"), 0);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM run r WHERE lo <> (SELECT min(wall)"
		    " FROM event WHERE id / 256 = r.block) OR hi <> (SELECT max(wall) FROM event"
		    " WHERE id / 256 = r.block)"), 0);
		help_close(&h);
	}
}

/* An open finding's rows stay, whatever their age. */
static void
cited_rows_stay(void **state)
{
	struct help h;

	(void)state;
	for (int open = 0; open < 2; open++) {
		help_open(&h);
		help_events(&h, "a.csv", "A1,2024-01-01T08:00:00Z,test,1\nA1,2024-01-02T08:00:00Z,E110,1\n"
		    "A1,2024-01-03T08:00:00Z,E110,1\nA1,2024-01-04T08:00:00Z,E110,1\n");
		help_judged(&h, true);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM evidence"), 3);
		help_events(&h, "b.csv", "A1,2026-10-01T08:00:00Z,test,1\n");
		if (!open)
			help_exec(h.db, "UPDATE finding SET cleared = 0");
		assert_int_equal(expire(&h, LATE, 400, false).n, open ? 0 : 2);
		/* Copies of a finding that was cleared before go too. */
		assert_int_equal(help_number(&h, "SELECT count(*) FROM evidence"), open ? 3 : 0);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM finding"), 1);
		help_close(&h);
	}
}

/* rows stored repeated aside expired of the file that was read last. */
static const char *
counted(struct help *h)
{
	const struct ingest_file *f = &h->result.file[0];

	return arena_fmt(&h->arena, "%d = %d + %d + %d + %d", (int)f->rows, (int)f->stored,
	    (int)f->repeated, (int)f->set_aside, (int)f->expired);
}

/* A file that is read again brings nothing back: one row is a repeat of what stayed, the
 * others are expired; those of the horizon itself are stored. Each account has its own. */
static void
old_files_read_again(void **state)
{
	static const char old[] = HEAD "A1,2024-01-01T08:00:00Z,test,1\nA1,2024-01-02T08:00:00Z,test,1\n"
	    "A1,2024-01-03T08:00:00Z,test,1\nA1,2024-01-03T08:00:00Z,test,1\nx,2024-01-03,test,1,1,1\n"
	    "B2,2024-01-01T08:00:00Z,test,1\nB2,2024-01-02T08:00:00Z,test,1\nB2,2024-01-03T08:00:00Z,test,1\n";
	static const char *const edge[] = { "A1,2025-08-20T23:59:59Z,test,1\n",
	    "A1,2025-08-21T00:00:00Z,test,1\n", "A1,2025-08-21T00:00:01Z,test,1\n" };
	static const int batch[] = { 0, 1, 2, 3 };

	(void)state;
	for (size_t i = 0; i < sizeof batch / sizeof *batch; i++) {
		struct help h;

		help_open(&h);
		h.o.batch = (size_t)batch[i];
		help_take(&h, "old.csv", old);
		assert_string_equal(counted(&h), "8 = 7 + 0 + 1 + 0");
		help_events(&h, "young.csv", "A1,2026-10-01T08:00:00Z,test,1\n");
		/* 400 days before is 2024-01-02, in the week of 2023-12-28: all of B2 stays. */
		help_events(&h, "other.csv", "B2,2025-02-05T08:00:00Z,test,1\n");
		assert_int_equal(expire(&h, LATE, 400, false).n, 2);
		help_take(&h, "old.csv", old);
		assert_string_equal(counted(&h), "8 = 0 + 5 + 1 + 2");
		assert_int_equal(help_number(&h, "SELECT sum(n) FROM run"), 7);
		assert_int_equal(help_number(&h, "SELECT count(*) FROM file"
		    " WHERE rows <> stored + repeated + set_aside + expired"), 0);
		for (size_t k = 0; k < sizeof edge / sizeof *edge; k++) {
			help_events(&h, "edge.csv", edge[k]);
			assert_string_equal(counted(&h), k ? "1 = 1 + 0 + 0 + 0" : "1 = 0 + 0 + 0 + 1");
		}
		/* In two files of one run, an expired row is used up by nobody. */
		h.o.batch = (size_t)batch[i];
		help_ingest(&h, help_file(&h, "c.csv", arena_fmt(&h.arena, HEAD "%s", edge[0])),
		    help_file(&h, "d.csv", arena_fmt(&h.arena, HEAD "%s%s", edge[0], edge[0])), NULL);
		assert_string_equal(counted(&h), "1 = 0 + 0 + 0 + 1");
		assert_int_equal(h.result.file[1].expired, 2);
		/* What was all expired is no proof of cover. */
		assert_int_equal(help_number(&h, "SELECT count(*) FROM cover WHERE file ="
		    " (SELECT id FROM file WHERE name LIKE '%%/c.csv')"), 0);
		/* Once all is kept for good again, it is welcome. */
		expire(&h, LATE, 0, false);
		help_reopen(&h);
		help_take(&h, "old.csv", old);
		assert_string_equal(counted(&h), "8 = 2 + 5 + 1 + 0");
		help_close(&h);
	}
}

/* The horizon does not move back when the days become more, or cover less. */
static void
the_horizon_never_moves_back(void **state)
{
	struct help h;

	(void)state;
	help_open(&h);
	help_events(&h, "a.csv", "A1,2024-01-01T08:00:00Z,test,1\n");
	help_events(&h, "b.csv", "A1,2026-10-01T08:00:00Z,test,1\n");
	expire(&h, LATE, 400, false);
	expire(&h, LATE, 800, false);
	expire(&h, "2026-01-01", 400, false);
	assert_int_equal(help_number(&h, "SELECT kept_from FROM account"),
	    help_time("2025-08-21T00:00:00Z"));
	help_close(&h);
}

/* A renamed account takes its history along, and its number may be somebody else's: the view
 * of either is the same before and after. */
static void
former_numbers(void **state)
{
	static const char *const number[] = { "A1", "B2" };
	struct help h;

	(void)state;
	for (int covered = 0; covered < 2; covered++) {
		const char *was[2] = { "", "" }, *is[2] = { "", "" };

		help_open(&h);
		help_take(&h, "sites.csv", "account,timezone,was,since\nB2,UTC,A1,\nA1,UTC,,2025-03-01\n");
		help_events(&h, "a.csv", "A1,2024-01-01T08:00:00Z,zone-open,1\n"
		    "A1,2024-01-02T08:00:00Z,zone-open,1\nA1,2024-01-03T08:00:00Z,zone-close,1\n"
		    "A1,2024-12-03T08:00:00Z,zone-open,1\nA1,2024-12-04T08:00:00Z,zone-close,1\n"
		    "A1,2025-04-03T08:00:00Z,zone-open,1\nA1,2025-04-03T08:00:00Z,zone-close,1\n"
		    "A1,2025-04-04T08:00:00Z,zone-open,1\n");
		help_events(&h, "now.csv", "A1,2026-10-01T08:00:00Z,zone-open,1\n");
		if (covered)
			help_events(&h, "b.csv", "B2,2025-06-01T08:00:00Z,zone-open,1\n");
		for (int pass = 0; pass < 2; pass++) {
			for (int i = 0; i < 2; i++) {
				const char **text = pass ? &is[i] : &was[i];
				struct view v;
				struct err e;

				assert_int_equal(store_view(h.s, number[i], NO_TIME, &v, &e), 0);
				for (size_t k = 0; k < v.n_event; k++)
					*text = arena_fmt(&h.arena, "%s%lld %d ", *text, (long long)v.event[k].at,
					    v.event[k].word);
				view_release(&v);
			}
			if (pass == 0)
				assert_int_equal(expire(&h, LATE, 400, false).n, covered ? 0 : 0);
		}
		for (int i = 0; i < 2; i++)
			assert_string_equal(was[i], is[i]);
		help_close(&h);
	}
}

static bool
file_has(struct help *h, const char *text)
{
	FILE *f = fopen(h->db, "rb");
	size_t n = strlen(text), size, at;
	char *all;
	bool has = false;

	assert_non_null(f);
	fseek(f, 0, SEEK_END);
	size = (size_t)ftell(f);
	rewind(f);
	all = x_alloc(size + 1);
	assert_int_equal(fread(all, 1, size, f), size);
	fclose(f);
	for (at = 0; at + n <= size && !has; at++)
		has = memcmp(all + at, text, n) == 0;
	free(all);
	return has;
}

/* What was removed is no longer in the file: neither texts of events, nor those that several
 * had, nor copies; and the file gets smaller. */
static void
gone_from_the_file(void **state)
{
	struct help h;
	int64_t gained, was;
	struct stat st;
	struct err e;

	(void)state;
	help_open(&h);
	{
		FILE *f = fopen(arena_fmt(&h.arena, "%s/a.csv", h.dir), "w");

		assert_non_null(f);
		fputs("account,time,event,zone,text\n", f);
		for (int i = 0; i < 30000; i++)
			fprintf(f, "A1,2024-01-%02d 08:%02d:%02d,test,1,alone %d words\n", 1 + i / 1500,
			    i / 60 % 60, i % 60, i);
		for (int i = 0; i < 4; i++)
			fprintf(f, "A1,2024-01-01 09:00:%02d,test,1,quite often said\n", i);
		fputs("A1,2024-01-20 20:00:00,test,1,the last word\n", f);
		fclose(f);
	}
	help_ingest(&h, arena_fmt(&h.arena, "%s/a.csv", h.dir), NULL);
	help_events(&h, "now.csv", "A1,2026-10-01T08:00:00Z,test,1\n");
	help_reopen(&h);
	assert_true(file_has(&h, "alone 12345 words"));
	assert_true(file_has(&h, "quite often said"));
	assert_int_equal(stat(h.db, &st), 0);
	was = st.st_size;
	assert_int_equal(expire(&h, LATE, 400, false).n, 30003);
	help_reopen(&h);
	assert_false(file_has(&h, "alone 12345 words"));
	assert_false(file_has(&h, "quite often said"));
	assert_true(file_has(&h, "the last word"));
	assert_int_equal(expire_tidy(h.s, &gained, &e), 0);
	assert_true(gained > 1000000);	/* each table and index keeps a page */
	assert_int_equal(stat(h.db, &st), 0);
	assert_int_equal(st.st_size, was - gained);
	assert_int_equal(expire_tidy(h.s, &gained, &e), 0);
	assert_int_equal(gained, 0);
	assert_string_equal(help_sql(&h, "PRAGMA integrity_check"), "ok");
	help_close(&h);
}

/* ---- settings --------------------------------------------------------------- */

static void
settings_have_limits(void **state)
{
	static const struct { const char *name, *value; bool good; } table[] = {
		{ "events", "0", true }, { "events", "1", false }, { "events", "399", false },
		{ "events", "399.9", false }, { "events", "400", true }, { "events", "400d", true },
		{ "events", "-1", false }, { "events", "36500", true }, { "events", "36501", false },
		{ "events", "for good", false },
		{ "set_aside", "29", false }, { "set_aside", "30", true },
		{ "done", "29", false }, { "done", "30", true },
		{ "failed", "29", false }, { "failed", "30", true },
		{ "backups", "6", false }, { "backups", "7", true }, { "backups", "0", true },
		{ "pages", "6", false }, { "pages", "7", true }, { "other", "7", false },
	};
	double v;

	(void)state;
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		print_message("%s %s\n", table[i].name, table[i].value);
		assert_int_equal(override_read(SPAN("kept"), span_of(table[i].name),
		    span_of(table[i].value), &v) == NULL, table[i].good);
	}
	for (const struct setting *s = override_kept.setting; s->name; s++) {
		char at_least[32];

		/* What is said to be the least is what is taken, and a hair less is not. */
		snprintf(at_least, sizeof at_least, "%g", override_least(s));
		assert_true(override_least(s) > 0);
		assert_null(override_read(SPAN("kept"), span_of(s->name), span_of(at_least), &v));
		snprintf(at_least, sizeof at_least, "%g", override_least(s) - 0.5);
		assert_non_null(override_read(SPAN("kept"), span_of(s->name), span_of(at_least), &v));
	}
	assert_true(override_least(&override_nightly.setting[0]) == 0);
	assert_null(override_scope(SPAN("kept"), SPAN("*")));
	assert_null(override_scope(SPAN("kept"), SPAN("")));
	assert_non_null(override_scope(SPAN("kept"), SPAN("account=A1")));
	assert_non_null(override_scope(SPAN("Nightly"), SPAN("group=g")));
	assert_null(override_scope(SPAN("chatter"), SPAN("group=g")));
}

/* Until somebody sets it, nothing is ever removed. */
static void
all_is_kept_by_default(void **state)
{
	struct retained r[KEPT_KINDS];
	struct help h;
	struct err e;

	(void)state;
	help_open(&h);
	assert_int_equal(retain_settings(h.s, r, &e), 0);
	for (int k = 0; k < KEPT_KINDS; k++)
		assert_int_equal(r[k].days, 0);
	help_close(&h);
}

/* ---- copies outside the events ---------------------------------------------- */

static void
put(struct help *h, const char *name, const char *changed)
{
	const char *path = arena_fmt(&h->arena, "%s/%s", h->dir, name);
	struct timespec t[2] = { { help_time(changed) / SECOND, 0 }, { help_time(changed) / SECOND, 0 } };
	int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);

	assert_true(fd >= 0);
	assert_int_equal(write(fd, "text", 4), 4);
	close(fd);
	assert_int_equal(utimensat(AT_FDCWD, path, t, 0), 0);
}

static bool
there(struct help *h, const char *name)
{
	struct stat st;

	return lstat(arena_fmt(&h->arena, "%s/%s", h->dir, name), &st) == 0;
}

/* The store thinks that a file that it took in lies there. */
static void
thinks(struct help *h, const char *name)
{
	help_exec(h->db, arena_fmt(&h->arena, "INSERT INTO file(name, kind, size, crc32, taken,"
	    " place, header, separator, ignored, newest_first, rows, stored, repeated,"
	    " set_aside, covers_all) VALUES('x', 'events', 0, 0, 0, '%s/%s', '', ',', '', 0, 0,"
	    " 0, 0, 0, 0)", h->dir, name));
}

/* Only what the daemon put there goes, and only when it is old enough: here 30 days before
 * 2026-10-01, the end of cover; the wall clock is far ahead. */
static void
files_that_go_and_stay(void **state)
{
	static const char *const folder[] = { "done", "done/2026-08-30", "done/2026-08-31",
	    "done/2026-09-01", "done/2026-13-01", "done/2026-08-01", "done/other", "failed", "b", "out",
	    "out/site", "failed/dir.why.txt" };
	static const struct { const char *name, *changed; bool known, stays; } file[] = {
		{ "done/2026-08-30/a.csv.gz", LATE, true, false },
		{ "done/2026-08-30/b.csv.gz", LATE, true, false },
		{ "done/2026-08-31/a.csv.gz", LATE, true, false },	/* ends with 2026-09-01 00:00 */
		{ "done/2026-09-01/a.csv.gz", "2020-01-01", true, true },
		{ "done/2026-08-31/foreign.gz", "2020-01-01", false, true },
		{ "done/2026-13-01/a.csv.gz", "2020-01-01", true, true },
		{ "done/other/a.csv.gz", "2020-01-01", true, true },
		{ "done/a.csv.gz", "2020-01-01", true, true },
		{ "failed/a.csv", LATE, false, false },
		{ "failed/a.csv.why.txt", "2026-08-31T23:59:59Z", false, false },
		{ "failed/b.csv", "2020-01-01", false, true },
		{ "failed/b.csv.why.txt", "2026-09-01T00:00:00Z", false, true },
		{ "failed/c.csv", "2020-01-01", false, true },		/* no note: not ours */
		{ "failed/d.csv.why.txt", "2020-01-01", false, false },	/* its file went before */
		{ "failed/.why.txt", "2020-01-01", false, true },
		{ "b/s.db.2026-08-30", LATE, false, false },
		{ "b/s.db.2026-08-31", LATE, false, false },
		{ "b/s.db.2026-09-01", "2020-01-01", false, true },
		{ "b/s.db.2026-08-3x", "2020-01-01", false, true },
		{ "b/t.db.2026-08-01", "2020-01-01", false, true },
		{ "out/digest.txt", "2026-08-31T23:59:59Z", false, false },
		{ "out/findings.csv", "2026-09-01T00:00:00Z", false, true },
		{ "out/mine.txt", "2020-01-01", false, true },
		{ "out/site/A1.html", "2026-08-31T23:59:59Z", false, false },
		{ "out/site/A2.html", "2026-09-01T00:00:00Z", false, true },
		{ "out/site/.html", "2020-01-01", false, true },
		{ "out/site/mine.txt", "2020-01-01", false, true },
	};
	/* Where the store thinks that files lie: one is read twice; of a removal that was cut
	 * short some are gone and not noted, one of them twice; a folder that is not there, or
	 * is not old, says nothing. */
	static const char *const other[] = { "done/2026-08-30/a.csv.gz", "done/2026-08-31/gone.gz",
	    "done/2026-08-31/gone.gz", "done/2026-08-01/gone.gz", "done/2026-08-02/none.gz",
	    "done/2026-09-01/none.gz", "done/2026-08-30/deep/none.gz" };
	struct retained kept[KEPT_KINDS];
	struct retain_options o = { .how = { .now = help_time(LATE), .dry = true } };
	struct help h;
	struct err e;

	(void)state;
	help_open(&h);
	o.folder = h.dir;
	o.backup = arena_fmt(&h.arena, "%s/b", h.dir);
	o.out = arena_fmt(&h.arena, "%s/out", h.dir);
	for (size_t i = 0; i < sizeof folder / sizeof *folder; i++)
		assert_int_equal(mkdir(arena_fmt(&h.arena, "%s/%s", h.dir, folder[i]), 0700), 0);
	help_events(&h, "e.csv", "A1,2026-10-01T00:00:00Z,test,1\n");
	help_take(&h, "s.csv", "rule,setting,value\nkept,done,30\nkept,failed,30\nkept,backups,30\n"
	    "kept,pages,30\n");
	for (size_t i = 0; i < sizeof file / sizeof *file; i++) {
		put(&h, file[i].name, file[i].changed);
		if (file[i].known)
			thinks(&h, file[i].name);
	}
	for (size_t i = 0; i < sizeof other / sizeof *other; i++)
		thinks(&h, other[i]);
	/* A link is never followed, nor taken away. */
	assert_int_equal(symlink("/dev/null", arena_fmt(&h.arena, "%s/done/2026-08-30/l", h.dir)), 0);
	help_exec(h.db, arena_fmt(&h.arena, "UPDATE file SET place = '%s/done/2026-08-30/l' WHERE"
	    " place LIKE '%%e.csv'", h.dir));
	for (int done = 0; done < 2; done++) {
		o.how.dry = !done;
		if (retain_run(h.s, &o, kept, &e))
			fail_msg("%s", e.text);
		assert_int_equal(kept[KEPT_DONE].sum.n, 5);
		assert_int_equal(kept[KEPT_DONE].sum.bytes, 12);
		assert_int_equal(kept[KEPT_DONE].sum.oldest, help_time("2026-08-01T00:00:00Z"));
		assert_int_equal(kept[KEPT_DONE].left, 2);
		assert_int_equal(kept[KEPT_FAILED].sum.n, 2);
		assert_int_equal(kept[KEPT_BACKUPS].sum.n, 2);
		assert_int_equal(kept[KEPT_PAGES].sum.n, 2);
		for (size_t i = 0; i < sizeof file / sizeof *file; i++) {
			print_message("%s\n", file[i].name);
			assert_int_equal(there(&h, file[i].name), !done || file[i].stays);
		}
	}
	assert_true(there(&h, "done/2026-08-30/l"));
	assert_true(there(&h, "failed/dir.why.txt"));
	assert_false(there(&h, "done/2026-08-01") && there(&h, "done/2026-08-30/a.csv.gz"));
	assert_string_equal(help_sql(&h, "SELECT kind, n FROM removal ORDER BY id"),
	    "done|5\nfailed|2\nbackups|2\npages|2");
	assert_int_equal(help_number(&h, "SELECT count(*) FROM file WHERE place = ''"), 7);
	/* Once is enough. */
	assert_int_equal(retain_run(h.s, &o, kept, &e), 0);
	assert_int_equal(kept[KEPT_DONE].sum.n, 0);
	/* The only backup stays, however old. */
	assert_int_equal(unlink(arena_fmt(&h.arena, "%s/b/s.db.2026-09-01", h.dir)), 0);
	put(&h, "b/s.db.2020-01-01", "2020-01-01");
	put(&h, "b/s.db.2020-01-02", "2020-01-01");
	assert_int_equal(retain_run(h.s, &o, kept, &e), 0);
	assert_int_equal(kept[KEPT_BACKUPS].sum.n, 1);
	assert_true(there(&h, "b/s.db.2020-01-02"));
	/* Folders that were not named are not looked at. */
	o.folder = o.backup = o.out = NULL;
	assert_int_equal(retain_run(h.s, &o, kept, &e), 0);
	assert_false(kept[KEPT_DONE].looked || kept[KEPT_BACKUPS].looked || kept[KEPT_PAGES].looked);
	assert_true(kept[KEPT_EVENTS].looked && kept[KEPT_ASIDE].looked);
	assert_int_equal(unlink(arena_fmt(&h.arena, "%s/done/2026-08-30/l", h.dir)), 0);
	assert_int_equal(system(arena_fmt(&h.arena, "rm -r %s/done %s/failed %s/b %s/out", h.dir, h.dir,
	    h.dir, h.dir)), 0);
	help_close(&h);
}

static void
rows_set_aside(void **state)
{
	struct expire_options o = { .days = 30 };
	struct removed r;
	struct help h;
	struct err e;

	(void)state;
	help_open(&h);
	help_events(&h, "a.csv", "A1,2026-10-01T00:00:00Z,test,1\nA1,2026-13-01T00:00:00Z,test,1\n");
	help_exec(h.db, arena_fmt(&h.arena, "UPDATE file SET taken = %lld",
	    (long long)help_time("2026-08-31T23:59:59Z")));
	o.now = help_time("2026-09-30T23:59:59Z");
	assert_int_equal(expire_asides(h.s, &o, &r, &e), 0);
	assert_int_equal(r.n, 0);
	o.now = help_time(LATE);	/* the end of cover counts */
	o.dry = true;
	assert_int_equal(expire_asides(h.s, &o, &r, &e), 0);
	assert_int_equal(r.n, 1);
	assert_int_equal(r.bytes, (int)strlen("A1,2026-13-01T00:00:00Z,test,1"));
	assert_int_equal(help_number(&h, "SELECT count(*) FROM aside"), 1);
	o.dry = false;
	assert_int_equal(expire_asides(h.s, &o, &r, &e), 0);
	assert_int_equal(help_number(&h, "SELECT count(*) FROM aside"), 0);
	assert_string_equal(help_sql(&h, "SELECT kind, n, days FROM removal"), "set_aside|1|30");
	/* The account of the file stands. */
	assert_string_equal(help_sql(&h, "SELECT rows, stored, set_aside FROM file"), "2|1|1");
	help_close(&h);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_horizon_is_a_whole_week),
		cmocka_unit_test(what_stays),
		cmocka_unit_test(cited_rows_stay),
		cmocka_unit_test(old_files_read_again),
		cmocka_unit_test(the_horizon_never_moves_back),
		cmocka_unit_test(former_numbers),
		cmocka_unit_test(gone_from_the_file),
		cmocka_unit_test(settings_have_limits),
		cmocka_unit_test(all_is_kept_by_default),
		cmocka_unit_test(files_that_go_and_stay),
		cmocka_unit_test(rows_set_aside),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
