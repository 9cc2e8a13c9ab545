/* derive.c - derived columns written anew from what was read. */
#include <stdlib.h>

#include "daemon/store/db.h"
#include "daemon/store/write.h"
#include "rules/view.h"

struct stored_row {
	int64_t         id, file;
	bool            newest_first;
	struct event_in in;
};

/* As the file was read: file by file, oldest row first or newest first as it came. */
static int
by_place(const void *a, const void *b)
{
	const struct stored_row *x = a, *y = b;

	if (x->file != y->file)
		return x->file < y->file ? -1 : 1;
	return (x->in.line > y->in.line) - (x->in.line < y->in.line);
}

static int
read_rows(struct store *s, int64_t account, struct stored_row **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT r.file, f.newest_first, e.id, e.line, e.wall, e.ms,"
	    " e.offset, e.received, e.received_ms, e.received_offset, e.shift, e.marks"
	    " FROM run r CROSS JOIN event e ON e.id >= r.first AND e.id < r.first + r.n"
	    " CROSS JOIN file f ON f.id = r.file WHERE r.account = ?1", e);
	size_t cap = 0;
	int rc;

	*out = NULL;
	*n = 0;
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, account);
	while ((rc = db_step(s, st, e)) > 0) {
		struct stored_row *r;

		*out = x_grow(*out, &cap, *n + 1, sizeof **out);
		r = &(*out)[(*n)++];
		*r = (struct stored_row){ .file = sqlite3_column_int64(st, 0),
		    .newest_first = sqlite3_column_int(st, 1), .id = sqlite3_column_int64(st, 2) };
		r->in.line = (uint32_t)sqlite3_column_int64(st, 3);
		r->in.wall = sqlite3_column_int64(st, 4);
		r->in.ms = (uint16_t)sqlite3_column_int(st, 5);
		r->in.offset = sqlite3_column_type(st, 6) == SQLITE_NULL
		    ? OFFSET_NONE : (int16_t)sqlite3_column_int(st, 6);
		r->in.has_received = sqlite3_column_type(st, 7) != SQLITE_NULL;
		r->in.received = sqlite3_column_int64(st, 7);
		r->in.received_ms = (uint16_t)sqlite3_column_int(st, 8);
		r->in.received_offset = sqlite3_column_type(st, 9) == SQLITE_NULL
		    ? OFFSET_NONE : (int16_t)sqlite3_column_int(st, 9);
		r->in.shift = sqlite3_column_int64(st, 10);
		r->in.marks = (uint16_t)sqlite3_column_int(st, 11);
	}
	return rc;
}

int
store_derive(struct store *s, int64_t account, const void *tz, derive_fn *derive, struct err *e)
{
	struct stored_row *row;
	size_t n;
	int64_t prev = NO_TIME, was_prev = NO_TIME;
	bool changed = false;
	sqlite3_stmt *st;
	int rc = read_rows(s, account, &row, &n, e);

	if (rc == 0 && n)
		qsort(row, n, sizeof *row, by_place);
	for (size_t i = 0; rc == 0 && i < n; i++) {
		struct event_in was = row[i].in;

		if (i == 0 || row[i].file != row[i - 1].file)
			prev = NO_TIME;
		/* The row before stood in for a reset clock: where it moves, that moves along. */
		if (was.marks & MARK_RESET && !was.has_received && prev != NO_TIME)
			row[i].in.shift += (was_prev - prev) / SECOND;
		derive(tz, row[i].newest_first, &prev, &row[i].in);
		if (!(was.marks & MARK_RESET))
			was_prev = (was.wall - was.shift) * SECOND + was.ms;
		if (row[i].in.shift == was.shift && row[i].in.marks == was.marks)
			continue;
		changed = true;
		st = db_stmt(s, "UPDATE event SET shift = ?2, marks = ?3 WHERE id = ?1", e);
		if (!st) {
			rc = -1;
			break;
		}
		sqlite3_bind_int64(st, 1, row[i].id);
		sqlite3_bind_int64(st, 2, row[i].in.shift);
		sqlite3_bind_int(st, 3, row[i].in.marks);
		rc = db_run(s, st, e);
	}
	free(row);
	if (rc || !changed)
		return rc;
	if (!(st = db_stmt(s, "INSERT OR IGNORE INTO due VALUES(?1)", e)))
		return -1;
	sqlite3_bind_int64(st, 1, account);
	return db_run(s, st, e);
}
