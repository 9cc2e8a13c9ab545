#include "daemon/store/expire.h"

#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>

#include "daemon/base/words.h"
#include "daemon/store/last.h"
#include "daemon/store/load_part.h"
#include "daemon/store/stored.h"
#include "rules/view.h"

enum {
	LOT = 200,		/* accounts a transaction */
	UNUSED_PERCENT = 20,	/* common practice, no source */
};

#define WEEK (7 * DAY)

/* An account whose horizon has moved. */
struct moved {
	int64_t id;
	int64_t from;		/* its horizon; NO_TIME = none */
	int64_t since;		/* earlier events are a former customer's; NO_TIME */
};

/* One old event. */
struct old {
	int64_t  at, block;
	uint32_t bytes;		/* its share of the block */
	uint16_t place;		/* in the block */
	bool     stays;
};

struct expiry {
	struct store                *s;
	const struct expire_options *o;
	struct removed              *sum;	/* of all */
	struct removed               lot;	/* since the last commit */
	int64_t                      removal;	/* row of that table; 0 = none yet */
	struct old                  *old;	/* of the account in hand */
	size_t                       n_old, cap_old;
	struct arena                 arena;
};

static int64_t
before(int64_t now, int64_t covered, int days)
{
	return (covered < now ? covered : now) - days * DAY;
}

static void
add(struct removed *to, const struct removed *r)
{
	to->n += r->n;
	to->bytes += r->bytes;
	if (r->oldest != NO_TIME && (to->oldest == NO_TIME || r->oldest < to->oldest))
		to->oldest = r->oldest;
	if (r->newest != NO_TIME && (to->newest == NO_TIME || r->newest > to->newest))
		to->newest = r->newest;
}

static const struct removed none = { 0, 0, NO_TIME, NO_TIME };

/* ---- the account of it ------------------------------------------------------ */

/* Adds to the row of that table, which it makes first. */
static int
note(struct store *s, const char *kind, const struct expire_options *o, const struct removed *r,
    int64_t *row, struct err *e)
{
	sqlite3_stmt *st;

	if (*row) {
		st = db_stmt(s, "UPDATE removal SET n = n + ?2, bytes = bytes + ?3,"
		    " oldest = coalesce(min(oldest, ?4), oldest, ?4),"
		    " newest = coalesce(max(newest, ?5), newest, ?5) WHERE id = ?1", e);
		if (!st)
			return -1;
		sqlite3_bind_int64(st, 1, *row);
	} else {
		st = db_stmt(s, "INSERT INTO removal(n, bytes, oldest, newest, at, kind, days)"
		    " VALUES(?2, ?3, ?4, ?5, ?6, ?7, ?8)", e);
		if (!st)
			return -1;
		sqlite3_bind_int64(st, 6, o->now);
		db_bind_text(st, 7, kind);
		sqlite3_bind_int(st, 8, o->days);
	}
	sqlite3_bind_int64(st, 2, r->n);
	sqlite3_bind_int64(st, 3, r->bytes);
	db_bind_time(st, 4, r->oldest);
	db_bind_time(st, 5, r->newest);
	if (db_run(s, st, e))
		return -1;
	if (!*row)
		*row = sqlite3_last_insert_rowid(s->db);
	return 0;
}

int
expire_note(struct store *s, const char *kind, const struct expire_options *o,
    const struct removed *r, struct err *e)
{
	int64_t row = 0;

	return r->n && !o->dry ? note(s, kind, o, r, &row, e) : 0;
}

/* ---- one account's events --------------------------------------------------- */

static int
by_time(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
}

/* When the rows were that open findings of the account cite, ascending; lent. */
static int
cited(struct expiry *x, int64_t account, int64_t **at, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(x->s, "SELECT v.at FROM account a CROSS JOIN finding f"
	    "  ON f.account IN (a.account, a.account || '@' || a.receiver || '/' || a.line)"
	    " CROSS JOIN evidence v ON v.finding = f.id WHERE a.id = ?1 AND f.cleared IS NULL", e);
	int64_t *list = NULL;
	size_t cap = 0;
	int rc = st ? 0 : -1;

	*n = 0;
	if (st)
		sqlite3_bind_int64(st, 1, account);
	while (st && (rc = db_step(x->s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = sqlite3_column_int64(st, 0);
	}
	*at = arena_keep(&x->arena, list, *n, sizeof **at);
	if (*n)
		qsort(*at, *n, sizeof **at, by_time);
	return rc;
}

static bool
heard(const struct block_row *r)
{
	return word_properties((enum word)r->word) & WP_HEARD && !(r->marks & MARK_STILL);
}

/* The first that was heard of each place; by point. */
struct firsts { size_t *which; size_t n, cap; };

static void
see_first(struct expiry *x, struct firsts *f, uint32_t point, size_t which)
{
	if (point >= f->n) {
		f->which = x_grow(f->which, &f->cap, point + 1u, sizeof *f->which);
		while (f->n <= point)
			f->which[f->n++] = SIZE_MAX;
	}
	if (f->which[point] == SIZE_MAX || x->old[which].at < x->old[f->which[point]].at)
		f->which[point] = which;
}

/* Lists the old events of a run, and marks what stays of them. */
static void
see_block(struct expiry *x, const struct moved *m, int64_t block, const struct block_row *row, int n,
    size_t bytes, struct last *last, struct firsts *first)
{
	size_t gone;

	for (int i = 0; i < n; i++) {
		const struct block_row *r = &row[i];
		int64_t at = (r->wall - r->shift) * SECOND + r->ms;
		size_t which = x->n_old;

		if (at >= m->from)
			continue;
		x->old = x_grow(x->old, &x->cap_old, which + 1, sizeof *x->old);
		x->old[x->n_old++] = (struct old){ at, block, (uint32_t)(bytes / (size_t)n),
		    (uint16_t)i, false };
		/* Under its former number a place is another one. */
		x->old[which].stays = last_add(last, r->point | (at < m->since ? UINT32_C(1) << 31 : 0),
		    r->cell, at, which, &gone);
		if (gone != SIZE_MAX)
			x->old[gone].stays = false;
		if (heard(r))
			see_first(x, first, r->point, which);
	}
}

static int
list_old(struct expiry *x, const struct moved *m, struct err *e)
{
	struct block_base base = { .word = x->s->cell_word, .marks = x->s->cell_marks,
	    .n_cell = (uint32_t)x->s->n_cell };
	struct block_row row[BLOCK_EVENTS];
	struct last last = { 0 };
	struct firsts first = { 0 };
	int64_t *at;
	size_t n_at;
	/* A run's walls are two days off UTC at most, but where a clock was reset. */
	sqlite3_stmt *st = db_stmt(x->s, "SELECT r.block, r.lo, r.offset, r.shift, b.events"
	    " FROM run r CROSS JOIN block b ON b.id = r.block CROSS JOIN file f ON f.id = r.file"
	    " WHERE r.account = ?1 AND (r.lo < ?2 + 172800 OR abs(r.shift) > 172800)" LOAD_ORDER, e);
	int rc = st ? 0 : -1;

	x->n_old = 0;
	if (st) {
		sqlite3_bind_int64(st, 1, m->id);
		sqlite3_bind_int64(st, 2, m->from / SECOND);
	}
	while (st && (rc = db_step(x->s, st, e)) > 0) {
		struct span text = db_span(st, 4);
		int n;

		arena_reset(&x->arena);
		block_base_of(st, 1, &base);
		n = block_read(&base, text, &x->arena, row);
		if (n < 0) {
			rc = err_set(e, ERR_STORE, x->s->path, 0, "block %lld cannot be read",
			    (long long)sqlite3_column_int64(st, 0));
			break;
		}
		see_block(x, m, sqlite3_column_int64(st, 0), row, n, text.n, &last, &first);
	}
	sqlite3_reset(st);
	for (size_t i = 0; i < first.n; i++)
		if (first.which[i] != SIZE_MAX)
			x->old[first.which[i]].stays = true;
	free(first.which);
	last_release(&last);
	arena_reset(&x->arena);
	if (rc < 0 || x->n_old == 0)
		return rc;
	rc = cited(x, m->id, &at, &n_at, e);
	for (size_t i = 0; rc == 0 && n_at && i < x->n_old; i++)
		x->old[i].stays |= bsearch(&x->old[i].at, at, n_at, sizeof *at, by_time) != NULL;
	return rc;
}

/* The block without what does not stay of old[from..to), which are its old events. */
static int
write_block(struct expiry *x, int64_t account, size_t from, size_t to, struct err *e)
{
	struct store *s = x->s;
	int64_t block = x->old[from].block, lo = INT64_MAX, hi = INT64_MIN;
	struct stored_block b;
	sqlite3_stmt *st;
	int n = 0, rc = stored_block_read(s, account, block, s->cell_word, s->cell_marks,
	    (uint32_t)s->n_cell, &b, e);

	for (int i = 0; rc == 0 && i < b.n; i++) {
		if (from < to && x->old[from].place == i && !x->old[from++].stays)
			continue;
		b.row[n++] = b.row[i];
		lo = b.row[i].wall < lo ? b.row[i].wall : lo;
		hi = b.row[i].wall > hi ? b.row[i].wall : hi;
	}
	if (rc == 0 && n) {
		b.n = n;
		b.base.lo = lo;
		rc = stored_block_write(s, &b, e);
	}
	stored_block_release(&b);
	if (rc)
		return -1;
	st = n ? db_stmt(s, "UPDATE run SET n = ?3, lo = ?4, hi = ?5 WHERE account = ?1 AND block = ?2",
	    e) : db_stmt(s, "DELETE FROM run WHERE account = ?1 AND block = ?2", e);
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, account);
	sqlite3_bind_int64(st, 2, block);
	if (n) {
		sqlite3_bind_int(st, 3, n);
		sqlite3_bind_int64(st, 4, lo);
		sqlite3_bind_int64(st, 5, hi);
	}
	if (db_run(s, st, e) || n)
		return n ? 0 : -1;
	return db_run_id(s, "DELETE FROM block WHERE id = ?1", block, e);
}

static int
expire_account(struct expiry *x, const struct moved *m, struct err *e)
{
	sqlite3_stmt *st;

	x->n_old = 0;
	if (m->from != NO_TIME && list_old(x, m, e))
		return -1;
	for (size_t i = 0, j; i < x->n_old; i = j) {
		int64_t n = 0;

		for (j = i; j < x->n_old && x->old[j].block == x->old[i].block; j++) {
			const struct old *o = &x->old[j];

			if (o->stays)
				continue;
			add(&x->lot, &(struct removed){ 1, o->bytes, o->at, o->at });
			n++;
		}
		if (n && !x->o->dry && write_block(x, m->id, i, j, e))
			return -1;
	}
	if (x->o->dry)
		return 0;
	if (!(st = db_stmt(x->s, "UPDATE account SET kept_from = ?2 WHERE id = ?1", e)))
		return -1;
	sqlite3_bind_int64(st, 1, m->id);
	db_bind_time(st, 2, m->from);
	return db_run(x->s, st, e);
}

/* ---- all accounts ----------------------------------------------------------- */

/* Those whose horizon is not what it should be. Where the history of one follows to another
 * name, both must be past it. */
static int
moved(struct expiry *x, struct moved **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(x->s, "SELECT a.id, a.kept_from,"
	    " (SELECT max(to_at) FROM account_span c WHERE c.account = a.id),"
	    " (SELECT since FROM site t WHERE t.account = a.account ORDER BY t.id DESC LIMIT 1),"
	    " (SELECT min(coalesce((SELECT max(to_at) FROM account b CROSS JOIN account_span c"
	    "    ON c.account = b.id WHERE b.account = t.account), 0))"
	    "  FROM site t WHERE t.was = a.account AND t.was <> '' AND t.account <> t.was)"
	    " FROM account a ORDER BY a.id", e);
	struct moved *list = NULL;
	size_t cap = 0;
	int rc = st ? 0 : -1;

	*n = 0;
	while (st && (rc = db_step(x->s, st, e)) > 0) {
		int64_t was = db_time(st, 1), covered = db_time(st, 2), other = db_time(st, 4);
		int64_t from = NO_TIME;

		if (other != NO_TIME && other < covered)
			covered = other;
		if (covered != NO_TIME && x->o->days) {
			from = before(x->o->now, covered, x->o->days);
			from -= (from % WEEK + WEEK) % WEEK;
		}
		/* What is gone does not come back because a list or a setting changed. */
		if (from == was || (from != NO_TIME && was != NO_TIME && from < was))
			continue;
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct moved){ sqlite3_column_int64(st, 0), from, db_time(st, 3) };
	}
	*out = list;
	return rc;
}

/* Copies of rows that findings cite which were cleared before the horizon. */
static int
expire_copies(struct expiry *x, struct err *e)
{
	sqlite3_stmt *st;
	int64_t from;

	if (expire_before(x->s, x->o, &from, e))
		return -1;
	if (x->o->dry || from == NO_TIME)
		return 0;
	if (!(st = db_stmt(x->s, "DELETE FROM evidence WHERE finding IN (SELECT id FROM finding"
	    " WHERE cleared < ?1)", e)))
		return -1;
	sqlite3_bind_int64(st, 1, from);
	return db_run(x->s, st, e);
}

/* Texts that no event has any more. */
static int
expire_phrases(struct expiry *x, struct err *e)
{
	struct store *s = x->s;
	struct block_base base = { .word = s->cell_word, .marks = s->cell_marks,
	    .n_cell = (uint32_t)s->n_cell };
	struct block_row row[BLOCK_EVENTS];
	sqlite3_stmt *st, *del;
	int64_t most, id;
	bool *used;
	int rc;

	if (db_number(s, "SELECT coalesce(max(id), 0) FROM phrase", &most, e) ||
	    !(st = db_stmt(s, "SELECT events FROM block", e)))
		return -1;
	used = x_calloc((size_t)most + 1, sizeof *used);
	while ((rc = db_step(s, st, e)) > 0) {
		int n;

		arena_reset(&x->arena);
		if ((n = block_read(&base, db_span(st, 0), &x->arena, row)) < 0) {
			rc = err_set(e, ERR_STORE, s->path, 0, "a block cannot be read");
			break;
		}
		for (int i = 0; i < n; i++)
			if (row[i].phrase > 0 && row[i].phrase <= most)
				used[row[i].phrase] = true;
	}
	sqlite3_reset(st);
	for (id = 1; rc == 0 && id <= most; id++) {
		if (used[id])
			continue;
		if (!(del = db_stmt(s, "DELETE FROM phrase WHERE id = ?1", e))) {
			rc = -1;
			break;
		}
		sqlite3_bind_int64(del, 1, id);
		rc = db_run(s, del, e);
	}
	free(used);
	return rc;
}

/* A lot ends: it is noted, and stands; only then it counts. */
static int
commit(struct expiry *x, struct err *e)
{
	if (!x->o->dry && ((x->lot.n && note(x->s, "events", x->o, &x->lot, &x->removal, e)) ||
	    store_commit(x->s, e)))
		return -1;
	add(x->sum, &x->lot);
	x->lot = none;
	return 0;
}

static bool
stopped(const struct expiry *x)
{
	return x->o->stop && *x->o->stop;
}

static int
expire_lots(struct expiry *x, const struct moved *list, size_t n, struct err *e)
{
	for (size_t i = 0; i < n; i++) {
		if (stopped(x))
			return err_set(e, ERR_STORE, x->s->path, 0, "stopped while old events were removed; "
			    "it goes on the next time");
		if (i % LOT == 0 && !x->o->dry && store_begin(x->s, e))
			return -1;
		if (expire_account(x, &list[i], e))
			return -1;
		if ((i % LOT == LOT - 1 || i + 1 == n) && commit(x, e))
			return -1;
		if (x->o->tick)
			x->o->tick(x->o->tick_ctx, "removing old events", (int)(i * 100 / n));
	}
	/* Copies also when no account is older than the last time: that may have been cut short. */
	if (!x->o->dry && (store_begin(x->s, e) || expire_copies(x, e) ||
	    (x->sum->n && expire_phrases(x, e)) || store_commit(x->s, e)))
		return -1;
	return 0;
}

int
expire_events(struct store *s, const struct expire_options *o, struct removed *out, struct err *e)
{
	struct expiry x = { .s = s, .o = o, .sum = out, .lot = none };
	struct moved *list = NULL;
	size_t n;
	int rc = -1;

	*out = none;
	/* What is removed is written over, in the file and in its log. */
	if (load_cells(s, e) == 0 && db_exec(s, "PRAGMA secure_delete = ON", e) == 0 &&
	    moved(&x, &list, &n, e) == 0)
		rc = expire_lots(&x, list, n, e);
	store_abort(s);
	sqlite3_exec(s->db, "PRAGMA secure_delete = OFF", NULL, NULL, NULL);
	free(list);
	free(x.old);
	arena_release(&x.arena);
	return rc;
}

/* ---- rows set aside, and the rest ------------------------------------------- */

int
expire_before(struct store *s, const struct expire_options *o, int64_t *out, struct err *e)
{
	int64_t covered;

	*out = NO_TIME;
	if (store_now(s, &covered, e))
		return -1;
	if (o->days && covered != NO_TIME)
		*out = before(o->now, covered, o->days);
	return 0;
}

int
expire_asides(struct store *s, const struct expire_options *o, struct removed *out, struct err *e)
{
	sqlite3_stmt *st;
	int64_t from;
	int rc = -1;

	*out = none;
	if (expire_before(s, o, &from, e))
		return -1;
	if (from == NO_TIME)
		return 0;
	if (!o->dry && (db_exec(s, "PRAGMA secure_delete = ON", e) || store_begin(s, e)))
		return -1;
	st = db_stmt(s, "SELECT count(*), coalesce(sum(length(x.raw)), 0), min(f.taken), max(f.taken)"
	    " FROM file f CROSS JOIN aside x ON x.file = f.id WHERE f.taken < ?1", e);
	if (!st)
		goto out;
	sqlite3_bind_int64(st, 1, from);
	if (db_step(s, st, e) < 0)
		goto out;
	*out = (struct removed){ sqlite3_column_int64(st, 0), sqlite3_column_int64(st, 1), db_time(st, 2),
	    db_time(st, 3) };
	sqlite3_reset(st);
	rc = 0;
	if (o->dry)
		return 0;
	if (out->n) {
		st = db_stmt(s, "DELETE FROM aside WHERE file IN (SELECT id FROM file WHERE taken < ?1)", e);
		rc = -1;
		if (st) {
			sqlite3_bind_int64(st, 1, from);
			rc = db_run(s, st, e);
		}
		if (rc == 0)
			rc = expire_note(s, "set_aside", o, out, e);
	}
	if (rc == 0)
		rc = store_commit(s, e);
out:
	if (rc)
		*out = none;
	if (!o->dry) {
		store_abort(s);
		sqlite3_exec(s->db, "PRAGMA secure_delete = OFF", NULL, NULL, NULL);
	}
	return rc;
}

int
expire_tidy(struct store *s, int64_t *gained, struct err *e)
{
	int64_t pages, unused, size;
	struct statvfs disk;

	*gained = 0;
	if (db_number(s, "PRAGMA page_count", &pages, e) ||
	    db_number(s, "PRAGMA freelist_count", &unused, e) ||
	    db_number(s, "PRAGMA page_size", &size, e))
		return -1;
	if (unused * 100 < pages * UNUSED_PERCENT)
		return 0;
	/* The new one lies in the log for a while, and before that in a file for the time. */
	if (statvfs(s->path, &disk) != 0 ||
	    (double)disk.f_bavail * (double)disk.f_frsize < 2.0 * (double)((pages - unused) * size))
		return 0;
	if (db_exec(s, "PRAGMA temp_store = FILE; VACUUM", e)) {
		sqlite3_exec(s->db, "PRAGMA temp_store = MEMORY", NULL, NULL, NULL);
		return -1;
	}
	if (db_exec(s, "PRAGMA temp_store = MEMORY", e))
		return -1;
	/* Where readers are at work, a later commit does it. */
	sqlite3_wal_checkpoint_v2(s->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
	*gained = unused * size;
	return 0;
}
