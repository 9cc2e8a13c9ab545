/* place.c - from texts to the numbers that stand for them in the store. */
#include "daemon/store/stored.h"
#include "daemon/store/writer.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"

void
place_touch(struct writer *w, struct acct *a)
{
	if (a->store.touched)
		return;
	a->store.touched = true;
	w->touched = x_grow(w->touched, &w->cap_touched, w->n_touched + 1, sizeof *w->touched);
	w->touched[w->n_touched++] = a;
}

int
place_due(struct writer *w, struct acct *a, struct err *e)
{
	if (a->store.due)
		return 0;
	a->store.due = true;
	place_touch(w, a);
	return stored_due(w->store, a->store.id, e);
}

/* ---- points ---------------------------------------------------------------- */

/* The three texts of a point after normalisation, in the same shape. */
static const char *
point_key(struct arena *a, const char *text)
{
	const char *zone = text + strlen(text) + 1, *serial = zone + strlen(zone) + 1;
	enum serial_fault fault;
	const char *plain = serial_plain(a, span_of(serial), &fault);

	/* A serial that cannot be read is compared as it stands. Leading zeros count
	 * here: the two spellings are one device, but not one row. */
	return arena_fmt(a, "%s\x1f%s\x1f%s", number_key(a, span_of(text)),
	    number_key(a, span_of(zone)), fault == SERIAL_OK || fault == SERIAL_NONE ? plain : serial);
}

static void
index_point(struct acct_store *s, uint32_t n)
{
	uint32_t at = s->point[n].hash & (s->n_slot - 1);

	while (s->slot[at])
		at = (at + 1) & (s->n_slot - 1);
	s->slot[at] = n + 1;
}

static void
reindex_points(struct acct_store *s, uint32_t n_slot)
{
	free(s->slot);
	s->slot = x_calloc(n_slot, sizeof *s->slot);
	s->n_slot = n_slot;
	for (uint32_t i = 0; i < s->n_point; i++)
		index_point(s, i);
}

static uint32_t
add_point(struct writer *w, struct acct_store *s, const char *text, size_t n, uint32_t hash)
{
	struct acct_point *p;

	s->point = x_grow(s->point, &s->cap_point, s->n_point + 1u, sizeof *s->point);
	p = &s->point[s->n_point];
	p->hash = hash;
	p->text = arena_bytes(&w->arena, text, n);
	p->n_text = (uint32_t)n;
	p->key = point_key(&w->arena, p->text);
	p->same = s->n_point;
	for (uint32_t i = 0; i < s->n_point; i++) {
		if (s->point[i].same == i && strcmp(s->point[i].key, p->key) == 0) {
			p->same = i;
			break;
		}
	}
	s->n_point++;
	if (s->n_point * 2 > s->n_slot)
		reindex_points(s, s->n_slot ? s->n_slot * 2 : 16);
	else
		index_point(s, s->n_point - 1);
	return s->n_point - 1;
}

uint32_t
place_point(struct writer *w, struct acct *a, const char *text, size_t n, uint32_t hash)
{
	struct acct_store *s = &a->store;

	for (uint32_t at = hash & (s->n_slot - 1); s->n_slot && s->slot[at];
	    at = (at + 1) & (s->n_slot - 1)) {
		const struct acct_point *p = &s->point[s->slot[at] - 1];

		if (p->hash == hash && p->n_text == n && memcmp(p->text, text, n) == 0)
			return s->slot[at] - 1;
	}
	place_touch(w, a);
	return add_point(w, s, text, n, hash);
}

void
place_keep_points(struct writer *w, struct acct *a, uint32_t upto)
{
	struct acct_store *s = &a->store;

	for (; s->kept_point <= upto; s->kept_point++) {
		const char *text = s->point[s->kept_point].text, *serial, *key;

		w->new_point = x_grow(w->new_point, &w->cap_new_point, w->n_new_point + 1,
		    sizeof *w->new_point);
		w->new_point[w->n_new_point++] = (struct new_point){ s->id, s->kept_point, text };
		serial = text + strlen(text) + 1;
		serial += strlen(serial) + 1;
		key = *serial ? serial_key(&w->serial_arena, span_of(serial)) : "";
		if (*key) {
			w->serial = x_grow(w->serial, &w->cap_serial, w->n_serial + 1, sizeof *w->serial);
			w->serial[w->n_serial++] = (struct new_serial){ key, s->id };
		}
	}
}

/* ---- accounts -------------------------------------------------------------- */

static int
load_account(struct writer *w, struct acct *a, struct err *e)
{
	struct acct_store *s = &a->store;
	sqlite3_stmt *st = db_stmt(w->store,
	    "SELECT partition, zone, serial FROM point WHERE account = ?1 ORDER BY n", e);
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, s->id);
	while ((rc = db_step(w->store, st, e)) > 0) {
		char *text;
		size_t n = 0;

		arena_reset(&w->scratch);
		text = arena_take(&w->scratch, (size_t)sqlite3_column_bytes(st, 0) +
		    (size_t)sqlite3_column_bytes(st, 1) + (size_t)sqlite3_column_bytes(st, 2) + 3);
		for (int i = 0; i < 3; i++) {
			struct span t = db_span(st, i);

			if (t.n)
				memcpy(text + n, t.p, t.n);
			n += t.n + 1;
		}
		add_point(w, s, text, n - 1, (uint32_t)span_hash((struct span){ text, n - 1 }));
	}
	if (rc < 0)
		return -1;
	s->kept_point = s->n_point;
	st = db_stmt(w->store, "SELECT min(lo), max(hi), (SELECT kept_from FROM account"
	    "  WHERE id = ?1) FROM run WHERE account = ?1", e);
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, s->id);
	if (db_step(w->store, st, e) < 0)
		return -1;
	if (sqlite3_column_type(st, 0) != SQLITE_NULL) {
		s->lo = sqlite3_column_int64(st, 0);
		s->hi = sqlite3_column_int64(st, 1);
	}
	if (sqlite3_column_type(st, 2) != SQLITE_NULL)
		s->kept_from = sqlite3_column_int64(st, 2) / SECOND;
	sqlite3_reset(st);
	return 0;
}

int
place_account(struct writer *w, struct acct *a, struct err *e)
{
	struct acct_store *s = &a->store;

	if (s->loaded)
		return 0;
	s->lo = s->new_lo = INT64_MAX;
	s->hi = s->new_hi = s->kept_from = INT64_MIN;
	if (s->id == 0) {
		sqlite3_stmt *st = db_stmt(w->store,
		    "INSERT INTO account(account, receiver, line) VALUES(?1, ?2, ?3)", e);

		if (!st)
			return -1;
		db_bind_text(st, 1, a->account);
		db_bind_text(st, 2, a->receiver);
		db_bind_text(st, 3, a->line);
		if (db_run(w->store, st, e))
			return -1;
		s->id = sqlite3_last_insert_rowid(w->store->db);
		s->fresh = true;
		place_touch(w, a);
	} else if (load_account(w, a, e)) {
		return -1;
	}
	s->loaded = true;
	return 0;
}

/* ---- event cells ----------------------------------------------------------- */

static void
learn_cell(struct writer *w, const struct cell_list *cells, uint32_t i)
{
	w->cell_same[i] = (uint16_t)i;
	for (uint32_t j = 0; j < i; j++) {
		if (w->cell_same[j] == j &&
		    span_eq_fold(span_of(cells->cell[i]), span_of(cells->cell[j]))) {
			w->cell_same[i] = (uint16_t)j;
			break;
		}
	}
}

void
place_cells(struct writer *w, const struct cell_list *cells)
{
	/* The reading side may be adding to it. */
	uint32_t n = __atomic_load_n(&cells->n, __ATOMIC_ACQUIRE);

	for (; w->n_cell < n; w->n_cell++)
		learn_cell(w, cells, w->n_cell);
}

int
place_cell(struct writer *w, uint16_t index, struct err *e)
{
	sqlite3_stmt *st;

	if (w->cell_id[index])
		return 0;
	if (!(st = db_stmt(w->store, "INSERT INTO cell VALUES(?1, ?2, ?3, ?4, ?5)", e)))
		return -1;
	sqlite3_bind_int64(st, 1, w->n_stored_cell + 1);
	db_bind_text(st, 2, w->cells->cell[index]);
	sqlite3_bind_int(st, 3, w->cells->hint[index]);
	sqlite3_bind_int(st, 4, w->cells->word[index]);
	sqlite3_bind_int(st, 5, w->cells->marks[index]);
	if (db_run(w->store, st, e))
		return -1;
	w->cell_word[w->n_stored_cell] = w->cells->word[index];
	w->cell_marks[w->n_stored_cell] = w->cells->marks[index];
	w->cell_index[w->n_stored_cell++] = index;
	w->cell_id[index] = w->n_stored_cell;
	return 0;
}

/* ---- phrases --------------------------------------------------------------- */

static void
remember_phrase(struct writer *w, int64_t id, const char *text, size_t n)
{
	struct phrase_text *t = &w->phrase_text[id & (PHRASE_SLOTS - 1)];

	free(t->text);
	t->text = x_alloc(n + 1);
	memcpy(t->text, text, n);
	t->text[n] = '\0';
	t->id = id;
	t->n = (uint32_t)n;
}

const char *
place_phrase_text(struct writer *w, int64_t id, size_t *n, struct err *e)
{
	struct phrase_text *t = &w->phrase_text[id & (PHRASE_SLOTS - 1)];

	if (t->id != id) {
		sqlite3_stmt *st = db_stmt(w->store, "SELECT text FROM phrase WHERE id = ?1", e);
		struct span s;

		if (!st)
			return NULL;
		sqlite3_bind_int64(st, 1, id);
		if (db_step(w->store, st, e) < 0)
			return NULL;
		s = db_span(st, 0);
		remember_phrase(w, id, s.p ? s.p : "", s.n);
		sqlite3_reset(st);
	}
	*n = t->n;
	return t->text;
}

/* A text is a phrase from its second coming on, as far as the table remembers; texts
 * that never repeat push one another out and stand in their events. */
void
place_phrase_soon(const struct writer *w, uint32_t hash)
{
	__builtin_prefetch(&w->phrase[hash & (PHRASE_SLOTS - 2)]);
}

int
place_phrase(struct writer *w, const char *text, size_t n, uint32_t hash, int64_t *id,
    struct err *e)
{
	struct phrase_slot *slot = &w->phrase[hash & (PHRASE_SLOTS - 2)], *two = slot + 1;
	sqlite3_stmt *st;
	size_t n_old;
	const char *old;

	*id = 0;
	if (n > PHRASE_LONGEST)
		return 0;
	if (two->hash == hash && slot->hash != hash)
		slot = two;
	if (slot->hash != hash) {
		/* A known phrase is worth more than a text met once. */
		if (slot->id && !two->id)
			slot = two;
		else if (slot->id)
			slot += hash >> 31;
		*slot = (struct phrase_slot){ hash, 0 };
		return 0;
	}
	if (slot->id) {
		old = place_phrase_text(w, slot->id, &n_old, e);
		if (!old)
			return -1;
		if (n_old == n && memcmp(old, text, n) == 0)
			*id = slot->id;
		return 0;
	}
	if (!(st = db_stmt(w->store, "INSERT INTO phrase(text) VALUES(?1)", e)))
		return -1;
	db_bind_span(st, 1, (struct span){ text, n });
	if (db_run(w->store, st, e))
		return -1;
	*id = sqlite3_last_insert_rowid(w->store->db);
	slot->id = (uint32_t)*id;
	remember_phrase(w, *id, text, n);
	return 0;
}

int
place_load_phrases(struct writer *w, struct err *e)
{
	sqlite3_stmt *st = db_stmt(w->store,
	    "SELECT id, text FROM phrase ORDER BY id DESC LIMIT 65536", e);
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(w->store, st, e)) > 0) {
		struct span t = db_span(st, 1);
		uint32_t hash = (uint32_t)span_hash(t);
		struct phrase_slot *slot = &w->phrase[hash & (PHRASE_SLOTS - 2)];

		if (slot->id)
			slot++;
		if (slot->id)
			continue;
		*slot = (struct phrase_slot){ hash, (uint32_t)sqlite3_column_int64(st, 0) };
		remember_phrase(w, slot->id, t.p ? t.p : "", t.n);
	}
	return rc;
}

/* ---- serials --------------------------------------------------------------- */

static int
by_serial(const void *a, const void *b)
{
	const struct new_serial *x = a, *y = b;
	int c = strcmp(x->serial, y->serial);

	return c ? c : (x->account > y->account) - (x->account < y->account);
}

/* In order, so that a first load appends; accounts that share a serial with one that
 * met it now are due, because what they are told of it changes. */
int
place_serials(struct writer *w, struct err *e)
{
	if (w->n_serial == 0)
		return 0;
	qsort(w->serial, w->n_serial, sizeof *w->serial, by_serial);
	if (db_exec(w->store, "INSERT OR IGNORE INTO serial SELECT serial, account FROM new_serial;"
	    "INSERT OR IGNORE INTO due SELECT s.account FROM new_serial n CROSS JOIN serial s"
	    " ON s.serial = n.serial AND s.account <> n.account", e))
		return -1;
	w->n_serial = 0;
	arena_reset(&w->serial_arena);
	return 0;
}

/* ---- transactions ---------------------------------------------------------- */

void
place_commit(struct writer *w)
{
	for (size_t i = 0; i < w->n_touched; i++) {
		struct acct_store *s = &w->touched[i]->store;

		if (s->new_lo < s->lo)
			s->lo = s->new_lo;
		if (s->new_hi > s->hi)
			s->hi = s->new_hi;
		s->new_lo = INT64_MAX;
		s->new_hi = INT64_MIN;
		s->fresh = s->touched = s->rederive = s->due = false;
	}
	w->n_touched = 0;
	w->kept_cell = w->n_stored_cell;
}

/* What SQLite has taken back is taken back here too. */
void
place_rollback(struct writer *w)
{
	for (size_t i = 0; i < w->n_touched; i++) {
		struct acct_store *s = &w->touched[i]->store;

		if (s->fresh)
			s->id = 0;
		free(s->slot);
		free(s->point);
		s->slot = NULL;
		s->point = NULL;
		s->n_slot = s->n_point = s->kept_point = 0;
		s->cap_point = 0;
		s->fresh = s->touched = s->loaded = s->rederive = s->due = false;
	}
	w->n_touched = 0;
	while (w->n_stored_cell > w->kept_cell)
		w->cell_id[w->cell_index[--w->n_stored_cell]] = 0;
	for (size_t i = 0; i < PHRASE_SLOTS; i++) {
		if (w->phrase[i].id >= w->first_phrase)
			w->phrase[i] = (struct phrase_slot){ 0 };
		if (w->phrase_text[i].id >= w->first_phrase)
			w->phrase_text[i].id = 0;
	}
	w->n_serial = w->n_new_point = 0;
	arena_reset(&w->serial_arena);
}

void
place_release(struct writer *w)
{
	for (size_t i = 0; i < PHRASE_SLOTS; i++)
		free(w->phrase_text[i].text);
	free(w->phrase_text);
	free(w->phrase);
	free(w->serial);
	free(w->new_point);
	arena_release(&w->serial_arena);
}
