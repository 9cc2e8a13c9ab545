/* load.c - everything of one account out of the store, as the rules want it. */
#include <stdlib.h>
#include <string.h>

#include "daemon/store/load_part.h"

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

/* Where sites names none: that of the folder its last export came by. */
static int
load_group(struct store *s, struct view *v, const char *account, struct err *e)
{
	sqlite3_stmt *st = *v->group ? NULL : db_stmt(s, "SELECT \"group\" FROM account"
	    " WHERE account = ?1 AND \"group\" <> '' LIMIT 1", e);
	int rc;

	if (!st)
		return *v->group ? 0 : -1;
	db_bind_text(st, 1, account);
	if ((rc = db_step(s, st, e)) <= 0)
		return rc;
	v->group = db_text(st, 0, &v->arena);
	sqlite3_reset(st);
	return 0;
}

static int
by_from(const void *a, const void *b)
{
	const struct interval *x = a, *y = b;

	return (x->from > y->from) - (x->from < y->from);
}

/* One night's last row and the next night's first never touch; exports this close are
 * one. Common practice, no source. */
#define ADJACENT (15 * MINUTE)

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
			if (m && list[i].from <= list[m - 1].to + ADJACENT)
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
	    load_group(s, v, account, e) ||
	    (*was.account && load_former(s, &was, id, e)) || load_cover(s, v, id, &was, as_of, e))
		goto fail;
	if (was.until != INT64_MAX && (as_of == NO_TIME || as_of >= was.until))
		was_as_of = was.until - 1;
	v->former = was.id && was.until == INT64_MAX ? was.account : "";
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
	load_sort_points(v, &rank);
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
 * number was given to somebody else since, or that one was renamed in its turn: history
 * follows one step, and what it does not reach is judged where it lies), or the ones with a receiver or line, where this
 * is the bare row that lists made? */
static int
judged_elsewhere(struct store *s, int64_t id, bool *yes, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT EXISTS (SELECT 1 FROM site t WHERE t.was = a.account"
	    "   AND t.was <> '' AND t.account <> t.was AND t.id ="
	    "   (SELECT max(id) FROM site u WHERE u.account = t.account) AND (SELECT since FROM site o"
	    "     WHERE o.account = a.account ORDER BY o.id DESC LIMIT 1) IS NULL"
	    "   AND NOT EXISTS (SELECT 1 FROM site w WHERE w.was = t.account AND w.account <> w.was"
	    "     AND w.id = (SELECT max(id) FROM site u WHERE u.account = w.account)))"
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

/* The accounts that a text names. */
struct named {
	struct arena a;
	int64_t      id;		/* of the first */
	size_t       n;
	const char  *names;		/* of all, in words */
};

/* Those whose own text are its first `cut` bytes: all of them where that is the whole text, else
 * those with the receiver and line that follow. So an account is found by its index. */
static int
find_named(struct store *s, const char *text, size_t cut, struct named *x, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT id, account, receiver, line,"
	    " EXISTS (SELECT 1 FROM run r WHERE r.account = account.id) FROM account"
	    " WHERE account = ?1 AND (?2 OR account || '@' || receiver || '/' || line = ?3 COLLATE NOCASE)"
	    " ORDER BY 5 DESC, id", e);
	int rc;

	if (!st)
		return -1;
	db_bind_span(st, 1, (struct span){ text, cut });
	sqlite3_bind_int(st, 2, text[cut] == '\0');
	db_bind_text(st, 3, text);
	while ((rc = db_step(s, st, e)) > 0) {
		const char *receiver = (const char *)sqlite3_column_text(st, 2);
		const char *line = (const char *)sqlite3_column_text(st, 3);

		/* The bare row that sites made counts only while it is alone. */
		if (x->n && !*receiver && !*line && !sqlite3_column_int(st, 4))
			continue;
		if (x->n == 0)
			x->id = sqlite3_column_int64(st, 0);
		x->names = arena_fmt(&x->a, "%s%s%.*s@%s/%s", x->names, *x->names ? ", " : "",
		    sqlite3_column_bytes(st, 1), (const char *)sqlite3_column_text(st, 1), receiver, line);
		x->n++;
	}
	return rc;
}

int
store_view(struct store *s, const char *account, int64_t as_of, struct view *v, struct err *e)
{
	struct named x = { .names = "" };
	const char *near;
	int rc = find_named(s, account, strlen(account), &x, e);

	for (size_t cut = strlen(account); rc == 0 && cut-- > 0;)
		if (account[cut] == '@')
			rc = find_named(s, account, cut, &x, e);
	if (rc < 0) {
		/* *e is filled */
	} else if (x.n == 1) {
		rc = load_view(s, x.id, as_of, true, v, e);
	} else if (x.n > 1) {
		rc = err_set(e, ERR_USAGE, NULL, 0, "account %s is known on several lines: %s", account,
		    x.names);
	} else if ((near = nearest(s, &x.a, account, e)) != NULL) {
		rc = err_set(e, ERR_USAGE, NULL, 0, "no account %s in the store%s%s", account,
		    *near ? "; nearest: " : "", near);
	} else {
		rc = -1;
	}
	arena_release(&x.a);
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
