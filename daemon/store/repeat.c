/* repeat.c - which rows of one account are already in the store.
 *
 * The rows in hand are put into groups of equal rows of one piece. Stored rows in
 * their span of time stream past; each finds the groups it equals and is used up by
 * one row of each piece. Memory is bounded by the batch, not by what is stored.
 */
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

struct finder {
	struct writer *w;
	size_t         from;
	bool           spanning;
	struct group  *group;
	uint32_t       n_group;
	uint32_t      *slot, mask;	/* group + 1, of first groups */
	uint32_t      *next;		/* by position - from: next row of the group */
	struct fill { int64_t id; uint32_t row; } *fill;
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

/* Least id in [first, end) whose wall is >= `wall`; a run is in wall order. */
static int
run_begin(struct writer *w, int64_t first, int64_t end, int64_t wall, int64_t *out, struct err *e)
{
	while (first < end) {
		int64_t mid = first + (end - first) / 2;
		sqlite3_stmt *st = db_stmt(w->store, "SELECT wall FROM event WHERE id = ?1", e);
		int rc;

		if (!st)
			return -1;
		sqlite3_bind_int64(st, 1, mid);
		if ((rc = db_step(w->store, st, e)) < 0)
			return -1;
		if (rc == 0)
			return err_set(e, ERR_STORE, w->store->path, 0,
			    "a run names an event that is not there; see `tripsift status`");
		if (sqlite3_column_int64(st, 0) < wall)
			first = mid + 1;
		else
			end = mid;
		sqlite3_reset(st);
	}
	*out = first;
	return 0;
}

static int
read_run(struct finder *f, struct acct *a, int64_t first, int64_t end, struct err *e)
{
	struct writer *w = f->w;
	sqlite3_stmt *st;
	int rc;

	if (end - first > 256 && (run_begin(w, first, end, f->lo, &first, e) ||
	    run_begin(w, first, end, f->hi + 1, &end, e)))
		return -1;
	/* The range is asked of SQLite, which passes over rows faster than it hands them out. */
	st = db_stmt(w->store, "SELECT id, point, cell, wall, ms, offset, user, text, phrase,"
	    " received IS NULL FROM event WHERE id >= ?1 AND id < ?2 AND wall BETWEEN ?3 AND ?4", e);
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, first);
	sqlite3_bind_int64(st, 2, end);
	sqlite3_bind_int64(st, 3, f->lo);
	sqlite3_bind_int64(st, 4, f->hi);
	while ((rc = db_step(w->store, st, e)) > 0) {
		struct compared c;
		int64_t id = sqlite3_column_int64(st, 0), phrase;
		uint32_t point = (uint32_t)sqlite3_column_int64(st, 1);
		int64_t cell = sqlite3_column_int64(st, 2);

		c.wall = sqlite3_column_int64(st, 3);
		if (point >= a->store.n_point || cell < 1 || cell > w->n_stored_cell)
			return err_set(e, ERR_STORE, w->store->path, 0,
			    "event %lld names a place or a cell that is not there", (long long)id);
		c.same_point = a->store.point[point].same;
		c.same_cell = w->cell_same[w->cell_index[cell - 1]];
		c.ms = (uint16_t)sqlite3_column_int(st, 4);
		c.offset = sqlite3_column_type(st, 5) == SQLITE_NULL ? OFFSET_NONE
		                                                     : sqlite3_column_int(st, 5);
		c.user = user_key(db_span(st, 6));
		c.text = db_span(st, 7);
		phrase = sqlite3_column_int64(st, 8);
		if (phrase) {
			c.text.p = place_phrase_text(w, phrase, &c.text.n, e);
			if (!c.text.p)
				return -1;
		}
		meet_stored(f, id, &c, sqlite3_column_int(st, 9));
	}
	return rc;
}

static int
read_stored(struct finder *f, struct acct *a, struct err *e)
{
	struct writer *w = f->w;
	/* The spanning file's own rows are used already, by themselves. */
	int64_t own = f->spanning ? w->file_id[w->open_file] : 0;
	struct { int64_t first, end; } *run = NULL;
	size_t n = 0, cap = 0;
	sqlite3_stmt *st = db_stmt(w->store, "SELECT first, n FROM run"
	    " WHERE account = ?1 AND hi >= ?2 AND lo <= ?3 AND file <> ?4", e);
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, a->store.id);
	sqlite3_bind_int64(st, 2, f->lo);
	sqlite3_bind_int64(st, 3, f->hi);
	sqlite3_bind_int64(st, 4, own);
	while ((rc = db_step(w->store, st, e)) > 0) {
		run = x_grow(run, &cap, n + 1, sizeof *run);
		run[n].first = sqlite3_column_int64(st, 0);
		run[n].end = run[n].first + sqlite3_column_int64(st, 1);
		n++;
	}
	for (size_t i = 0; rc == 0 && i < n; i++)
		rc = read_run(f, a, run[i].first, run[i].end, e);
	free(run);
	return rc;
}

/* `received` and `signal` of a repeated row only fill what the stored row lacks. */
static int
fill_blanks(struct finder *f, struct acct *a, struct err *e)
{
	struct writer *w = f->w;

	for (size_t i = 0; i < f->n_fill; i++) {
		const struct event_in *r = &w->b->row[f->fill[i].row];
		size_t at = r->text;
		sqlite3_stmt *st = db_stmt(w->store, "UPDATE event SET"
		    " received_ms = iif(received IS NULL, ?3, received_ms),"
		    " received_offset = iif(received IS NULL, ?4, received_offset),"
		    " received = coalesce(received, ?2), signal = coalesce(signal, ?5)"
		    " WHERE id = ?1 AND ((received IS NULL AND ?2 IS NOT NULL)"
		    "  OR (signal IS NULL AND ?5 IS NOT NULL)) RETURNING marks", e);
		int rc, told = 0;
		bool news = false;

		if (!st)
			return -1;
		for (int t = 0; t < RT_SIGNAL; t++)
			at += r->n[t] + 1u;
		sqlite3_bind_int64(st, 1, f->fill[i].id);
		sqlite3_bind_int64(st, 3, 0);
		if (r->has_received) {
			sqlite3_bind_int64(st, 2, r->received);
			sqlite3_bind_int64(st, 3, r->received_ms);
			if (r->received_offset != OFFSET_NONE)
				sqlite3_bind_int64(st, 4, r->received_offset);
		}
		if (r->n[RT_SIGNAL])
			db_bind_span(st, 5, (struct span){ w->b->text + at, r->n[RT_SIGNAL] });
		while ((rc = db_step(w->store, st, e)) > 0) {
			told = sqlite3_column_int(st, 0);
			news = true;
		}
		if (rc < 0 || (news && place_due(w, a->store.id, e)))
			return -1;
		/* A receipt can tell which time was meant. */
		if (r->has_received && told & (MARK_RESET | MARK_REPEATED)) {
			place_touch(w, a);
			a->store.rederive = true;
		}
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

			for (uint32_t p = g->pending; p != NONE; p = f->next[p - f->from], n++) {
				if (n < before) {
					w->repeat[p - w->first] = true;
					fill_within(f, &w->b->row[kept[n]], &w->b->row[p]);
				} else {
					kept[n_kept++] = p;
				}
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
