/* derive.c - derived columns written anew from what was read. */
#include <stdlib.h>

#include "daemon/store/load.h"
#include "daemon/store/stored.h"
#include "daemon/store/write.h"
#include "rules/view.h"

/* One row of the account: where it is kept, and what derive_fn needs of it. */
struct placed {
	size_t          block;		/* index in the list of blocks */
	int             at;		/* in the block */
	struct event_in in;
};

struct blocks { struct stored_block *one; size_t n, cap; };

/* As the file was read: file by file, row by row as they came. */
static int
by_place(const void *x, const void *y, void *blocks)
{
	const struct placed *a = x, *b = y;
	const struct stored_block *one = ((const struct blocks *)blocks)->one;

	if (one[a->block].file != one[b->block].file)
		return one[a->block].file < one[b->block].file ? -1 : 1;
	return (a->in.line > b->in.line) - (a->in.line < b->in.line);
}

static int
read_blocks(struct store *s, int64_t account, struct blocks *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT block FROM run WHERE account = ?1 ORDER BY block", e);
	int64_t *id = NULL;
	size_t n = 0, cap = 0;
	int rc;

	if (!st || load_cells(s, e))
		return -1;
	sqlite3_bind_int64(st, 1, account);
	while ((rc = db_step(s, st, e)) > 0) {
		id = x_grow(id, &cap, n + 1, sizeof *id);
		id[n++] = sqlite3_column_int64(st, 0);
	}
	for (size_t i = 0; rc == 0 && i < n; i++) {
		out->one = x_grow(out->one, &out->cap, out->n + 1, sizeof *out->one);
		rc = stored_block_read(s, account, id[i], s->cell_word, s->cell_marks,
		    (uint32_t)s->n_cell, &out->one[out->n++], e);
	}
	free(id);
	return rc;
}

static struct placed *
place_rows(struct blocks *b, size_t *n)
{
	struct placed *list = NULL;
	size_t cap = 0;

	*n = 0;
	for (size_t i = 0; i < b->n; i++) {
		list = x_grow(list, &cap, *n + (size_t)b->one[i].n, sizeof *list);
		for (int j = 0; j < b->one[i].n; j++) {
			const struct block_row *r = &b->one[i].row[j];

			list[(*n)++] = (struct placed){ i, j, { .line = r->line, .wall = r->wall,
			    .ms = r->ms, .offset = r->offset, .has_received = r->has_received,
			    .received = r->received, .received_ms = r->received_ms,
			    .received_offset = r->received_offset, .shift = r->shift,
			    .marks = r->marks } };
		}
	}
	if (*n)
		qsort_r(list, *n, sizeof *list, by_place, b);
	return list;
}

static int
newest_first(struct store *s, int64_t file, bool *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT newest_first FROM file WHERE id = ?1", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, file);
	if (db_step(s, st, e) < 0)
		return -1;
	*out = sqlite3_column_int(st, 0);
	sqlite3_reset(st);
	return 0;
}

/* Resolves the rows in order; *changed says of each block whether it is another now. */
static int
resolve_rows(struct store *s, struct blocks *b, struct placed *row, size_t n, bool *changed,
    const void *tz, derive_fn *derive, struct err *e)
{
	int64_t prev = NO_TIME, was_prev = NO_TIME;
	bool newest = false;

	for (size_t i = 0; i < n; i++) {
		struct event_in was = row[i].in;
		struct block_row *to = &b->one[row[i].block].row[row[i].at];

		if (i == 0 || b->one[row[i].block].file != b->one[row[i - 1].block].file) {
			prev = NO_TIME;
			if (newest_first(s, b->one[row[i].block].file, &newest, e))
				return -1;
		}
		/* The row before stood in for a reset clock: where it moves, that moves along. */
		if (was.marks & MARK_RESET && !was.has_received && prev != NO_TIME)
			row[i].in.shift += (was_prev - prev) / SECOND;
		derive(tz, newest, &prev, &row[i].in);
		if (!(was.marks & MARK_RESET))
			was_prev = (was.wall - was.shift) * SECOND + was.ms;
		if (row[i].in.shift == was.shift && row[i].in.marks == was.marks)
			continue;
		changed[row[i].block] = true;
		to->shift = row[i].in.shift;
		to->marks = row[i].in.marks;
	}
	return 0;
}

int
store_derive(struct store *s, int64_t account, const void *tz, derive_fn *derive, struct err *e)
{
	struct blocks b = { 0 };
	struct placed *row = NULL;
	bool *changed = NULL, any = false;
	size_t n;
	int rc = read_blocks(s, account, &b, e);

	if (rc == 0) {
		row = place_rows(&b, &n);
		changed = x_calloc(b.n, sizeof *changed);
		rc = resolve_rows(s, &b, row, n, changed, tz, derive, e);
	}
	for (size_t i = 0; rc == 0 && i < b.n; i++) {
		any |= changed[i];
		if (changed[i])
			rc = stored_block_write(s, &b.one[i], e);
	}
	for (size_t i = 0; i < b.n; i++)
		stored_block_release(&b.one[i]);
	free(b.one);
	free(row);
	free(changed);
	if (rc || !any)
		return rc;
	return stored_due(s, account, e);
}
