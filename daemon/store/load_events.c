/* load_events.c - points and events of one account. */
#include <stdlib.h>
#include <string.h>

#include "daemon/store/last.h"
#include "daemon/store/load_part.h"
#include "daemon/store/stored.h"

int
load_points(struct store *s, struct view *v, int64_t id, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s,
	    "SELECT partition, zone, serial FROM point WHERE account = ?1 ORDER BY n", e);
	struct point *list = NULL;
	size_t n = v->n_point, cap = 0;
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, id);
	list = x_grow(NULL, &cap, n + 32, sizeof *list);
	if (n)
		memcpy(list, v->point, n * sizeof *list);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, n + 1, sizeof *list);
		list[n++] = (struct point){ .partition = db_text(st, 0, &v->arena),
		    .zone = db_text(st, 1, &v->arena), .serial = db_text(st, 2, &v->arena) };
	}
	v->point = arena_take(&v->arena, (n + 1) * sizeof *list);
	memcpy(v->point, list, n * sizeof *list);
	v->n_point = n;
	free(list);
	return rc;
}

static const char *
no_zeros(const char *s)
{
	return s + strspn(s, "0");
}

/* Numbers by value, then everything else, so that no two points are equal. */
static int
by_place(const void *a, const void *b)
{
	const struct point *x = *(struct point *const *)a, *y = *(struct point *const *)b;
	const char *p = no_zeros(x->zone), *q = no_zeros(y->zone);
	int c = (strlen(p) > strlen(q)) - (strlen(p) < strlen(q));

	if (c || (c = strcmp(p, q)) || (c = strcmp(no_zeros(x->partition), no_zeros(y->partition))) ||
	    (c = strcmp(x->serial, y->serial)) || (c = strcmp(x->zone, y->zone)))
		return c;
	return strcmp(x->partition, y->partition);
}

/* Points in an order of their own, so that devices do not depend on which file was
 * read first; *rank says where each point went. */
void
load_sort_points(struct view *v, uint32_t **rank)
{
	struct point **sorted = x_alloc((v->n_point + 1) * sizeof *sorted), *moved;

	*rank = arena_take(&v->arena, (v->n_point + 1) * sizeof **rank);
	moved = arena_take(&v->arena, (v->n_point + 1) * sizeof *moved);
	for (size_t i = 0; i < v->n_point; i++)
		sorted[i] = &v->point[i];
	qsort(sorted, v->n_point, sizeof *sorted, by_place);
	for (size_t i = 0; i < v->n_point; i++) {
		(*rank)[sorted[i] - v->point] = (uint32_t)i;
		moved[i] = *sorted[i];
	}
	v->point = moved;
	free(sorted);
}

/* ---- events ---------------------------------------------------------------- */

static void
take_event(const struct store *s, struct view *v, const struct block_row *r, int64_t file,
    int64_t id, uint32_t base, struct event *ev)
{
	*ev = (struct event){ .id = id, .text = "", .user = "", .point = base + r->point,
	    .cell = r->cell - 1, .file = (uint32_t)file, .line = r->line,
	    .offset = (int32_t)r->shift, .device = -1, .word = r->word, .marks = r->marks,
	    .at = (r->wall - r->shift) * SECOND + r->ms, .received = NO_TIME };
	if (ev->cell < s->n_cell)
		ev->hint = s->cell_hint[ev->cell];
	if (r->has_received) {
		/* A local time of receipt is read with the event's own offset; where a clock was
		 * reset there is none, but there receipt is the event's time. */
		bool local = r->received_offset == OFFSET_NONE;
		int64_t offset = local ? r->shift : r->received_offset * 60;

		ev->received = local && r->marks & MARK_RESET ? ev->at :
		    (r->received - offset) * SECOND + r->received_ms;
	}
	if (r->signal.n) {
		enum strength_unit unit;

		if (strength_read(r->signal, &unit, &ev->signal))
			ev->signal_unit = (uint8_t)unit;
	}
	if (r->user.n)
		ev->user = arena_text(&v->arena, r->user);
}

/* Old events on their way: others came later in their place. */
struct old { struct last last; size_t gone; };
#define GONE UINT32_MAX	/* as its point */

/* Takes those that are gone out of the list, which is the view's from `first` on. */
static void
squeeze(struct old *o, struct event *list, size_t first, size_t *n)
{
	size_t *moved = x_alloc((*n - first + 1) * sizeof *moved), to = first;

	for (size_t i = first; i < *n; i++) {
		moved[i - first] = to;
		if (list[i].point != GONE)
			list[to++] = list[i];
	}
	for (size_t i = 0; i < o->last.cap; i++)
		if (o->last.slot[i].taken)
			o->last.slot[i].which = moved[o->last.slot[i].which - first];
	free(moved);
	o->gone = 0;
	*n = to;
}

/* Is the old event list[at] the last of its kind and place so far? */
static bool
keep_last(struct old *o, struct event *list, size_t at)
{
	size_t gone;

	if (!last_add(&o->last, list[at].point, list[at].cell, list[at].at, at, &gone))
		return false;
	if (gone != SIZE_MAX) {
		list[gone].point = GONE;
		o->gone++;
	}
	return true;
}

/* Adds the events of one stored account to the view; their points come behind `base`. */
int
load_events(struct store *s, struct view *v, int64_t id, uint32_t base, int64_t as_of, bool texts,
    struct event **list, size_t *cap, struct err *e)
{
	enum { GONE_MOST = 10000 };
	struct old old = { 0 };
	size_t first = v->n_event;
	struct block_base ordinary = { .word = s->cell_word, .marks = s->cell_marks,
	    .n_cell = (uint32_t)s->n_cell };
	struct block_row row[BLOCK_EVENTS];
	struct arena escaped = { 0 };
	sqlite3_stmt *st = db_stmt(s, "SELECT r.block, r.lo, r.offset, r.shift, b.events, r.file"
	    " FROM run r CROSS JOIN block b ON b.id = r.block CROSS JOIN file f ON f.id = r.file"
	    " WHERE r.account = ?1" LOAD_ORDER, e);
	int rc, n;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, id);
	while ((rc = db_step(s, st, e)) > 0) {
		int64_t block = sqlite3_column_int64(st, 0);

		arena_reset(&escaped);
		block_base_of(st, 1, &ordinary);
		n = block_read(&ordinary, db_span(st, 4), &escaped, row);
		if (n < 0) {
			rc = err_set(e, ERR_STORE, s->path, 0, "block %lld cannot be read", (long long)block);
			break;
		}
		*list = x_grow(*list, cap, v->n_event + (size_t)n, sizeof **list);
		for (int i = 0; rc >= 0 && i < n; i++) {
			struct event *ev = &(*list)[v->n_event];

			take_event(s, v, &row[i], sqlite3_column_int64(st, 5), block * BLOCK_EVENTS + i,
			    base, ev);
			if (ev->point >= v->n_point || (as_of != NO_TIME && ev->at > as_of))
				continue;
			if (ev->at < v->now - VIEW_LOOK_BACK && !keep_last(&old, *list, v->n_event))
				continue;
			v->n_event++;
			if (texts && row[i].phrase)
				rc = stored_phrase(s, row[i].phrase, &v->arena, &ev->text, e);
			else if (texts && row[i].text.n)
				ev->text = arena_text(&v->arena, row[i].text);
		}
		if (rc < 0)
			break;
		if (old.gone > GONE_MOST && old.gone * 2 > v->n_event - first)
			squeeze(&old, *list, first, &v->n_event);
	}
	if (old.gone)
		squeeze(&old, *list, first, &v->n_event);
	sqlite3_reset(st);
	arena_release(&escaped);
	last_release(&old.last);
	return rc < 0 ? -1 : 0;
}
