#include "daemon/store/backup.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "daemon/base/disk.h"
#include "daemon/store/db.h"

enum { PAGES = 512, BUSY_MS = 20, BUSY_MOST = 3000 };

static int
copy(struct store *s, sqlite3 *to, const char *path, const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct err *e)
{
	sqlite3_backup *b = sqlite3_backup_init(to, "main", s->db, "main");
	int rc = SQLITE_OK, busy = 0;

	if (!b)
		return err_set(e, ERR_STORE, path, 0, "cannot begin a backup: %s", sqlite3_errmsg(to));
	/* Another process that writes makes it begin anew; by and by it takes the rest at once. */
	while (rc != SQLITE_DONE && !*stop) {
		rc = sqlite3_backup_step(b, busy < BUSY_MOST / 2 ? PAGES : -1);
		if (rc == SQLITE_BUSY || rc == SQLITE_LOCKED) {
			if (++busy == BUSY_MOST)
				break;
			sqlite3_sleep(BUSY_MS);
		} else if (rc != SQLITE_OK && rc != SQLITE_DONE) {
			break;
		}
		if (tick && sqlite3_backup_pagecount(b))
			tick(tick_ctx, "backup", 100 - (int)((int64_t)sqlite3_backup_remaining(b) * 100 /
			    sqlite3_backup_pagecount(b)));
	}
	sqlite3_backup_finish(b);
	if (rc == SQLITE_DONE)
		return 0;
	return err_set(e, ERR_STORE, path, 0, "backup: %s", *stop ? "stopped" : sqlite3_errstr(rc));
}

/* Every page of a file is looked at on a thread of its own: it takes seconds a gigabyte, SQLite
 * before 3.41 cannot be stopped in it, and whoever waits has to stay awake, or to leave. */
struct check {
	char       *path;
	char        fault[256], why[256];	/* what is not sound; why it could not be looked at */
	atomic_bool done;
};

static void *
check_run(void *check)
{
	struct check *c = check;
	sqlite3 *db = NULL;
	sqlite3_stmt *st = NULL;
	const char *got = NULL;
	int rc = sqlite3_open_v2(c->path, &db, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX, NULL);

	if (rc == SQLITE_OK) {
		sqlite3_busy_timeout(db, BUSY_MS * BUSY_MOST);
		rc = sqlite3_prepare_v2(db, "PRAGMA quick_check(1)", -1, &st, NULL);
	}
	if (rc == SQLITE_OK && (rc = sqlite3_step(st)) == SQLITE_ROW)
		got = (const char *)sqlite3_column_text(st, 0);
	if (got && strcmp(got, "ok") != 0)
		snprintf(c->fault, sizeof c->fault, "%s", got);
	else if (!got && ((rc & 0xff) == SQLITE_CORRUPT || (rc & 0xff) == SQLITE_NOTADB))
		snprintf(c->fault, sizeof c->fault, "%s", sqlite3_errstr(rc));
	else if (!got)
		snprintf(c->why, sizeof c->why, "%s", db ? sqlite3_errmsg(db) : sqlite3_errstr(rc));
	sqlite3_finalize(st);
	sqlite3_close(db);
	atomic_store(&c->done, true);
	return NULL;
}

static int
check_file(const char *path, const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct arena *a,
    const char **fault, struct err *e)
{
	const struct timespec nap = { .tv_nsec = 2000000 };
	struct check *c = x_calloc(1, sizeof *c);
	pthread_t thread;
	int rc = 0;

	*fault = "";
	c->path = x_alloc(strlen(path) + 1);
	memcpy(c->path, path, strlen(path) + 1);
	if (pthread_create(&thread, NULL, check_run, c) == 0) {
		while (!atomic_load(&c->done)) {
			if (stop && *stop) {
				/* It reads on until the program ends, and keeps what it needs. */
				pthread_detach(thread);
				return 0;
			}
			if (tick)
				tick(tick_ctx, "integrity check", -1);
			nanosleep(&nap, NULL);
		}
		pthread_join(thread, NULL);
	} else {
		check_run(c);
	}
	*fault = arena_fmt(a, "%s", c->fault);
	if (*c->why)
		rc = err_set(e, ERR_STORE, path, 0, "cannot be checked: %s", c->why);
	free(c->path);
	free(c);
	return rc;
}

/* One number or word of the copy. */
static int
ask(sqlite3 *db, const char *path, const char *sql, const char *want, struct err *e)
{
	sqlite3_stmt *st = NULL;
	const char *got = NULL;
	int rc = 0;

	if (sqlite3_prepare_v2(db, sql, -1, &st, NULL) == SQLITE_OK && sqlite3_step(st) == SQLITE_ROW)
		got = (const char *)sqlite3_column_text(st, 0);
	if (!got || strcmp(got, want) != 0)
		rc = err_set(e, ERR_STORE, path, 0, "the copy is not sound: %.200s", got ? got :
		    sqlite3_errmsg(db));
	sqlite3_finalize(st);
	return rc;
}

/* Which copies are damaged shows at once, not on the day when they are needed. */
static int
make_copy(struct store *s, const char *part, const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct err *e)
{
	int fd = open(part, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600), rc = -1;
	struct arena a = { 0 };
	const char *fault;
	sqlite3 *to = NULL;

	if (fd < 0)
		return err_set(e, ERR_IO, part, 0, "cannot be made: %s", strerror(errno));
	if (sqlite3_open_v2(part, &to, SQLITE_OPEN_READWRITE, NULL) != SQLITE_OK) {
		err_set(e, ERR_STORE, part, 0, "cannot be opened: %s", sqlite3_errmsg(to));
	/* It is brought to the disk once, at the end. */
	} else if (sqlite3_exec(to, "PRAGMA synchronous = OFF", NULL, NULL, NULL) != SQLITE_OK) {
		err_set(e, ERR_STORE, part, 0, "cannot be prepared: %s", sqlite3_errmsg(to));
	} else if (copy(s, to, part, stop, tick, tick_ctx, e) == 0 &&
	    /* One file alone, without a log beside it. */
	    ask(to, part, "PRAGMA journal_mode = DELETE", "delete", e) == 0 &&
	    check_file(part, stop, tick, tick_ctx, &a, &fault, e) == 0) {
		rc = *fault ? err_set(e, ERR_STORE, part, 0, "the copy is not sound: %s", fault) :
		    *stop ? err_set(e, ERR_STORE, part, 0, "backup: stopped") : 0;
	}
	sqlite3_close(to);
	if (rc == 0 && fsync(fd) != 0)
		rc = err_set(e, ERR_IO, part, 0, "cannot be written: %s", strerror(errno));
	close(fd);
	arena_release(&a);
	return rc;
}

int
store_backup(struct store *s, const char *path, const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct err *e)
{
	static const char *const tail[] = { "", "-journal", "-wal", "-shm" };
	struct arena a = { 0 };
	const char *part = arena_fmt(&a, "%s.part", path);
	int rc;

	for (size_t i = 0; i < sizeof tail / sizeof *tail; i++)
		unlink(arena_fmt(&a, "%s%s", part, tail[i]));
	rc = make_copy(s, part, stop, tick, tick_ctx, e);
	if (rc == 0 && rename(part, path) != 0)
		rc = err_set(e, ERR_IO, path, 0, "cannot be written: %s", strerror(errno));
	/* Only then may older ones go. */
	if (rc == 0 && disk_sync_name_of(path) != 0)
		rc = err_set(e, ERR_IO, path, 0, "its folder cannot be written: %s", strerror(errno));
	for (size_t i = 0; rc && i < sizeof tail / sizeof *tail; i++)
		unlink(arena_fmt(&a, "%s%s", part, tail[i]));
	arena_release(&a);
	return rc;
}

int
store_check(struct store *s, const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct arena *a,
    const char **fault, struct err *e)
{
	return check_file(s->path, stop, tick, tick_ctx, a, fault, e);
}

int
store_growth(struct store *s, int64_t now, int64_t *bytes, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT coalesce(sum(size) FILTER (WHERE taken > ?1 AND taken <= ?2), 0),"
	    " coalesce(sum(size), 0) FROM file", e);
	struct stat file;
	double week, all;

	*bytes = 0;
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, now - 7 * DAY);
	sqlite3_bind_int64(st, 2, now);
	if (db_step(s, st, e) < 0)
		return -1;
	week = sqlite3_column_double(st, 0);
	all = sqlite3_column_double(st, 1);
	sqlite3_reset(st);
	if (all > 0 && stat(s->path, &file) == 0)
		*bytes = (int64_t)(week / 7 * (1 + (double)file.st_size / all));
	return 0;
}
