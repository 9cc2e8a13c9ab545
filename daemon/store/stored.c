#include "daemon/store/stored.h"

#include <stdlib.h>

void
block_base_of(sqlite3_stmt *st, int col, struct block_base *b)
{
	b->lo = sqlite3_column_int64(st, col);
	b->offset = sqlite3_column_type(st, col + 1) == SQLITE_NULL
	    ? OFFSET_NONE : (int16_t)sqlite3_column_int(st, col + 1);
	b->shift = sqlite3_column_int64(st, col + 2);
}

int
stored_block_read(struct store *s, int64_t account, int64_t block, const uint8_t *word,
    const uint16_t *marks, uint32_t n_cell, struct stored_block *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT r.file, r.lo, r.offset, r.shift, b.events"
	    " FROM run r CROSS JOIN block b ON b.id = r.block"
	    " WHERE r.account = ?1 AND r.block = ?2", e);
	int rc;

	*out = (struct stored_block){ .account = account, .block = block,
	    .base = { .word = word, .marks = marks, .n_cell = n_cell } };
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, account);
	sqlite3_bind_int64(st, 2, block);
	if ((rc = db_step(s, st, e)) < 0)
		return -1;
	if (rc) {
		out->file = sqlite3_column_int64(st, 0);
		block_base_of(st, 1, &out->base);
		out->row = arena_take(&out->arena, BLOCK_EVENTS * sizeof *out->row);
		/* Texts borrow from what is read, so that has to stay as well. */
		out->n = block_read(&out->base, span_of(db_text(st, 4, &out->arena)), &out->arena,
		    out->row);
		sqlite3_reset(st);
	}
	if (rc && out->n > 0)
		return 0;
	return err_set(e, ERR_STORE, s->path, 0, "block %lld cannot be read", (long long)block);
}

int
stored_block_write(struct store *s, struct stored_block *b, struct err *e)
{
	struct block_text text = { 0 };
	sqlite3_stmt *st;
	int rc = -1;

	b->base.offset = b->row[0].offset;
	b->base.shift = b->row[0].shift;
	for (int i = 0; i < b->n; i++)
		block_add(&text, &b->base, &b->row[i], i == 0);
	block_end(&text);
	if (!(st = db_stmt(s, "UPDATE block SET events = ?2 WHERE id = ?1", e)))
		goto out;
	sqlite3_bind_int64(st, 1, b->block);
	db_bind_span(st, 2, (struct span){ text.p, text.n });
	if (db_run(s, st, e) || !(st = db_stmt(s, "UPDATE run SET offset = ?3, shift = ?4"
	    " WHERE account = ?1 AND block = ?2", e)))
		goto out;
	sqlite3_bind_int64(st, 1, b->account);
	sqlite3_bind_int64(st, 2, b->block);
	if (b->base.offset != OFFSET_NONE)
		sqlite3_bind_int(st, 3, b->base.offset);
	sqlite3_bind_int64(st, 4, b->base.shift);
	rc = db_run(s, st, e);
out:
	free(text.p);
	return rc;
}

void
stored_block_release(struct stored_block *b)
{
	arena_release(&b->arena);
}

int
stored_phrase(struct store *s, int64_t id, struct arena *a, const char **out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT text FROM phrase WHERE id = ?1", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, id);
	if (db_step(s, st, e) < 0)
		return -1;
	*out = db_text(st, 0, a);
	sqlite3_reset(st);
	return 0;
}

int
stored_due(struct store *s, int64_t account, struct err *e)
{
	return db_run_id(s, "INSERT OR IGNORE INTO due VALUES(?1)", account, e);
}
