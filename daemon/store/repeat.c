/* repeat.c - which rows of one account are already in the store.
 *
 * The rows in hand are put into groups of equal rows of one piece. Stored rows in
 * their span of time stream past; each finds the groups it equals and is used up by
 * one row of each piece. Memory is bounded by the batch, not by what is stored.
 */
#include "daemon/store/stored.h"
#include "daemon/store/writer.h"

#include <stdlib.h>
#include <string.h>

#include "rules/view.h"

enum { CHUNK_BITS = 16 };

/* Equal rows of one piece, in file order. Groups of the same row in other pieces of
 * the batch hang behind the first one. */
struct group {
	uint64_t hash;
	uint32_t first;			/* rows of the batch */
	uint32_t pending;		/* next one that has used up nothing yet; NONE */
	uint32_t last;
	uint32_t stored;		/* in the first group: equal stored rows met */
	uint32_t other, tail;		/* next group of the same row, last such; NONE */
};
#define NONE UINT32_MAX

struct fill { int64_t id; uint32_t row; };

struct finder {
	struct writer *w;
	size_t         from;
	bool           spanning;
	struct group  *group;
	uint32_t       n_group;
	uint32_t      *slot, mask;	/* group + 1, of first groups */
	uint32_t      *next;		/* by position - from: next row of the group */
	struct fill   *fill;
	size_t         n_fill, cap_fill;
	int64_t        lo, hi;
};

/* What a row is compared by, of either side. */
struct compared {
	int64_t     wall;
	uint32_t    same_point;
	uint16_t    same_cell, ms;
	int         offset;
	struct span user, text;
};

static uint64_t
stir(uint64_t h, uint64_t v)
{
	h = (h ^ v) * UINT64_C(0x9fb21c651e98df25);
	return h ^ (h >> 29);
}

/* A user number is compared without leading zeros. */
static struct span
user_key(struct span u)
{
	for (size_t i = 0; i < u.n; i++)
		if (u.p[i] < '0' || u.p[i] > '9')
			return u;
	while (u.n && u.p[0] == '0')
		u.p++, u.n--;
	return u;
}

static uint64_t
hash_of(const struct compared *c)
{
	uint64_t h = stir((uint64_t)c->wall, c->same_point);

	h = stir(h, (uint64_t)c->same_cell << 32 | (uint64_t)c->ms << 16 | (uint16_t)c->offset);
	return stir(stir(h, span_hash_fold(c->user)), span_hash(c->text));
}

static bool
equal(const struct compared *a, const struct compared *b)
{
	return a->wall == b->wall && a->same_point == b->same_point &&
	    a->same_cell == b->same_cell && a->ms == b->ms && a->offset == b->offset &&
	    span_eq_fold(a->user, b->user) && span_eq(a->text, b->text);
}

static void
from_batch(const struct writer *w, uint32_t position, struct compared *c)
{
	const struct event_in *r = &w->b->row[position];
	const char *p = w->b->text + r->text;
	size_t user = (size_t)r->n[0] + r->n[1] + r->n[2] + 3;

	c->wall = r->wall;
	c->ms = r->ms;
	c->offset = r->offset;
	c->same_point = r->acct->store.point[w->point[position - w->first]].same;
	c->same_cell = w->cell_same[r->cell];
	c->user = user_key((struct span){ p + user, r->n[RT_USER] });
	c->text = (struct span){ p + user + r->n[RT_USER] + 1, r->n[RT_TEXT] };
}

static void
add_row(struct finder *f, uint32_t position)
{
	struct writer *w = f->w;
	struct compared c, d;
	struct group *g = NULL, *head = NULL;
	uint64_t hash;
	uint32_t at;

	from_batch(w, position, &c);
	hash = hash_of(&c);
	for (at = (uint32_t)hash & f->mask; f->slot[at]; at = (at + 1) & f->mask) {
		head = &f->group[f->slot[at] - 1];
		from_batch(w, head->first, &d);
		if (head->hash == hash && equal(&c, &d))
			break;
		head = NULL;
	}
	f->next[position - f->from] = NONE;
	if (head) {
		/* Positions come piece by piece, so only the last group can be ours. */
		g = &f->group[head->tail];
		if (w->b->row[g->first].piece == w->b->row[position].piece) {
			f->next[g->last - f->from] = position;
			g->last = position;
			return;
		}
	}
	g = &f->group[f->n_group];
	*g = (struct group){ .hash = hash, .first = position, .pending = position,
	    .last = position, .other = NONE, .tail = f->n_group };
	if (head) {
		f->group[head->tail].other = f->n_group;
		head->tail = f->n_group;
	} else {
		f->slot[at] = f->n_group + 1;
	}
	f->n_group++;
}

/* ---- which stored rows this file has used ---------------------------------- */

static uint64_t *
used_word(struct writer *w, int64_t id)
{
	int64_t number = id >> CHUNK_BITS;
	size_t at;

	if ((w->n_used + 1) * 2 > w->cap_used) {
		struct used_chunk *old = w->used;
		size_t n_old = w->cap_used;

		w->cap_used = n_old ? n_old * 2 : 64;
		w->used = x_calloc(w->cap_used, sizeof *w->used);
		for (size_t i = 0; i < n_old; i++) {
			if (!old[i].bit)
				continue;
			at = (size_t)old[i].number & (w->cap_used - 1);
			while (w->used[at].bit)
				at = (at + 1) & (w->cap_used - 1);
			w->used[at] = old[i];
		}
		free(old);
	}
	for (at = (size_t)number & (w->cap_used - 1); w->used[at].bit;
	    at = (at + 1) & (w->cap_used - 1))
		if (w->used[at].number == number)
			break;
	if (!w->used[at].bit) {
		w->used[at].number = number;
		w->used[at].bit = x_calloc(1u << (CHUNK_BITS - 6), sizeof(uint64_t));
		w->n_used++;
	}
	return &w->used[at].bit[(id & ((1 << CHUNK_BITS) - 1)) >> 6];
}

void
repeat_forget(struct writer *w)
{
	for (size_t i = 0; i < w->cap_used; i++)
		free(w->used[i].bit);
	free(w->used);
	w->used = NULL;
	w->n_used = w->cap_used = 0;
}

/* ---- stored rows ----------------------------------------------------------- */

static void
use_up(struct finder *f, struct group *g, int64_t id, bool blank)
{
	struct writer *w = f->w;
	const struct event_in *r;

	if (g->pending == NONE)
		return;
	w->repeat[g->pending - w->first] = true;
	r = &w->b->row[g->pending];
	if ((blank && r->has_received) || r->n[RT_SIGNAL]) {
		f->fill = x_grow(f->fill, &f->cap_fill, f->n_fill + 1, sizeof *f->fill);
		f->fill[f->n_fill++] = (struct fill){ id, g->pending };
	}
	g->pending = f->next[g->pending - f->from];
}

static void
meet_stored(struct finder *f, int64_t id, const struct compared *c, bool blank)
{
	uint64_t hash = hash_of(c), *word, bit = UINT64_C(1) << (id & 63);

	for (uint32_t at = (uint32_t)hash & f->mask; f->slot[at]; at = (at + 1) & f->mask) {
		struct group *g = &f->group[f->slot[at] - 1];
		struct compared d;

		if (g->hash != hash)
			continue;
		from_batch(f->w, g->first, &d);
		if (!equal(c, &d))
			continue;
		if (f->spanning) {
			if (g->pending == NONE)
				return;
			word = used_word(f->w, id);
			if (!(*word & bit))
				use_up(f, g, id, blank);
			*word |= bit;
			return;
		}
		g->stored++;
		for (;;) {
			use_up(f, g, id, blank);
			if (g->other == NONE)
				return;
			g = &f->group[g->other];
		}
	}
}

static int
meet_block(struct finder *f, struct acct *a, int64_t block, const struct block_row *row, int n,
    struct err *e)
{
	struct writer *w = f->w;

	for (int i = 0; i < n; i++) {
		const struct block_row *r = &row[i];
		struct compared c = { .wall = r->wall, .ms = r->ms, .offset = r->offset,
		    .user = user_key(r->user), .text = r->text };

		if (r->wall < f->lo || r->wall > f->hi)
			continue;
		if (r->point >= a->store.n_point || r->cell - 1 >= w->n_stored_cell)
			return err_set(e, ERR_STORE, w->store->path, 0,
			    "block %lld names a place or a cell that is not there", (long long)block);
		c.same_point = a->store.point[r->point].same;
		c.same_cell = w->cell_same[w->cell_index[r->cell - 1]];
		if (r->phrase && !(c.text.p = place_phrase_text(w, r->phrase, &c.text.n, e)))
			return -1;
		meet_stored(f, block * BLOCK_EVENTS + i, &c, !r->has_received);
	}
	return 0;
}

static int
read_stored(struct finder *f, struct acct *a, struct err *e)
{
	struct writer *w = f->w;
	struct block_base base = { .word = w->cell_word, .marks = w->cell_marks,
	    .n_cell = w->n_stored_cell };
	struct block_row row[BLOCK_EVENTS];
	/* The spanning file's own rows are used already, by themselves. */
	int64_t own = f->spanning ? w->file_id[w->open_file] : 0;
	sqlite3_stmt *st = db_stmt(w->store, "SELECT r.block, r.lo, r.offset, r.shift, b.events"
	    " FROM run r CROSS JOIN block b ON b.id = r.block"
	    " WHERE r.account = ?1 AND r.hi >= ?2 AND r.lo <= ?3 AND r.file <> ?4", e);
	int rc, n;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, a->store.id);
	sqlite3_bind_int64(st, 2, f->lo);
	sqlite3_bind_int64(st, 3, f->hi);
	sqlite3_bind_int64(st, 4, own);
	while ((rc = db_step(w->store, st, e)) > 0) {
		arena_reset(&w->block_arena);
		block_base_of(st, 1, &base);
		n = block_read(&base, db_span(st, 4), &w->block_arena, row);
		if (n < 0 || meet_block(f, a, sqlite3_column_int64(st, 0), row, n, e)) {
			rc = n < 0 ? err_set(e, ERR_STORE, w->store->path, 0,
			    "block %lld cannot be read", (long long)sqlite3_column_int64(st, 0)) : -1;
			break;
		}
	}
	sqlite3_reset(st);
	return rc;
}

/* `received` and `signal` of a repeated row only fill what the stored row lacks. */
static bool
fill_row(struct block_row *to, const struct event_in *r, struct span signal)
{
	bool news = false;

	if (!to->has_received && r->has_received) {
		to->has_received = news = true;
		to->received = r->received;
		to->received_ms = r->received_ms;
		to->received_offset = r->received_offset;
	}
	if (to->signal.n == 0 && signal.n) {
		to->signal = signal;
		news = true;
	}
	return news;
}

static int
by_id(const void *a, const void *b)
{
	const struct fill *x = a, *y = b;

	return (x->id > y->id) - (x->id < y->id);
}

static int
fill_blanks(struct finder *f, struct acct *a, struct err *e)
{
	struct writer *w = f->w;
	struct stored_block block;

	if (f->n_fill == 0)
		return 0;
	qsort(f->fill, f->n_fill, sizeof *f->fill, by_id);
	for (size_t i = 0, j; i < f->n_fill; i = j) {
		int64_t id = f->fill[i].id / BLOCK_EVENTS;
		bool news = false;

		if (stored_block_read(w->store, a->store.id, id, w->cell_word, w->cell_marks,
		    w->n_stored_cell, &block, e))
			return -1;
		for (j = i; j < f->n_fill && f->fill[j].id / BLOCK_EVENTS == id; j++) {
			const struct event_in *r = &w->b->row[f->fill[j].row];
			struct block_row *to = &block.row[f->fill[j].id % BLOCK_EVENTS];
			size_t at = r->text;

			for (int t = 0; t < RT_SIGNAL; t++)
				at += r->n[t] + 1u;
			if (!fill_row(to, r, (struct span){ w->b->text + at, r->n[RT_SIGNAL] }))
				continue;
			news = true;
			/* A receipt can tell which time was meant. */
			if (r->has_received && to->marks & (MARK_RESET | MARK_REPEATED)) {
				place_touch(w, a);
				a->store.rederive = true;
			}
		}
		if (news && (stored_block_write(w->store, &block, e) || place_due(w, a, e))) {
			stored_block_release(&block);
			return -1;
		}
		stored_block_release(&block);
	}
	return 0;
}

/* A row kept from this batch gets what its repeat in another piece knows more. */
static void
fill_within(struct finder *f, struct event_in *to, const struct event_in *from)
{
	struct batch *b = f->w->b;
	size_t size = 0, more = from->n[RT_SIGNAL];

	if (!to->has_received && from->has_received) {
		to->has_received = true;
		to->received = from->received;
		to->received_ms = from->received_ms;
		to->received_offset = from->received_offset;
		if (to->marks & (MARK_RESET | MARK_REPEATED))
			to->acct->store.rederive = true;
	}
	if (to->n[RT_SIGNAL] || !more)
		return;
	for (int i = 0; i < RT_SIGNAL; i++)
		size += to->n[i] + 1u;
	b->text = x_grow(b->text, &b->cap_text, b->n_text + size + more + 1, 1);
	memcpy(b->text + b->n_text, b->text + to->text, size);
	memcpy(b->text + b->n_text + size, b->text + from->text +
	    (size_t)from->n[0] + from->n[1] + from->n[2] + from->n[3] + from->n[4] + 5, more + 1);
	to->text = (uint32_t)b->n_text;
	to->n[RT_SIGNAL] = from->n[RT_SIGNAL];
	b->n_text += size + more + 1;
}

/* Rows of later pieces also use up what earlier pieces of this batch add. */
static void
use_up_within(struct finder *f, uint32_t *kept)
{
	struct writer *w = f->w;

	for (uint32_t i = 0; i < f->n_group; i++) {
		struct group *g = &f->group[i];
		uint32_t n_kept = 0;

		if (g->tail == i)	/* alone, or not the first of its row */
			continue;
		for (;;) {
			uint32_t n = 0, before = n_kept;

			for (uint32_t p = g->pending; p != NONE; p = f->next[p - f->from]) {
				if (row_expired(&w->b->row[p]))
					continue;	/* is not kept, so nothing repeats it */
				if (n < before) {
					w->repeat[p - w->first] = true;
					fill_within(f, &w->b->row[kept[n]], &w->b->row[p]);
				} else {
					kept[n_kept++] = p;
				}
				n++;
			}
			if (g->other == NONE)
				break;
			g = &f->group[g->other];
		}
	}
}

int
repeat_find(struct writer *w, size_t from, size_t to, bool spanning, bool many_pieces,
    struct err *e)
{
	struct acct *a = w->b->row[from].acct;
	struct finder f = { .w = w, .from = from, .spanning = spanning, .lo = INT64_MAX,
	    .hi = INT64_MIN };
	size_t n = to - from, slots = 8;
	bool stored;
	int rc = 0;

	memset(w->repeat + (from - w->first), 0, n * sizeof *w->repeat);
	for (size_t i = from; i < to; i++) {
		int64_t wall = w->b->row[i].wall;

		if (wall < f.lo)
			f.lo = wall;
		if (wall > f.hi)
			f.hi = wall;
	}
	stored = a->store.lo <= f.hi && a->store.hi >= f.lo;
	if (!stored && !many_pieces)
		return 0;
	while (slots < 2 * n)
		slots *= 2;
	arena_reset(&w->scratch);
	f.mask = (uint32_t)slots - 1;
	f.slot = arena_take(&w->scratch, slots * sizeof *f.slot);
	f.group = arena_take(&w->scratch, n * sizeof *f.group);
	f.next = arena_take(&w->scratch, n * sizeof *f.next);
	for (size_t i = from; i < to; i++)
		add_row(&f, (uint32_t)i);
	if (stored)
		rc = read_stored(&f, a, e);
	if (rc == 0 && many_pieces)
		use_up_within(&f, arena_take(&w->scratch, n * sizeof(uint32_t)));
	if (rc == 0)
		rc = fill_blanks(&f, a, e);
	free(f.fill);
	return rc;
}
