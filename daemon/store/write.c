/* write.c - the flow of batches into the store. */
#include "daemon/store/write.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/store/tables.h"
#include "daemon/store/writer.h"
#include "rules/view.h"

/* About as many rows as an account has in a batch. */
enum { AHEAD = 24 };

/* ---- cover and due --------------------------------------------------------- */

/* Local walls, seconds, of rows whose instant hangs on the account's zone; lo > hi: none. */
struct local { int64_t lo, hi; };

static void
bind_wall(sqlite3_stmt *st, int i, int64_t wall, const struct local *l)
{
	if (l->lo <= l->hi)
		sqlite3_bind_int64(st, i, wall);
}

/* The file speaks for the account. Unless another file has told as much, it is due; who is
 * so for its rows is not asked, since that looks through all files that speak for it. */
static int
add_cover(struct writer *w, const struct acct *a, const struct piece *p, const struct local *l,
    struct err *e)
{
	int64_t account = a->store.id;
	sqlite3_stmt *st = db_stmt(w->store, "INSERT INTO cover VALUES(?1, ?2, ?3, ?4)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, w->file_id[p->file]);
	sqlite3_bind_int64(st, 2, account);
	bind_wall(st, 3, l->lo, l);
	bind_wall(st, 4, l->hi, l);
	if (db_run(w->store, st, e))
		return -1;
	if (a->store.due)
		return 0;
	if (!(st = db_stmt(w->store, "INSERT OR IGNORE INTO due"
	    " SELECT ?1 WHERE ?2 IS NOT NULL AND NOT EXISTS (SELECT 1 FROM cover c"
	    "  CROSS JOIN file f ON f.id = c.file WHERE c.account = ?1 AND c.file <> ?4"
	    "  AND f.from_at <= ?2 AND f.to_at >= ?3)", e)))
		return -1;
	sqlite3_bind_int64(st, 1, account);
	db_bind_time(st, 2, p->from);
	db_bind_time(st, 3, p->to);
	sqlite3_bind_int64(st, 4, w->file_id[p->file]);
	return db_run(w->store, st, e);
}

/* With `--covers all` a file speaks for every account of sites. */
static int
due_sites(struct writer *w, struct err *e)
{
	sqlite3_stmt *st = db_stmt(w->store, "INSERT OR IGNORE INTO due SELECT a.id FROM account a"
	    " WHERE EXISTS (SELECT 1 FROM site s WHERE s.account = a.account)", e);

	return st ? db_run(w->store, st, e) : -1;
}

static void
see_local(const struct writer *w, size_t from, size_t to, struct local *l)
{
	for (size_t i = from; i < to && !w->o.stated; i++) {
		const struct event_in *r = &w->b->row[i];
		int16_t offset = r->has_received ? r->received_offset : r->offset;
		int64_t wall = r->has_received ? r->received : r->wall;

		if (offset != OFFSET_NONE || (r->marks & MARK_RESET && !r->has_received))
			continue;
		l->lo = wall < l->lo ? wall : l->lo;
		l->hi = wall > l->hi ? wall : l->hi;
	}
}

/* ---- files ----------------------------------------------------------------- */

static int
begin(struct writer *w, struct err *e)
{
	int64_t last, removal;

	if (w->in_txn)
		return 0;
	if (db_exec(w->store, "BEGIN IMMEDIATE", e))
		return -1;
	w->in_txn = true;
	/* What this side remembers of accounts and cells would be wrong then. */
	if (db_number(w->store, "SELECT max(id) FROM file", &last, e) ||
	    db_number(w->store, "SELECT max(id) FROM removal", &removal, e))
		return -1;
	if (last != w->last_file || removal != w->last_removal)
		return err_set(e, ERR_STORE, w->store->path, 0, "another process took files in, or"
		    " removed old events, at the same time; what was not taken in is as it was: run this"
		    " again");
	if (db_number(w->store, "SELECT max(id) FROM block", &last, e))
		return -1;
	w->next_block = last + 1;
	if (db_number(w->store, "SELECT max(id) FROM phrase", &last, e))
		return -1;
	w->first_phrase = last + 1;
	return 0;
}

static int
commit(struct writer *w, struct err *e)
{
	if (!w->in_txn)
		return 0;
	if (place_serials(w, e))
		return -1;
	for (size_t i = 0; i < w->n_touched; i++)
		if (w->touched[i]->store.rederive && store_derive(w->store,
		    w->touched[i]->store.id, w->touched[i]->tz, w->o.derive, e))
			return -1;
	if (db_number(w->store, "SELECT max(id) FROM file", &w->last_file, e) ||
	    db_exec(w->store, "COMMIT", e))
		return -1;
	w->in_txn = false;
	place_commit(w);
	return 0;
}

static void
roll_back(struct writer *w)
{
	if (!w->in_txn)
		return;
	sqlite3_exec(w->store->db, "ROLLBACK", NULL, NULL, NULL);
	w->in_txn = false;
	w->open_file = 0;
	w->n_seen = 0;
	repeat_forget(w);
	place_rollback(w);
}

static int
begin_file(struct writer *w, const struct piece *p, struct err *e)
{
	sqlite3_stmt *st = db_stmt(w->store, "INSERT INTO file(name, kind, size, crc32, taken, place,"
	    " header, separator, ignored, newest_first, covers_all, rows, stored, repeated, set_aside,"
	    " wordings)"
	    " VALUES(?1, 'events', 0, 0, ?2, ?3, ?4, ?5, ?6, ?7, ?8, 0, 0, 0, 0, nullif(?9, 0))", e);
	size_t old = w->cap_file;

	if (!st)
		return -1;
	db_bind_text(st, 1, p->name);
	sqlite3_bind_int64(st, 2, w->o.taken);
	db_bind_text(st, 3, p->place);
	db_bind_text(st, 4, p->header);
	db_bind_span(st, 5, (struct span){ &p->separator, 1 });
	db_bind_text(st, 6, p->ignored);
	sqlite3_bind_int(st, 7, p->newest_first);
	sqlite3_bind_int(st, 8, w->o.covers_all);
	sqlite3_bind_int64(st, 9, p->wordings);
	if (db_run(w->store, st, e))
		return -1;
	w->file_id = x_grow(w->file_id, &w->cap_file, p->file + 1u, sizeof *w->file_id);
	if (w->cap_file > old)
		memset(w->file_id + old, 0, (w->cap_file - old) * sizeof *w->file_id);
	w->file_id[p->file] = sqlite3_last_insert_rowid(w->store->db);
	return 0;
}

static int
end_file(struct writer *w, const struct piece *p, int64_t rows, int64_t stored, int64_t repeated,
    int64_t aside, int64_t expired, struct err *e)
{
	sqlite3_stmt *st = db_stmt(w->store, "UPDATE file SET size = ?2, crc32 = ?3, rows = ?4,"
	    " stored = ?5, repeated = ?6, set_aside = ?7, from_at = ?8, to_at = ?9, sure_from = ?10,"
	    " sure_to = ?11, expired = ?12 WHERE id = ?1", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, w->file_id[p->file]);
	sqlite3_bind_int64(st, 2, (int64_t)p->size);
	sqlite3_bind_int64(st, 3, p->crc32);
	sqlite3_bind_int64(st, 4, rows);
	sqlite3_bind_int64(st, 5, stored);
	sqlite3_bind_int64(st, 6, repeated);
	sqlite3_bind_int64(st, 7, aside);
	db_bind_time(st, 8, p->from);
	db_bind_time(st, 9, p->to);
	db_bind_time(st, 10, p->sure_from);
	db_bind_time(st, 11, p->sure_to);
	sqlite3_bind_int64(st, 12, expired);
	if (db_run(w->store, st, e) || file_asides_once(w->store, w->file_id[p->file], e) ||
	    file_cover_once(w->store, w->file_id[p->file], e))
		return -1;
	return w->o.covers_all ? due_sites(w, e) : 0;
}

static int
keep_asides(struct writer *w, const struct piece *p, struct err *e)
{
	for (size_t i = p->aside; i < p->aside + p->n_aside; i++) {
		const struct aside_in *a = &w->b->aside[i];
		sqlite3_stmt *st = db_stmt(w->store, "INSERT INTO aside VALUES(?1, ?2, ?3, ?4)", e);

		if (!st)
			return -1;
		sqlite3_bind_int64(st, 1, w->file_id[p->file]);
		sqlite3_bind_int64(st, 2, a->line);
		db_bind_text(st, 3, a->reason);
		sqlite3_bind_blob(st, 4, w->b->text + a->raw, (int)a->n_raw, SQLITE_STATIC);
		if (db_run(w->store, st, e))
			return -1;
	}
	return 0;
}

/* ---- rows ------------------------------------------------------------------ */

/* An account of the spanning file; its cover is written when the file's end is known. */
static void
see_spanning(struct writer *w, struct acct *a, uint32_t file, size_t from, size_t to)
{
	struct local l = { INT64_MAX, INT64_MIN };

	if (a->store.last_file != file) {
		a->store.last_file = file;
		w->seen = x_grow(w->seen, &w->cap_seen, w->n_seen + 1, sizeof *w->seen);
		w->seen[w->n_seen++] = a;
	} else {
		l = (struct local){ a->store.local_lo, a->store.local_hi };
	}
	see_local(w, from, to, &l);
	a->store.local_lo = l.lo;
	a->store.local_hi = l.hi;
}

/* One kept row behind the block in hand; a full block is followed by the next one. */
static void
add_event(struct writer *w, struct new_run *run, uint32_t row, int64_t phrase)
{
	const struct event_in *r = &w->b->row[row];
	const char *p = w->b->text + r->text + r->n[0] + r->n[1] + r->n[2] + 3;
	struct block_base base = { .lo = run->lo, .shift = run->shift, .offset = run->offset,
	    .word = w->cell_word, .marks = w->cell_marks, .n_cell = w->n_stored_cell };
	struct block_row out = { .wall = r->wall, .ms = r->ms, .offset = r->offset, .shift = r->shift,
	    .line = r->line, .point = w->point[row - w->first], .cell = w->cell_id[r->cell],
	    .word = r->word, .marks = r->marks, .has_received = r->has_received,
	    .received = r->received, .received_ms = r->received_ms,
	    .received_offset = r->received_offset, .phrase = phrase };

	out.user = (struct span){ p, r->n[RT_USER] };
	out.text = (struct span){ p + r->n[RT_USER] + 1, r->n[RT_TEXT] };
	out.signal = (struct span){ p + r->n[RT_USER] + r->n[RT_TEXT] + 2, r->n[RT_SIGNAL] };
	block_add(&w->events, &base, &out, run->n == 0);
	run->n++;
	run->hi = r->wall;
}

static struct new_run *
begin_run(struct writer *w, const struct acct *a, const struct event_in *r)
{
	struct new_run *run;

	w->run = x_grow(w->run, &w->cap_run, w->n_run + 1, sizeof *w->run);
	run = &w->run[w->n_run++];
	*run = (struct new_run){ .account = a->store.id, .block = w->next_block++,
	    .file = w->file_id[w->b->piece[r->piece].file], .lo = r->wall, .offset = r->offset,
	    .shift = r->shift, .at = w->events.n };
	return run;
}

static void
end_run(struct writer *w, struct new_run *run)
{
	block_end(&w->events);
	run->size = w->events.n - run->at;
}

/* Keeps what is no repeat of rows [from, to), which are of one account and one piece. */
static int
keep_rows(struct writer *w, size_t from, size_t to, struct err *e)
{
	struct piece *p = &w->b->piece[w->b->row[from].piece];
	struct acct *a = w->b->row[from].acct;
	struct local local = { INT64_MAX, INT64_MIN };
	struct new_run *run = NULL;
	uint32_t last_point = 0;
	int64_t n = 0, expired = 0, phrase;

	for (size_t i = from; i < to; i++) {
		const struct event_in *r = &w->b->row[i];
		uint32_t point = w->point[i - w->first];
		const char *text = w->b->text + r->text;

		if (w->repeat[i - w->first])
			continue;
		if (row_expired(r)) {
			expired++;
			continue;
		}
		phrase = 0;
		if (place_cell(w, r->cell, e) || (r->n[RT_TEXT] && place_phrase(w, text + r->n[0] + r->n[1] + r->n[2] + r->n[3] + 4,
		    r->n[RT_TEXT], r->text_hash, &phrase, e)))
			return -1;
		if (run && run->n == BLOCK_EVENTS) {
			end_run(w, run);
			run = NULL;
		}
		if (!run)
			run = begin_run(w, a, r);
		add_event(w, run, (uint32_t)i, phrase);
		last_point = point > last_point ? point : last_point;
		a->store.new_lo = r->wall < a->store.new_lo ? r->wall : a->store.new_lo;
		a->store.new_hi = r->wall > a->store.new_hi ? r->wall : a->store.new_hi;
		n++;
	}
	if (run)
		end_run(w, run);
	p->stored += n;
	p->expired += expired;
	p->repeated += (int64_t)(to - from) - n - expired;
	/* What is not kept is no proof that anything was covered. */
	if ((size_t)expired == to - from)
		return 0;
	if (n) {
		place_touch(w, a);
		place_keep_points(w, a, last_point);
		if (place_due(w, a, e))
			return -1;
	}
	if (!(p->begins && p->ends)) {
		see_spanning(w, a, p->file, from, to);
		return 0;
	}
	see_local(w, from, to, &local);
	return add_cover(w, a, p, &local, e);
}

static int
take_account(struct writer *w, size_t from, size_t to, bool spanning, struct err *e)
{
	struct acct *a = w->b->row[from].acct;
	bool many = w->b->row[from].piece != w->b->row[to - 1].piece;

	if (place_account(w, a, e))
		return -1;
	for (size_t i = from; i < to; i++) {
		const struct event_in *r = &w->b->row[i];

		w->point[i - w->first] = place_point(w, a, w->b->text + r->text,
		    (size_t)r->n[0] + r->n[1] + r->n[2] + 2, r->point_hash);
		place_phrase_soon(w, r->text_hash);
	}
	if (repeat_find(w, from, to, spanning, many, e))
		return -1;
	for (size_t i = from, j; i < to; i = j) {
		for (j = i + 1; j < to && w->b->row[j].piece == w->b->row[i].piece; j++)
			;
		if (keep_rows(w, i, j, e))
			return -1;
	}
	return 0;
}

/* Accounts lie all over memory: ask for what the next ones need. */
static void
ask_ahead(const struct writer *w, size_t next, size_t end)
{
	const struct acct *a = next < end ? w->b->row[next].acct : NULL;
	const struct acct *later = next + AHEAD < end ? w->b->row[next + AHEAD].acct : NULL;

	if (later) {
		__builtin_prefetch(&later->store);
		__builtin_prefetch((const char *)&later->store + 64);
	}
	if (!a)
		return;
	for (uint32_t i = 0; i < a->store.n_slot; i += 16)
		__builtin_prefetch(&a->store.slot[i]);
	for (uint32_t i = 0; i < a->store.n_point && i < 2 * AHEAD; i++) {
		__builtin_prefetch(&a->store.point[i]);
	}
}

/* All rows of pieces [first, last], which are either whole files or one part. */
static int
take_rows(struct writer *w, size_t first, size_t last, bool spanning, struct err *e)
{
	size_t from = w->b->piece[first].row;
	size_t to = w->b->piece[last].row + w->b->piece[last].n_row;

	w->n_run = w->n_new_point = 0;
	w->events.n = 0;
	w->first = from;
	w->point = x_grow(w->point, &w->cap_point, to - from + 1, sizeof *w->point);
	w->repeat = x_grow(w->repeat, &w->cap_repeat, to - from + 1, sizeof *w->repeat);
	for (size_t i = from, j; i < to; i = j) {
		const struct acct *a = w->b->row[i].acct;

		/* Rows of failed files have no account any more and stand first. */
		for (j = i + 1; j < to && w->b->row[j].acct == a; j++)
			;
		ask_ahead(w, j, to);
		if (a && take_account(w, i, j, spanning, e))
			return -1;
	}
	if (w->n_run == 0)
		return 0;
	return db_exec(w->store, "INSERT INTO block(id, events) SELECT block, events FROM new_run;"
	    "INSERT INTO run(account, block, n, file, lo, hi, offset, shift)"
	    " SELECT account, block, n, file, lo, hi, offset, shift FROM new_run;"
	    "INSERT INTO point SELECT * FROM new_point", e);
}

static int
take_whole_files(struct writer *w, size_t first, size_t last, struct err *e)
{
	struct batch *b = w->b;

	if (begin(w, e))
		return -1;
	for (size_t p = first; p <= last; p++)
		if (!b->piece[p].failed && (begin_file(w, &b->piece[p], e) ||
		    keep_asides(w, &b->piece[p], e)))
			return -1;
	if (take_rows(w, first, last, false, e))
		return -1;
	for (size_t p = first; p <= last; p++) {
		struct piece *q = &b->piece[p];

		if (!q->failed && end_file(w, q, (int64_t)(q->n_row + q->n_aside), q->stored,
		    q->repeated, (int64_t)q->n_aside, q->expired, e))
			return -1;
	}
	return commit(w, e);
}

static int
take_part(struct writer *w, size_t at, struct err *e)
{
	struct piece *p = &w->b->piece[at];

	if (p->begins) {
		if (begin(w, e) || begin_file(w, p, e))
			return -1;
		w->open_file = p->file;
		w->open_rows = w->open_stored = w->open_repeated = w->open_aside = w->open_expired = 0;
	}
	if (p->failed) {
		roll_back(w);
		w->file_id[p->file] = 0;
		return 0;
	}
	if (keep_asides(w, p, e) || take_rows(w, at, at, true, e))
		return -1;
	w->open_rows += (int64_t)(p->n_row + p->n_aside);
	w->open_stored += p->stored;
	w->open_repeated += p->repeated;
	w->open_aside += (int64_t)p->n_aside;
	w->open_expired += p->expired;
	if (!p->ends)
		return 0;
	for (size_t i = 0; i < w->n_seen; i++) {
		const struct acct *a = w->seen[i];

		if (add_cover(w, a, p, &(struct local){ a->store.local_lo, a->store.local_hi }, e))
			return -1;
	}
	if (end_file(w, p, w->open_rows, w->open_stored, w->open_repeated, w->open_aside,
	    w->open_expired, e) || commit(w, e))
		return -1;
	w->open_file = 0;
	w->n_seen = 0;
	repeat_forget(w);
	return 0;
}

int
writer_take(struct writer *w, struct batch *b, const struct cell_list *cells, struct err *e)
{
	size_t i = 0, j;
	int rc = 0;

	w->b = b;
	w->cells = cells;
	place_cells(w, cells);
	while (rc == 0 && i < b->n_piece) {
		const struct piece *p = &b->piece[i];

		if (!(p->begins && p->ends)) {
			rc = take_part(w, i++, e);
			continue;
		}
		for (j = i; j + 1 < b->n_piece && b->piece[j + 1].begins && b->piece[j + 1].ends; j++)
			;
		rc = take_whole_files(w, i, j, e);
		i = j + 1;
	}
	if (rc)
		roll_back(w);
	return rc;
}

/* ---- life ------------------------------------------------------------------ */

struct writer *
writer_open(struct store *s, const struct write_options *o, struct err *e)
{
	struct writer *w = x_calloc(1, sizeof *w);

	w->store = s;
	w->o = *o;
	w->phrase = x_calloc(PHRASE_SLOTS, sizeof *w->phrase);
	w->phrase_text = x_calloc(PHRASE_SLOTS, sizeof *w->phrase_text);
	if (batch_table_make(w, e) || place_load_phrases(w, e) ||
	    db_number(s, "SELECT max(id) FROM file", &w->last_file, e) ||
	    db_number(s, "SELECT max(id) FROM removal", &w->last_removal, e)) {
		writer_close(w);
		return NULL;
	}
	return w;
}

int
writer_accounts(struct writer *w, int (*each)(void *ctx, const char *account,
    const char *receiver, const char *line, int64_t id), void *ctx, struct err *e)
{
	/* In the order in which their blocks lie: repeats are looked for account by account. */
	sqlite3_stmt *st = db_stmt(w->store, "SELECT account, receiver, line, id FROM account"
	    " ORDER BY id", e);
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(w->store, st, e)) > 0) {
		rc = each(ctx, (const char *)sqlite3_column_text(st, 0),
		    (const char *)sqlite3_column_text(st, 1),
		    (const char *)sqlite3_column_text(st, 2), sqlite3_column_int64(st, 3));
		if (rc)
			break;
	}
	sqlite3_reset(st);
	return rc;
}

int
writer_cells(struct writer *w, struct arena *a, struct cell_list *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(w->store, "SELECT cell, hint, word, marks FROM cell ORDER BY id", e);
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(w->store, st, e)) > 0 && out->n < CELL_MAX) {
		w->cell_index[out->n] = (uint16_t)out->n;
		w->cell_id[out->n] = out->n + 1;
		out->hint[out->n] = (uint8_t)sqlite3_column_int(st, 1);
		w->cell_word[out->n] = out->word[out->n] = (uint8_t)sqlite3_column_int(st, 2);
		w->cell_marks[out->n] = out->marks[out->n] = (uint16_t)sqlite3_column_int(st, 3);
		out->cell[out->n++] = db_text(st, 0, a);
	}
	w->n_stored_cell = w->kept_cell = out->n;
	return rc < 0 ? -1 : 0;
}

int64_t
writer_file_id(const struct writer *w, uint32_t file)
{
	return file < w->cap_file ? w->file_id[file] : 0;
}

void
writer_close(struct writer *w)
{
	if (!w)
		return;
	roll_back(w);
	repeat_forget(w);
	place_release(w);
	free(w->file_id);
	free(w->touched);
	free(w->seen);
	free(w->point);
	free(w->repeat);
	free(w->run);
	free(w->events.p);
	arena_release(&w->arena);
	arena_release(&w->scratch);
	arena_release(&w->block_arena);
	free(w);
}
