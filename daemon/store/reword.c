/* reword.c - the meaning of stored events, anew from what was read. */
#include "daemon/store/reword.h"

#include <stdlib.h>

#include "daemon/base/words.h"
#include "daemon/store/load.h"
#include "daemon/store/stored.h"
#include "rules/view.h"

/* The stored cell of the same text that implies `hint`; a new one where there is none
 * and there is room. */
static int
cell_for(struct store *s, int64_t cell, uint8_t hint, int64_t *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT id FROM cell WHERE hint = ?2"
	    " AND cell = (SELECT cell FROM cell WHERE id = ?1) ORDER BY id LIMIT 1", e);
	int64_t most;
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, cell);
	sqlite3_bind_int(st, 2, hint);
	if ((rc = db_step(s, st, e)) < 0)
		return -1;
	*out = rc ? sqlite3_column_int64(st, 0) : cell;
	sqlite3_reset(st);
	if (rc)
		return 0;
	if (db_number(s, "SELECT max(id) FROM cell", &most, e))
		return -1;
	if (most >= CELL_MAX)
		return 0;
	if (!(st = db_stmt(s, "INSERT INTO cell SELECT ?1, cell, ?3, word, marks FROM cell WHERE id = ?2", e)))
		return -1;
	*out = most + 1;
	sqlite3_bind_int64(st, 1, *out);
	sqlite3_bind_int64(st, 2, cell);
	sqlite3_bind_int(st, 3, hint);
	return db_run(s, st, e);
}

static bool
life(uint8_t word, uint16_t marks, uint8_t hint)
{
	return word_properties(word) & WP_LIFE || marks & MARK_LIFE_CODE || kind_is_life(hint);
}

/* One event anew; *news: it means something else now. */
static int
reword_row(struct store *s, struct stored_block *b, struct block_row *r, reword_fn *reword,
    void *ctx, struct reworded *sum, bool *news, struct err *e)
{
	struct span text = r->text;
	const char *phrase;
	struct word_in now;
	uint8_t hint = s->cell_hint[r->cell - 1];
	int64_t cell = r->cell;

	if (r->phrase) {
		if (stored_phrase(s, r->phrase, &b->arena, &phrase, e))
			return -1;
		text = span_of(phrase);
	}
	if (!reword(ctx, span_of(s->cell[r->cell - 1]), text, &now)) {
		sum->kept++;
		return 0;
	}
	now.marks |= r->marks & (uint16_t)~REWORD_MARKS;
	if (now.word == r->word && now.marks == r->marks && now.hint == hint)
		return 0;
	sum->changed++;
	sum->less_life += life(r->word, r->marks, hint) && !life(now.word, now.marks, now.hint);
	if (now.hint != hint && (cell_for(s, r->cell, now.hint, &cell, e) || load_cells(s, e)))
		return -1;
	r->cell = (uint32_t)cell;
	r->word = now.word;
	r->marks = now.marks;
	*news = true;
	return 0;
}

static int
reword_block(struct store *s, int64_t account, int64_t block, reword_fn *reword, void *ctx,
    struct reworded *sum, struct err *e)
{
	struct stored_block b;
	bool news = false;
	int rc = stored_block_read(s, account, block, s->cell_word, s->cell_marks,
	    (uint32_t)s->n_cell, &b, e);

	for (int i = 0; rc == 0 && i < b.n; i++) {
		if (b.row[i].cell - 1 >= s->n_cell)
			rc = err_set(e, ERR_STORE, NULL, 0, "block %lld names a cell that is not there",
			    (long long)block);
		else
			rc = reword_row(s, &b, &b.row[i], reword, ctx, sum, &news, e);
	}
	/* A cell may have come since the block was read. */
	b.base.word = s->cell_word;
	b.base.marks = s->cell_marks;
	b.base.n_cell = (uint32_t)s->n_cell;
	if (rc == 0 && news)
		rc = stored_block_write(s, &b, e);
	stored_block_release(&b);
	if (rc || !news)
		return rc;
	return stored_due(s, account, e);
}

int
store_reword(struct store *s, int64_t file, int64_t wordings, reword_fn *reword, void *ctx,
    struct reworded *sum, struct err *e)
{
	struct { int64_t account, block; } *list = NULL;
	size_t n = 0, cap = 0;
	sqlite3_stmt *st = db_stmt(s, "SELECT account, block FROM run WHERE file = ?1", e);
	int rc;

	if (!st || load_cells(s, e))
		return -1;
	sqlite3_bind_int64(st, 1, file);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, n + 1, sizeof *list);
		list[n].account = sqlite3_column_int64(st, 0);
		list[n++].block = sqlite3_column_int64(st, 1);
	}
	for (size_t i = 0; rc == 0 && i < n; i++)
		rc = reword_block(s, list[i].account, list[i].block, reword, ctx, sum, e);
	free(list);
	if (rc || !(st = db_stmt(s, "UPDATE file SET wordings = ?2 WHERE id = ?1", e)))
		return -1;
	sqlite3_bind_int64(st, 1, file);
	sqlite3_bind_int64(st, 2, wordings);
	return db_run(s, st, e);
}

/* The files that a query with the one parameter `id` names. */
static int
reword_all(struct store *s, const char *sql, int64_t id, int64_t wordings, reword_fn *reword,
    void *ctx, struct reworded *sum, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, sql, e);
	int64_t *file = NULL;
	size_t n = 0, cap = 0;
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, id);
	while ((rc = db_step(s, st, e)) > 0) {
		file = x_grow(file, &cap, n + 1, sizeof *file);
		file[n++] = sqlite3_column_int64(st, 0);
	}
	for (size_t i = 0; rc == 0 && i < n; i++)
		rc = store_reword(s, file[i], wordings, reword, ctx, sum, e);
	free(file);
	return rc;
}

int
store_reword_versions(struct store *s, int64_t wordings, reword_fn *reword, void *ctx,
    struct reworded *n, struct err *e)
{
	return reword_all(s, "SELECT f.id FROM file f JOIN file w ON w.id = f.wordings"
	    " JOIN file now ON now.id = ?1 AND now.place = w.place AND now.id <> w.id"
	    " WHERE f.kind = 'events' ORDER BY f.id", wordings, wordings, reword, ctx, n, e);
}

int
store_reword_copies(struct store *s, int64_t file, reword_fn *reword, void *ctx,
    struct reworded *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT wordings FROM file WHERE id = ?1", e);
	int64_t wordings;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, file);
	if (db_step(s, st, e) < 0)
		return -1;
	wordings = sqlite3_column_int64(st, 0);
	sqlite3_reset(st);
	return reword_all(s, "SELECT f.id FROM file f JOIN file g ON g.size = f.size"
	    " AND g.crc32 = f.crc32 AND g.kind = f.kind AND g.id > f.id WHERE g.id = ?1"
	    " AND f.kind = 'events' AND f.wordings IS NOT g.wordings ORDER BY f.id", file, wordings,
	    reword, ctx, n, e);
}
