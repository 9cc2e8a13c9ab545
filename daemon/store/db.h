/* db.h - the thin layer over SQLite that the store's files share.
 *
 * Statements are prepared once, kept by the store and found by the address of
 * their SQL literal, so a call site simply asks for its statement each time.
 */
#ifndef DAEMON_STORE_DB_H
#define DAEMON_STORE_DB_H

#include <sqlite3.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"
#include "daemon/base/err.h"
#include "daemon/base/span.h"
#include "daemon/store/store.h"

struct store {
	sqlite3 *db;
	char    *path;
	struct { const char *sql; sqlite3_stmt *st; } *kept;
	size_t   n_kept, cap_kept;
	/* What every view needs, read once and kept up to date: see load.c. */
	struct arena cells_arena;
	const char **cell;
	uint8_t     *cell_hint, *cell_word;
	uint16_t    *cell_marks;
	size_t       n_cell, cap_cell;
};

/* Fills *e from the database's last error. Always returns -1. */
int db_fault(struct store *s, struct err *e, const char *what);
int db_exec(struct store *s, const char *sql, struct err *e);
/* `sql` is a literal. Reset and unbound, ready to bind; NULL and *e. Lent by the store;
 * do not ask for the same literal while it is still being stepped. */
sqlite3_stmt *db_stmt(struct store *s, const char *sql, struct err *e);
/* 1 = a row, 0 = done (and reset), -1 = *e. */
int db_step(struct store *s, sqlite3_stmt *st, struct err *e);
/* For statements without result: steps to the end; 0 or -1. */
int db_run(struct store *s, sqlite3_stmt *st, struct err *e);
/* The same for a literal whose only parameter is a number. */
int db_run_id(struct store *s, const char *sql, int64_t id, struct err *e);

void db_bind_text(sqlite3_stmt *st, int i, const char *text);	/* copied never: must outlive the step */
void db_bind_span(sqlite3_stmt *st, int i, struct span s);
void db_bind_time(sqlite3_stmt *st, int i, int64_t ms);		/* NO_TIME binds NULL */
const char *db_text(sqlite3_stmt *st, int col, struct arena *a);	/* NULL gives "" */
struct span db_span(sqlite3_stmt *st, int col);			/* lent until the next step */
int64_t db_time(sqlite3_stmt *st, int col);			/* NULL gives NO_TIME */

/* One number from a query without parameters. */
int db_number(struct store *s, const char *sql, int64_t *out, struct err *e);

#endif
