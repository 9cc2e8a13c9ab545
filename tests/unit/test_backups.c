/* test_backups.c - a copy of the store in use, checked, and the last few kept. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/backups.h"
#include "tests/unit/help_store.h"

static const volatile sig_atomic_t never = 0, at_once = 1;

#define DAY_OF_OCTOBER(d) civil_to_ms(&(struct civil){ 2026, 10, d, 12, 0, 0, 0 })

static bool
there(struct help *h, const char *name)
{
	return access(arena_fmt(&h->arena, "%s/b/%s", h->dir, name), F_OK) == 0;
}

static void
remove_folder(struct help *h)
{
	static const char *const name[] = { "s.db.2026-10-01", "s.db.2026-10-02", "s.db.2026-10-03",
	    "s.db.2026-10-04", "s.db.2026-10-0x", "s.db.2026-10-011", "other" };

	for (size_t i = 0; i < sizeof name / sizeof *name; i++)
		unlink(arena_fmt(&h->arena, "%s/b/%s", h->dir, name[i]));
	assert_int_equal(rmdir(arena_fmt(&h->arena, "%s/b", h->dir)), 0);
}

static const char *
folder(struct help *h)
{
	const char *path = arena_fmt(&h->arena, "%s/b", h->dir);

	assert_int_equal(mkdir(path, 0700), 0);
	return path;
}

static void
copy_holds_the_same(void **state)
{
	struct help h;
	struct store_status was, is;
	struct store *copy;
	struct stat st;
	struct err e;
	const char *path, *b;

	(void)state;
	help_open(&h);
	b = folder(&h);
	help_events(&h, "a.csv", "A1,2026-10-01T08:00:00Z,test,1\nA1,2026-10-01T08:00:01Z,test,1\n");
	assert_int_equal(backups_make(h.s, b, 3, DAY_OF_OCTOBER(1), &never, NULL, NULL, &h.arena,
	    &path, &e), 0);
	assert_true(there(&h, "s.db.2026-10-01"));
	assert_int_equal(stat(path, &st), 0);
	assert_int_equal(st.st_mode & 0777, 0600);
	assert_int_equal(access(arena_fmt(&h.arena, "%s-wal", path), F_OK), -1);
	copy = store_open(path, STORE_READ, NULL, &e);
	assert_non_null(copy);
	assert_int_equal(store_status(h.s, &h.arena, &was, &e), 0);
	assert_int_equal(store_status(copy, &h.arena, &is, &e), 0);
	assert_int_equal(is.events, 2);
	assert_int_equal(is.rows, was.rows);
	store_close(copy);
	remove_folder(&h);
	help_close(&h);
}

/* A page of the file in the middle is written over: the check says so, a sound one is "". */
static void
damage_is_found(void **state)
{
	struct help h;
	struct err e;
	struct stat st;
	const char *path, *copy, *fault;
	struct store *s;
	char junk[4096];
	int fd;

	(void)state;
	help_open(&h);
	copy = folder(&h);
	assert_int_equal(store_check(h.s, &never, NULL, NULL, &h.arena, &fault, &e), 0);
	assert_string_equal(fault, "");
	help_events(&h, "a.csv", "A1,2026-10-01T08:00:00Z,test,1\n");
	assert_int_equal(backups_make(h.s, copy, 3, DAY_OF_OCTOBER(1), &never, NULL, NULL, &h.arena,
	    &path, &e), 0);
	memset(junk, 0xA5, sizeof junk);
	assert_int_equal(stat(path, &st), 0);
	fd = open(path, O_WRONLY);
	assert_true(fd >= 0);
	/* All but the first three of 32 KiB, which hold the schema. */
	for (off_t at = 3 * 32768; at < st.st_size; at += (off_t)sizeof junk)
		assert_int_equal(pwrite(fd, junk, sizeof junk, at), sizeof junk);
	close(fd);
	s = store_open(path, STORE_READ, NULL, &e);
	assert_non_null(s);
	assert_int_equal(store_check(s, &never, NULL, NULL, &h.arena, &fault, &e), 0);
	assert_string_not_equal(fault, "");
	store_close(s);
	remove_folder(&h);
	help_close(&h);
}

static void
oldest_go_and_nothing_else(void **state)
{
	struct help h;
	struct err e;
	const char *path, *b;

	(void)state;
	help_open(&h);
	b = folder(&h);
	help_file(&h, "b/s.db.2026-10-0x", "");
	help_file(&h, "b/s.db.2026-10-011", "");
	help_file(&h, "b/other", "");
	for (int day = 1; day <= 4; day++)
		assert_int_equal(backups_make(h.s, b, 2, DAY_OF_OCTOBER(day), &never, NULL, NULL,
		    &h.arena, &path, &e), 0);
	assert_false(there(&h, "s.db.2026-10-01"));
	assert_false(there(&h, "s.db.2026-10-02"));
	assert_true(there(&h, "s.db.2026-10-03"));
	assert_true(there(&h, "s.db.2026-10-04"));
	assert_true(there(&h, "s.db.2026-10-0x") && there(&h, "s.db.2026-10-011") &&
	    there(&h, "other"));
	remove_folder(&h);
	help_close(&h);
}

static void
stopped_or_damaged_leaves_the_old_one(void **state)
{
	static const char zeros[2048] = "";
	struct help h;
	struct err e;
	const char *path, *b;
	int fd;

	(void)state;
	help_open(&h);
	b = folder(&h);
	for (int i = 0; i < 30; i++)
		help_take(&h, arena_fmt(&h.arena, "%d.csv", i), arena_fmt(&h.arena,
		    "account,zone,device,name\nA%d,1,contact,%0200d\nA%d,2,smoke,%0300d\n", i, i, i, i));
	assert_int_equal(backups_make(h.s, b, 1, DAY_OF_OCTOBER(1), &never, NULL, NULL, &h.arena,
	    &path, &e), 0);
	assert_int_equal(backups_make(h.s, b, 1, DAY_OF_OCTOBER(2), &at_once, NULL, NULL, &h.arena,
	    &path, &e), -1);
	assert_true(there(&h, "s.db.2026-10-01"));
	assert_false(there(&h, "s.db.2026-10-02"));
	assert_false(there(&h, "s.db.2026-10-02.part"));
	/* One page of the store is overwritten behind SQLite's back. */
	help_reopen(&h);
	fd = open(h.db, O_WRONLY);
	assert_true(fd >= 0);
	assert_int_equal(pwrite(fd, zeros, sizeof zeros, 5 * 32768), (ssize_t)sizeof zeros);
	close(fd);
	help_reopen(&h);
	assert_int_equal(backups_make(h.s, b, 1, DAY_OF_OCTOBER(2), &never, NULL, NULL, &h.arena,
	    &path, &e), -1);
	assert_non_null(strstr(e.text, "not sound"));
	assert_true(there(&h, "s.db.2026-10-01"));
	assert_false(there(&h, "s.db.2026-10-02"));
	remove_folder(&h);
	help_close(&h);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(copy_holds_the_same),
		cmocka_unit_test(damage_is_found),
		cmocka_unit_test(oldest_go_and_nothing_else),
		cmocka_unit_test(stopped_or_damaged_leaves_the_old_one),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
