/* store.c - opening and closing the file. */
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <time.h>
#include <unistd.h>

#include "daemon/store/db.h"
#include "daemon/store/schema.h"
#include "daemon/store/share.h"
#include "rules/view.h"

/* How long one process waits for another to finish writing. */
enum { WAIT_MS = 60 * 1000 };

static const struct { int bit; const char *mark; } marks[] = {
	{ MARK_STILL, "still" }, { MARK_RESET, "clock-reset" }, { MARK_SKIPPED, "skipped-hour" },
	{ MARK_REPEATED, "repeated-hour" }, { MARK_AMBIGUOUS, "ambiguous-hour" },
	{ MARK_LEAP, "leap-second" }, { MARK_COARSE, "minutes" }, { MARK_LIFE_CODE, "life-safety" },
	{ MARK_USER, "user" }, { MARK_PANEL, "panel" },
};

static int
fill_names(struct store *s, struct err *e)
{
	sqlite3_stmt *st;

	for (enum word w = 0; w < WORD_COUNT; w++) {
		if (!(st = db_stmt(s, "INSERT OR REPLACE INTO word VALUES(?1, ?2)", e)))
			return -1;
		sqlite3_bind_int(st, 1, (int)w);
		db_bind_text(st, 2, word_text(w));
		if (db_run(s, st, e))
			return -1;
	}
	for (size_t i = 0; i < sizeof marks / sizeof *marks; i++) {
		if (!(st = db_stmt(s, "INSERT OR REPLACE INTO mark VALUES(?1, ?2)", e)))
			return -1;
		sqlite3_bind_int(st, 1, marks[i].bit);
		db_bind_text(st, 2, marks[i].mark);
		if (db_run(s, st, e))
			return -1;
	}
	return 0;
}

/* *made is false when another process was faster. */
static int
make_schema(struct store *s, bool *made, struct err *e)
{
	char pragma[96];
	int64_t tables;

	snprintf(pragma, sizeof pragma, "PRAGMA application_id = %d; PRAGMA user_version = %d",
	    STORE_APPLICATION_ID, STORE_SCHEMA);
	/* Blocks are a few kilobytes: in large pages they need no overflow pages, and a long
	 * append touches fewer of them (measured: a tenth less time than with 4 KiB). */
	if (db_exec(s, "PRAGMA page_size = 32768", e))
		return -1;
	if (db_exec(s, "BEGIN IMMEDIATE", e))
		return -1;
	if (db_number(s, "SELECT count(*) FROM sqlite_schema", &tables, e) == 0 && tables) {
		*made = false;
		return db_exec(s, "ROLLBACK", e);
	}
	*made = true;
	if (db_exec(s, schema_permanent, e) || db_exec(s, schema_derived, e) ||
	    fill_names(s, e) || db_exec(s, pragma, e) || db_exec(s, "COMMIT", e)) {
		sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
		return -1;
	}
	return 0;
}

/* Why nothing could be read. A store needs its log beside it, also to be read. */
static int
cannot_read(const struct store *s, struct err *e)
{
	int code = sqlite3_errcode(s->db) & 0xff;
	struct arena a = { 0 };
	const char *slash = strrchr(s->path, '/'), *why = sqlite3_errmsg(s->db);
	const char *folder = arena_text(&a, (struct span){ s->path, (size_t)(slash - s->path) });

	if (code != SQLITE_READONLY && code != SQLITE_CANTOPEN && code != SQLITE_PERM)
		err_set(e, ERR_STORE, s->path, 0, "is not a tripsift store: %s", why);
	else if (access(*folder ? folder : "/", W_OK) != 0)
		err_set(e, ERR_STORE, s->path, 0, "the folder that it lies in may not be written to, "
		    "and the store needs its log there: %s", strerror(errno));
	else
		err_set(e, ERR_STORE, s->path, 0, "cannot be opened: %s", why);
	arena_release(&a);
	return -1;
}

/* Anything may lie under the name: look before trusting a schema. */
static int
check_schema(struct store *s, enum store_mode mode, bool *made, struct err *e)
{
	int64_t id, version, tables;
	char pragma[48];

	/* All three as of one moment: another process may be making the store just now. */
	if (db_exec(s, "BEGIN", e) || db_number(s, "PRAGMA application_id", &id, e) ||
	    db_number(s, "PRAGMA user_version", &version, e) ||
	    db_number(s, "SELECT count(*) FROM sqlite_schema", &tables, e) ||
	    db_exec(s, "COMMIT", e))
		return cannot_read(s, e);
	if (tables == 0 && id == 0 && mode == STORE_CREATE)
		return make_schema(s, made, e) ? -1 : *made ? 0 : check_schema(s, mode, made, e);
	if (id != STORE_APPLICATION_ID)
		return err_set(e, ERR_STORE, s->path, 0,
		    "is not a tripsift store (it may belong to another program); nothing was changed");
	if (version > STORE_SCHEMA)
		return err_set(e, ERR_STORE, s->path, 0,
		    "was written by a newer tripsift (schema %d, this one knows %d)", (int)version,
		    STORE_SCHEMA);
	if (version == STORE_SCHEMA)
		return 0;
	if (mode == STORE_READ)
		return err_set(e, ERR_STORE, s->path, 0,
		    "has the older schema %d; any `tripsift ingest` brings it up to date",
		    (int)version);
	snprintf(pragma, sizeof pragma, "PRAGMA user_version = %d", STORE_SCHEMA);
	if (db_exec(s, "BEGIN IMMEDIATE", e))
		return -1;
	for (const char *const *up = schema_upgrade; *up; up++)
		if (up - schema_upgrade + 1 >= version && db_exec(s, *up, e))
			goto undo;
	if (db_exec(s, pragma, e) || db_exec(s, "COMMIT", e))
		goto undo;
	return 0;
undo:
	sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
	return -1;
}

/* The file is made first, so that it never exists with wider permissions; SQLite makes what
 * lies beside it like it. The umask takes away what --group does not give. */
static int
make_file(const char *path, bool *made, struct err *e)
{
	int fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0660);

	if (fd >= 0) {
		*made = true;
		close(fd);
		return 0;
	}
	if (errno == EEXIST)
		return 0;
	return err_set(e, ERR_STORE, path, 0, "cannot make the store: %s", strerror(errno));
}

/* The change of a new store to a write-ahead log needs the file for a moment, and SQLite
 * does not wait for that by itself. */
static int
write_ahead(struct store *s, struct err *e)
{
	const struct timespec moment = { 0, 5 * 1000 * 1000 };

	for (int waited = 0; waited < WAIT_MS; waited += 5) {
		int rc = sqlite3_exec(s->db, "PRAGMA journal_mode = WAL", NULL, NULL, NULL);

		if (rc == SQLITE_OK)
			return 0;
		if (rc != SQLITE_BUSY)
			break;
		nanosleep(&moment, NULL);
	}
	return db_fault(s, e, "cannot change to a write-ahead log");
}

/* SQLite gets its memory from the system and goes on without, where it can: a bound value
 * that was not kept, a text that was not made are told at the next step, or not at all. So it
 * ends the program as it does everywhere else, and an open transaction is undone. */
static void *
get_memory(int n)
{
	return x_alloc((size_t)n);
}

static void *
grow_memory(void *old, int n)
{
	void *p = realloc(old, (size_t)n);

	if (!p)
		x_none();
	return p;
}

static int
memory_size(void *p)
{
	return (int)malloc_usable_size(p);
}

static int
memory_rounded(int n)
{
	return (n + 7) & ~7;
}

static int
memory_begin(void *nothing)
{
	(void)nothing;
	return SQLITE_OK;
}

static void
memory_end(void *nothing)
{
	(void)nothing;
}

static const sqlite3_mem_methods memory = {
	get_memory, free, grow_memory, memory_size, memory_rounded, memory_begin, memory_end, NULL
};

/* A write-ahead log needs memory that all who have the store open share, so one machine. */
static int
set_journal(struct store *s, struct err *e)
{
	struct statfs fs;

	if (statfs(s->path, &fs) == 0 && share_is(fs.f_type))
		return db_exec(s, "PRAGMA journal_mode = DELETE", e);
	return write_ahead(s, e);
}

struct store *
store_open(const char *path, enum store_mode mode, bool *made, struct err *e)
{
	struct store *s = x_calloc(1, sizeof *s);
	char full[PATH_MAX];
	bool fresh = false;

	if (made)
		*made = false;
	if (mode == STORE_CREATE && make_file(path, &fresh, e))
		goto fail;
	if (!realpath(path, full)) {
		err_set(e, ERR_STORE, path, 0,
		    "no store here (%s); `tripsift ingest FILE...` makes one, --db names another",
		    strerror(errno));
		goto fail;
	}
	s->path = x_text(full);
	/* Nobody asks SQLite how much memory it holds; counting would take a lock at each
	 * allocation. Both are too late, and without effect, from the second store on. */
	sqlite3_config(SQLITE_CONFIG_MALLOC, &memory);
	sqlite3_config(SQLITE_CONFIG_MEMSTATUS, 0);
	/* A handle belongs to one thread, so SQLite need not lock it at each step. */
	if (sqlite3_open_v2(full, &s->db, SQLITE_OPEN_NOMUTEX |
	    (mode == STORE_READ && access(full, W_OK) != 0 ? SQLITE_OPEN_READONLY
	                                                   : SQLITE_OPEN_READWRITE), NULL) != SQLITE_OK) {
		db_fault(s, e, "cannot open the store");
		goto fail;
	}
	/* Where it cannot be opened for writing, be it for a moment only, SQLite opens it for
	 * reading and says nothing. */
	if (mode != STORE_READ && sqlite3_db_readonly(s->db, "main") == 1) {
		err_set(e, ERR_STORE, full, 0, "may not be written to: %s",
		    access(full, W_OK) != 0 ? strerror(errno) : "it could not be opened; try again");
		goto fail;
	}
	sqlite3_busy_timeout(s->db, WAIT_MS);
	sqlite3_db_config(s->db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
	if (check_schema(s, mode, &fresh, e))
		goto fail;
	sqlite3_db_config(s->db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
	/* WAL lets readers read while a whole file is being taken in. FULL, because a
	 * caller may move an export away once we have said that it is stored. */
	if (mode == STORE_READ) {
		if (db_exec(s, "PRAGMA query_only = 1; PRAGMA cache_size = -16384", e))
			goto fail;
	} else if (set_journal(s, e) || db_exec(s, "PRAGMA synchronous = FULL;"
	    "PRAGMA cache_size = -49152; PRAGMA temp_store = MEMORY;"
	    "PRAGMA journal_size_limit = 67108864", e)) {
		goto fail;
	}
	if (made)
		*made = fresh;
	return s;

fail:
	store_close(s);
	return NULL;
}

void
store_close(struct store *s)
{
	if (!s)
		return;
	for (size_t i = 0; i < s->n_kept; i++)
		sqlite3_finalize(s->kept[i].st);
	free(s->kept);
	free(s->cell);
	free(s->cell_hint);
	free(s->cell_word);
	free(s->cell_marks);
	arena_release(&s->cells_arena);
	sqlite3_close(s->db);
	free(s->path);
	free(s);
}

/* Called by SQLite every so many steps of a statement. */
static int
is_stopped(void *stop)
{
	return *(const volatile sig_atomic_t *)stop != 0;
}

/* While another process writes: as long as the timeout would, but not past a stop. */
static int
wait_on(void *stop, int times)
{
	enum { NAP_MS = 20 };

	if (is_stopped(stop) || times >= WAIT_MS / NAP_MS)
		return 0;
	sqlite3_sleep(NAP_MS);
	return 1;
}

void
store_stop(struct store *s, const volatile sig_atomic_t *stop)
{
	enum { STEPS = 10000 };	/* about a millisecond */

	if (stop)
		sqlite3_busy_handler(s->db, wait_on, (void *)(uintptr_t)stop);
	else
		sqlite3_busy_timeout(s->db, WAIT_MS);
	sqlite3_progress_handler(s->db, stop ? STEPS : 0, is_stopped, (void *)(uintptr_t)stop);
}

void
store_hurry(struct store *s)
{
	sqlite3_db_config(s->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
}

const char *
store_path(const struct store *s)
{
	return s->path;
}
