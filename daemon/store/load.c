/* load.c - everything of one account out of the store, as the rules want it. */
#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "daemon/store/db.h"
#include "daemon/store/load.h"
#include "daemon/store/stored.h"
#include "rules/override.h"
#include "rules/rule.h"

/* Of what is older, a view holds the last event of each kind at each place: enough to
 * know what stands open and what was learned; the rest is not judged again every night. */
#define HORIZON (400 * DAY)

/* ---- names ----------------------------------------------------------------- */

const char *
load_identity(struct arena *a, const char *account, const char *receiver, const char *line)
{
	if (!*receiver && !*line)
		return account;
	return arena_fmt(a, "%s@%s/%s", account, receiver, line);
}

/* Its text alone where that is enough to tell it from all others. */
static const char *
display_name(struct store *s, struct arena *a, const char *account, const char *receiver,
    const char *line, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT count(*) FROM account WHERE account = ?1", e);
	int64_t n;

	if (!st)
		return NULL;
	db_bind_text(st, 1, account);
	if (db_step(s, st, e) < 0)
		return NULL;
	n = sqlite3_column_int64(st, 0);
	sqlite3_reset(st);
	return n > 1 ? load_identity(a, account, receiver, line) : account;
}

/* ---- parts of a view ------------------------------------------------------- */

int
load_cells(struct store *s, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s,
	    "SELECT cell, hint, word, marks FROM cell WHERE id > ?1 ORDER BY id", e);
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, (int64_t)s->n_cell);
	while ((rc = db_step(s, st, e)) > 0) {
		size_t cap[3] = { s->cap_cell, s->cap_cell, s->cap_cell };

		s->cell = x_grow(s->cell, &s->cap_cell, s->n_cell + 1, sizeof *s->cell);
		s->cell_hint = x_grow(s->cell_hint, &cap[0], s->n_cell + 1, sizeof *s->cell_hint);
		s->cell_word = x_grow(s->cell_word, &cap[1], s->n_cell + 1, sizeof *s->cell_word);
		s->cell_marks = x_grow(s->cell_marks, &cap[2], s->n_cell + 1, sizeof *s->cell_marks);
		s->cell[s->n_cell] = db_text(st, 0, &s->cells_arena);
		s->cell_hint[s->n_cell] = (uint8_t)sqlite3_column_int(st, 1);
		s->cell_word[s->n_cell] = (uint8_t)sqlite3_column_int(st, 2);
		s->cell_marks[s->n_cell++] = (uint16_t)sqlite3_column_int(st, 3);
	}
	return rc;
}

static int
load_site(struct store *s, struct view *v, const char *account, const char **was, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT name, \"group\", timezone, since, was FROM site"
	    " WHERE account = ?1 ORDER BY id DESC LIMIT 1", e);
	int rc;

	v->name = v->group = v->timezone = *was = "";
	v->since = NO_TIME;
	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	if ((rc = db_step(s, st, e)) <= 0)
		return rc;
	v->name = db_text(st, 0, &v->arena);
	v->group = db_text(st, 1, &v->arena);
	v->timezone = db_text(st, 2, &v->arena);
	v->since = db_time(st, 3);
	*was = db_text(st, 4, &v->arena);
	sqlite3_reset(st);
	return 0;
}

static int
by_from(const void *a, const void *b)
{
	const struct interval *x = a, *y = b;

	return (x->from > y->from) - (x->from < y->from);
}

/* The account that this one was renamed from, whose history it takes over. */
struct former {
	const char *account;	/* "" = none */
	int64_t     id;		/* 0 = none, or not known */
	int64_t     until;	/* its number was given to somebody else then; else INT64_MAX */
};

/* What the exports tell of the account, and of its former one. */
static int
load_cover(struct store *s, struct view *v, int64_t id, const struct former *was, int64_t as_of,
    struct err *e)
{
	const int64_t of[2] = { id, was->id };
	struct interval *list = NULL;
	size_t n = 0, cap = 0, m = 0;
	int rc = 0;

	for (int i = 0; i < 2 && of[i] && rc == 0; i++) {
		sqlite3_stmt *st = db_stmt(s,
		    "SELECT from_at, to_at FROM account_span WHERE account = ?1", e);

		if (!st) {
			rc = -1;
			break;
		}
		sqlite3_bind_int64(st, 1, of[i]);
		while ((rc = db_step(s, st, e)) > 0) {
			struct interval one = { sqlite3_column_int64(st, 0), sqlite3_column_int64(st, 1) };

			if (i == 1 && one.to >= was->until)
				one.to = was->until - 1;
			if (as_of != NO_TIME && one.to > as_of)
				one.to = as_of;
			if (one.from > one.to)
				continue;
			list = x_grow(list, &cap, n + 1, sizeof *list);
			list[n++] = one;
		}
	}
	if (rc == 0 && n) {
		qsort(list, n, sizeof *list, by_from);
		for (size_t i = 0; i < n; i++) {
			if (m && list[i].from <= list[m - 1].to)
				list[m - 1].to = list[i].to > list[m - 1].to ? list[i].to : list[m - 1].to;
			else
				list[m++] = list[i];
		}
		v->cover = arena_take(&v->arena, m * sizeof *list);
		memcpy(v->cover, list, m * sizeof *list);
		v->n_cover = m;
	}
	free(list);
	return rc;
}

static int
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
static void
sort_points(struct view *v, uint32_t **rank)
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

static int
phrase_text(struct store *s, int64_t id, struct arena *a, const char **out, struct err *e)
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
	if (r->user.n)
		ev->user = arena_text(&v->arena, r->user);
}

/* The last old events, by place and event cell. */
struct last { uint32_t *slot; size_t n, cap; };		/* index in the list + 1 */

static size_t
last_slot(const struct last *l, const struct event *list, uint32_t point, uint32_t cell)
{
	size_t at = (size_t)((point * UINT64_C(0x9e3779b97f4a7c15) + cell) * UINT64_C(0x9fb21c651e98df25)
	    >> 32) & (l->cap - 1);

	while (l->slot[at] && (list[l->slot[at] - 1].point != point || list[l->slot[at] - 1].cell != cell))
		at = (at + 1) & (l->cap - 1);
	return at;
}

/* Where the old event `*n` of the list stands now: there, if it is the first of its kind
 * and place or the last so far, in the place of the one before. False: it is neither. */
static bool
keep_last(struct last *l, struct event *list, size_t *n)
{
	struct event *ev = &list[*n];
	size_t at;

	if ((l->n + 1) * 2 > l->cap) {
		struct last more = { .n = l->n, .cap = l->cap ? l->cap * 2 : 64 };

		more.slot = x_calloc(more.cap, sizeof *more.slot);
		for (size_t i = 0; i < l->cap; i++)
			if (l->slot[i])
				more.slot[last_slot(&more, list, list[l->slot[i] - 1].point,
				    list[l->slot[i] - 1].cell)] = l->slot[i];
		free(l->slot);
		*l = more;
	}
	at = last_slot(l, list, ev->point, ev->cell);
	if (!l->slot[at]) {
		l->slot[at] = (uint32_t)*n + 1;
		l->n++;
		return true;
	}
	if (list[l->slot[at] - 1].at > ev->at)
		return false;
	list[l->slot[at] - 1] = *ev;
	*n = l->slot[at] - 1;
	return true;
}

/* Adds the events of one stored account to the view; their points come behind `base`. */
static int
load_events(struct store *s, struct view *v, int64_t id, uint32_t base, int64_t as_of, bool texts,
    struct event **list, size_t *cap, struct err *e)
{
	struct last last = { 0 };
	struct block_base ordinary = { .word = s->cell_word, .marks = s->cell_marks,
	    .n_cell = (uint32_t)s->n_cell };
	struct block_row row[BLOCK_EVENTS];
	struct arena escaped = { 0 };
	sqlite3_stmt *st = db_stmt(s, "SELECT r.block, r.lo, r.offset, r.shift, b.events, r.file"
	    " FROM run r CROSS JOIN block b ON b.id = r.block CROSS JOIN file f ON f.id = r.file"
	    " WHERE r.account = ?1 ORDER BY r.file, iif(f.newest_first, -r.block, r.block)", e);
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
			size_t place = v->n_event;
			struct event *ev = &(*list)[place];

			take_event(s, v, &row[i], sqlite3_column_int64(st, 5), block * BLOCK_EVENTS + i,
			    base, ev);
			if (ev->point >= v->n_point || (as_of != NO_TIME && ev->at > as_of))
				continue;
			if (ev->at < v->now - HORIZON && !keep_last(&last, *list, &place))
				continue;
			v->n_event += place == v->n_event;
			ev = &(*list)[place];
			if (texts && row[i].phrase)
				rc = phrase_text(s, row[i].phrase, &v->arena, &ev->text, e);
			else if (texts && row[i].text.n)
				ev->text = arena_text(&v->arena, row[i].text);
		}
		if (rc < 0)
			break;
	}
	sqlite3_reset(st);
	arena_release(&escaped);
	free(last.slot);
	return rc < 0 ? -1 : 0;
}

static int
load_roster(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT r.zone, r.partition, r.serial, r.name, r.cell, r.device,"
	    " r.cells, r.installed, r.checkin, coalesce(r.as_of, f.taken), r.file"
	    " FROM roster r JOIN file f ON f.id = r.file WHERE r.account IN (?1, ?2)"
	    " AND (r.account = ?1 OR coalesce(r.as_of, f.taken) < ?3)"
	    " ORDER BY coalesce(r.as_of, f.taken), r.id", e);
	struct roster_row *list = NULL;
	size_t n = 0, cap = 0;
	int rc;

	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	db_bind_text(st, 2, was->account);
	sqlite3_bind_int64(st, 3, was->until);
	while ((rc = db_step(s, st, e)) > 0) {
		struct roster_row *r;

		list = x_grow(list, &cap, n + 1, sizeof *list);
		r = &list[n++];
		*r = (struct roster_row){ .zone = db_text(st, 0, &v->arena),
		    .partition = db_text(st, 1, &v->arena), .serial = db_text(st, 2, &v->arena),
		    .name = db_text(st, 3, &v->arena), .cell = db_text(st, 4, &v->arena),
		    .cells = sqlite3_column_int(st, 6), .installed = db_time(st, 7),
		    .checkin = sqlite3_column_int64(st, 8), .as_of = db_time(st, 9),
		    .version = (uint32_t)sqlite3_column_int64(st, 10) };
		kind_find(db_span(st, 5), &r->kind);
	}
	v->roster = arena_keep(&v->arena, list, n, sizeof *list);
	v->n_roster = n;
	return rc;
}

static int
load_plan(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT zone, serial, name, replaces, device, from_at, to_at,"
	    " sequence FROM plan WHERE account IN (?1, ?2) AND (account = ?1 OR from_at < ?3)"
	    " AND file = (SELECT max(file) FROM plan WHERE account IN (?1, ?2)"
	    "   AND (account = ?1 OR from_at < ?3)) ORDER BY id", e);
	struct plan_row *list = NULL;
	size_t n = 0, cap = 0;
	int rc;

	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	db_bind_text(st, 2, was->account);
	sqlite3_bind_int64(st, 3, was->until);
	while ((rc = db_step(s, st, e)) > 0) {
		struct plan_row *r;

		list = x_grow(list, &cap, n + 1, sizeof *list);
		r = &list[n++];
		*r = (struct plan_row){ .zone = db_text(st, 0, &v->arena),
		    .serial = db_text(st, 1, &v->arena), .name = db_text(st, 2, &v->arena),
		    .replaces = db_text(st, 3, &v->arena), .from = sqlite3_column_int64(st, 5),
		    .to = sqlite3_column_int64(st, 6), .order = sqlite3_column_int(st, 7) };
		kind_find(db_span(st, 4), &r->kind);
	}
	v->plan = arena_keep(&v->arena, list, n, sizeof *list);
	v->n_plan = n;
	return rc;
}

static int
load_service(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT at, what, zone, serial, who FROM service"
	    " WHERE account IN (?1, ?2) AND (account = ?1 OR at < ?3) ORDER BY at, id", e);
	struct service_row *list = NULL;
	size_t n = 0, cap = 0;
	int rc;

	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	db_bind_text(st, 2, was->account);
	sqlite3_bind_int64(st, 3, was->until);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, n + 1, sizeof *list);
		list[n++] = (struct service_row){ .at = sqlite3_column_int64(st, 0),
		    .what = db_text(st, 1, &v->arena), .zone = db_text(st, 2, &v->arena),
		    .serial = db_text(st, 3, &v->arena), .who = db_text(st, 4, &v->arena) };
	}
	v->service = arena_keep(&v->arena, list, n, sizeof *list);
	v->n_service = n;
	return rc;
}

/* Overrides in force, widest scope first. `account` NULL: those of scope * only. */
int
load_overrides(struct store *s, struct arena *a, const char *account, const char *group,
    struct override **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT rule, setting, scope, value FROM setting t"
	    " WHERE id = (SELECT max(id) FROM setting u WHERE u.rule = t.rule"
	    "   AND u.setting = t.setting AND u.scope = t.scope)"
	    " AND (scope IN ('', '*') OR (?1 IS NOT NULL AND (scope LIKE 'device=%'"
	    "   OR (scope LIKE 'group=%' AND substr(scope, 7) = ?2 COLLATE NOCASE)"
	    "   OR (scope LIKE 'account=%' AND substr(scope, 9) = ?1 COLLATE NOCASE))))"
	    " ORDER BY CASE WHEN scope LIKE 'group=%' THEN 1 WHEN scope LIKE 'device=%' THEN 2"
	    "   WHEN scope LIKE 'account=%' THEN 3 ELSE 0 END, id", e);
	struct override *list = NULL;
	size_t cap = 0, m = 0;
	int rc;

	if (!st)
		return -1;
	if (account)
		db_bind_text(st, 1, account);
	db_bind_text(st, 2, group);
	while ((rc = db_step(s, st, e)) > 0) {
		struct override o = { .kind = KIND_UNKNOWN };
		struct span scope = db_span(st, 2);

		if (override_read(db_span(st, 0), db_span(st, 1), db_span(st, 3), &o.value))
			continue;	/* a rule of another release */
		if (scope.n > 7 && span_eq_fold((struct span){ scope.p, 7 }, SPAN("device=")))
			kind_find((struct span){ scope.p + 7, scope.n - 7 }, &o.kind);
		o.rule = db_text(st, 0, a);
		o.setting = db_text(st, 1, a);
		list = x_grow(list, &cap, m + 1, sizeof *list);
		list[m++] = o;
	}
	if (m) {
		*out = arena_take(a, m * sizeof *list);
		memcpy(*out, list, m * sizeof *list);
	}
	*n = m;
	free(list);
	return rc;
}

/* The zone under which another account knows a serial: from its events, else its roster. */
static const char *
zone_of(struct store *s, struct arena *a, int64_t account, const char *key, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT serial, zone FROM point WHERE account = ?1 AND serial <> ''"
	    " UNION ALL SELECT serial, zone FROM roster WHERE serial <> ''"
	    " AND account = (SELECT account FROM account WHERE id = ?1)", e);
	const char *zone = "";
	int rc;

	if (!st)
		return NULL;
	sqlite3_bind_int64(st, 1, account);
	while ((rc = db_step(s, st, e)) > 0) {
		if (strcmp(serial_key(a, db_span(st, 0)), key) == 0 && sqlite3_column_bytes(st, 1)) {
			zone = db_text(st, 1, a);
			sqlite3_reset(st);
			break;
		}
	}
	return rc < 0 ? NULL : zone;
}

static int
compare_keys(const void *a, const void *b)
{
	return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static int
load_elsewhere(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e)
{
	const char **key = NULL;
	size_t n = 0, cap = 0, m = 0, cap_list = 0;
	struct elsewhere *list = NULL;
	struct { int64_t id; const char *account; } *other = NULL;
	size_t cap_other = 0;
	int rc = 0;

	for (size_t i = 0; i < v->n_event; i++) {
		uint16_t w = v->event[i].word;

		if (w != W_LEARN && w != W_LEARN_HEARD && w != W_EXTRA_DEVICE)
			continue;
		key = x_grow(key, &cap, n + 1, sizeof *key);
		key[n] = serial_key(&v->arena, span_of(v->point[v->event[i].point].serial));
		if (*key[n])
			n++;
	}
	if (n)
		qsort(key, n, sizeof *key, compare_keys);
	for (size_t i = 0; rc == 0 && i < n; i++) {
		sqlite3_stmt *st;
		size_t n_other = 0;

		if (i && strcmp(key[i], key[i - 1]) == 0)
			continue;
		/* Neither its own former name nor the bare row that lists made of it is another. */
		st = db_stmt(s, "SELECT a.id, a.account FROM serial s JOIN account a ON a.id = s.account"
		    " WHERE s.serial = ?1 AND s.account NOT IN (?2, ?4) AND NOT (a.account = ?3"
		    "   AND NOT EXISTS (SELECT 1 FROM run r WHERE r.account = a.id)) ORDER BY a.account", e);
		if (!st) {
			rc = -1;
			break;
		}
		db_bind_text(st, 1, key[i]);
		sqlite3_bind_int64(st, 2, v->account_id);
		db_bind_text(st, 3, account);
		sqlite3_bind_int64(st, 4, was->id);
		while ((rc = db_step(s, st, e)) > 0) {
			other = x_grow(other, &cap_other, n_other + 1, sizeof *other);
			other[n_other].id = sqlite3_column_int64(st, 0);
			other[n_other++].account = db_text(st, 1, &v->arena);
		}
		for (size_t j = 0; rc == 0 && j < n_other; j++) {
			const char *zone = zone_of(s, &v->arena, other[j].id, key[i], e);

			if (!zone) {
				rc = -1;
				break;
			}
			list = x_grow(list, &cap_list, m + 1, sizeof *list);
			list[m++] = (struct elsewhere){ key[i], other[j].account, zone };
		}
	}
	if (m) {
		v->elsewhere = arena_take(&v->arena, m * sizeof *list);
		memcpy(v->elsewhere, list, m * sizeof *list);
		v->n_elsewhere = m;
	}
	free(key);
	free(list);
	free(other);
	return rc;
}

/* ---- the whole ------------------------------------------------------------- */

static int
load_former(struct store *s, struct former *was, int64_t except, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT id, (SELECT since FROM site t WHERE t.account = a.account"
	    " ORDER BY t.id DESC LIMIT 1) FROM account a WHERE account = ?1 AND id <> ?2"
	    " ORDER BY id LIMIT 1", e);
	int rc;

	if (!st)
		return -1;
	db_bind_text(st, 1, was->account);
	sqlite3_bind_int64(st, 2, except);
	if ((rc = db_step(s, st, e)) > 0) {
		was->id = sqlite3_column_int64(st, 0);
		if (db_time(st, 1) != NO_TIME)
			was->until = db_time(st, 1);
		sqlite3_reset(st);
	}
	return rc < 0 ? -1 : 0;
}

int
load_view(struct store *s, int64_t id, int64_t as_of, bool texts, struct view *v, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT account, receiver, line FROM account WHERE id = ?1", e);
	const char *account;
	size_t cap = 0;
	struct event *list = NULL;
	struct former was = { "", 0, INT64_MAX };
	int64_t was_as_of = as_of;
	uint32_t base, *rank;
	int rc;

	*v = (struct view){ .account_id = id, .now = NO_TIME, .since = NO_TIME };
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, id);
	if ((rc = db_step(s, st, e)) <= 0)
		return rc < 0 ? -1 : err_set(e, ERR_STORE, s->path, 0, "no account %lld", (long long)id);
	account = db_text(st, 0, &v->arena);
	v->receiver = db_text(st, 1, &v->arena);
	v->line = db_text(st, 2, &v->arena);
	sqlite3_reset(st);
	v->account = display_name(s, &v->arena, account, v->receiver, v->line, e);
	if (!v->account || load_cells(s, e) || load_site(s, v, account, &was.account, e) ||
	    (*was.account && load_former(s, &was, id, e)) || load_cover(s, v, id, &was, as_of, e))
		goto fail;
	if (was.until != INT64_MAX && (as_of == NO_TIME || as_of >= was.until))
		was_as_of = was.until - 1;
	v->cell = s->cell;
	v->n_cell = s->n_cell;
	if (v->n_cover)
		v->now = v->cover[v->n_cover - 1].to;
	if (as_of != NO_TIME && v->n_cover)
		v->now = as_of;
	if (load_points(s, v, id, e))
		goto fail;
	base = (uint32_t)v->n_point;
	if (was.id && load_points(s, v, was.id, e))
		goto fail;
	if (v->now != NO_TIME && (load_events(s, v, id, 0, as_of, texts, &list, &cap, e) ||
	    (was.id && load_events(s, v, was.id, base, was_as_of, texts, &list, &cap, e))))
		goto fail;
	sort_points(v, &rank);
	for (size_t i = 0; i < v->n_event; i++)
		list[i].point = rank[list[i].point];
	v->event = arena_take(&v->arena, (v->n_event + 1) * sizeof *list);
	if (v->n_event)
		memcpy(v->event, list, v->n_event * sizeof *list);
	free(list);
	list = NULL;
	if (load_roster(s, v, account, &was, e) || load_plan(s, v, account, &was, e) ||
	    load_service(s, v, account, &was, e) || load_elsewhere(s, v, account, &was, e) ||
	    load_overrides(s, &v->arena, account, v->group, &v->override, &v->n_override, e))
		goto fail;
	view_finish(v);
	return 0;

fail:
	free(list);
	view_release(v);
	return -1;
}

/* Is another account judged in this one's place: one that was renamed from it (unless the
 * number was given to somebody else since), or the ones with a receiver or line, where this
 * is the bare row that lists made? */
static int
judged_elsewhere(struct store *s, int64_t id, bool *yes, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT EXISTS (SELECT 1 FROM site t WHERE t.was = a.account"
	    "   AND t.was <> '' AND t.account <> t.was AND t.id ="
	    "   (SELECT max(id) FROM site u WHERE u.account = t.account) AND (SELECT since FROM site o"
	    "     WHERE o.account = a.account ORDER BY o.id DESC LIMIT 1) IS NULL)"
	    " OR (a.receiver = '' AND a.line = ''"
	    "   AND NOT EXISTS (SELECT 1 FROM run r WHERE r.account = a.id) AND EXISTS"
	    "   (SELECT 1 FROM account b JOIN run r ON r.account = b.id WHERE b.account = a.account))"
	    " FROM account a WHERE a.id = ?1", e);
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, id);
	if ((rc = db_step(s, st, e)) < 0)
		return -1;
	*yes = rc > 0 && sqlite3_column_int(st, 0);
	sqlite3_reset(st);
	return 0;
}

int
store_view_judge(struct store *s, int64_t account, int64_t as_of, struct view *v, bool *skip,
    struct err *e)
{
	if (judged_elsewhere(s, account, skip, e) || load_view(s, account, as_of, false, v, e))
		return -1;
	*skip |= v->now == NO_TIME;
	return 0;
}

/* Nearest account texts, for a message. */
static const char *
nearest(struct store *s, struct arena *a, const char *account, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT account FROM account"
	    " WHERE account LIKE '%' || ?1 || '%' OR ltrim(account, '0') = ltrim(?1, '0')"
	    " ORDER BY abs(length(account) - length(?1)), account LIMIT 5", e);
	const char *list = "";
	int rc;

	if (!st)
		return NULL;
	db_bind_text(st, 1, account);
	while ((rc = db_step(s, st, e)) > 0)
		list = arena_fmt(a, "%s%s%s", list, *list ? ", " : "",
		    (const char *)sqlite3_column_text(st, 0));
	return rc < 0 ? NULL : list;
}

int
store_view(struct store *s, const char *account, int64_t as_of, struct view *v, struct err *e)
{
	struct arena a = { 0 };
	sqlite3_stmt *st = db_stmt(s, "SELECT id, account, receiver, line,"
	    " EXISTS (SELECT 1 FROM run r WHERE r.account = account.id) FROM account"
	    " WHERE account = ?1 OR account || '@' || receiver || '/' || line = ?1 COLLATE NOCASE"
	    " ORDER BY 5 DESC, id", e);
	const char *names = "", *near;
	int64_t id = 0;
	size_t n = 0;
	int rc = -1;

	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	while ((rc = db_step(s, st, e)) > 0) {
		const char *receiver = (const char *)sqlite3_column_text(st, 2);
		const char *line = (const char *)sqlite3_column_text(st, 3);

		/* The bare row that sites made counts only while it is alone. */
		if (n && !*receiver && !*line && !sqlite3_column_int(st, 4))
			continue;
		if (n == 0)
			id = sqlite3_column_int64(st, 0);
		names = arena_fmt(&a, "%s%s%.*s@%s/%s", names, *names ? ", " : "",
		    sqlite3_column_bytes(st, 1), (const char *)sqlite3_column_text(st, 1), receiver, line);
		n++;
	}
	if (rc < 0) {
		/* *e is filled */
	} else if (n == 1) {
		rc = load_view(s, id, as_of, true, v, e);
	} else if (n > 1) {
		rc = err_set(e, ERR_USAGE, NULL, 0, "account %s is known on several lines: %s", account,
		    names);
	} else if ((near = nearest(s, &a, account, e)) != NULL) {
		rc = err_set(e, ERR_USAGE, NULL, 0, "no account %s in the store%s%s", account,
		    *near ? "; nearest: " : "", near);
	} else {
		rc = -1;
	}
	arena_release(&a);
	return rc;
}

const char *
store_file_name(struct store *s, uint32_t file, struct arena *a)
{
	struct err e;
	sqlite3_stmt *st = db_stmt(s, "SELECT name FROM file WHERE id = ?1", &e);
	const char *name = "";

	if (!st)
		return "";
	sqlite3_bind_int64(st, 1, file);
	if (db_step(s, st, &e) > 0) {
		name = db_text(st, 0, a);
		sqlite3_reset(st);
	}
	return name;
}
