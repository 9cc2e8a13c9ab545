#include "daemon/store/db.h"

#include <string.h>

int
db_fault(struct store *s, struct err *e, const char *what)
{
	int code = sqlite3_extended_errcode(s->db);
	/* What to do stands in README.md. */
	const char *damaged = (code & 0xff) == SQLITE_CORRUPT || (code & 0xff) == SQLITE_NOTADB ?
	    "; the store is damaged: stop, put the newest backup in its place, start" : "";

	return err_set(e, ERR_STORE, s->path, 0, "%s: %s (%d)%s", what, sqlite3_errmsg(s->db), code,
	    damaged);
}

int
db_exec(struct store *s, const char *sql, struct err *e)
{
	if (sqlite3_exec(s->db, sql, NULL, NULL, NULL) == SQLITE_OK)
		return 0;
	return db_fault(s, e, "the store refused a command");
}

sqlite3_stmt *
db_stmt(struct store *s, const char *sql, struct err *e)
{
	sqlite3_stmt *st = NULL;

	for (size_t i = 0; i < s->n_kept; i++) {
		if (s->kept[i].sql == sql) {
			sqlite3_reset(s->kept[i].st);
			sqlite3_clear_bindings(s->kept[i].st);
			return s->kept[i].st;
		}
	}
	if (sqlite3_prepare_v3(s->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &st, NULL) != SQLITE_OK) {
		db_fault(s, e, sql);
		return NULL;
	}
	s->kept = x_grow(s->kept, &s->cap_kept, s->n_kept + 1, sizeof *s->kept);
	s->kept[s->n_kept].sql = sql;
	s->kept[s->n_kept++].st = st;
	return st;
}

int
db_step(struct store *s, sqlite3_stmt *st, struct err *e)
{
	int rc = sqlite3_step(st);

	if (rc == SQLITE_ROW)
		return 1;
	if (rc == SQLITE_DONE) {
		sqlite3_reset(st);
		return 0;
	}
	db_fault(s, e, "the store could not be read or written");
	sqlite3_reset(st);
	return -1;
}

int
db_run(struct store *s, sqlite3_stmt *st, struct err *e)
{
	int rc;

	while ((rc = db_step(s, st, e)) > 0)
		;
	return rc;
}

int
db_run_id(struct store *s, const char *sql, int64_t id, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, sql, e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, id);
	return db_run(s, st, e);
}

void
db_bind_text(sqlite3_stmt *st, int i, const char *text)
{
	sqlite3_bind_text(st, i, text, -1, SQLITE_STATIC);
}

void
db_bind_span(sqlite3_stmt *st, int i, struct span s)
{
	sqlite3_bind_text(st, i, s.p ? s.p : "", (int)s.n, SQLITE_STATIC);
}

void
db_bind_time(sqlite3_stmt *st, int i, int64_t ms)
{
	if (ms == NO_TIME)
		sqlite3_bind_null(st, i);
	else
		sqlite3_bind_int64(st, i, ms);
}

struct span
db_span(sqlite3_stmt *st, int col)
{
	const char *p = (const char *)sqlite3_column_text(st, col);

	return (struct span){ p, p ? (size_t)sqlite3_column_bytes(st, col) : 0 };
}

const char *
db_text(sqlite3_stmt *st, int col, struct arena *a)
{
	struct span s = db_span(st, col);

	return s.n ? arena_text(a, s) : "";
}

int64_t
db_time(sqlite3_stmt *st, int col)
{
	return sqlite3_column_type(st, col) == SQLITE_NULL ? NO_TIME
	                                                   : sqlite3_column_int64(st, col);
}

int
db_number(struct store *s, const char *sql, int64_t *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, sql, e);
	int rc = st ? db_step(s, st, e) : -1;

	if (rc < 0)
		return -1;
	*out = rc ? sqlite3_column_int64(st, 0) : 0;
	sqlite3_reset(st);
	return 0;
}
