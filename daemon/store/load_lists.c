/* load_lists.c - what people told of one account, and what others know of its serials. */
#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "daemon/store/load_part.h"
#include "rules/override.h"

int
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

int
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

int
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
	sqlite3_stmt *st = db_stmt(s, "SELECT rule, setting, scope, value,"
	    " CASE WHEN scope LIKE 'group=%' THEN 1 WHEN scope LIKE 'device=%' THEN 2"
	    "   WHEN scope LIKE 'account=%' THEN 3 ELSE 0 END AS narrow FROM setting t"
	    " WHERE id = (SELECT max(id) FROM setting u WHERE u.rule = t.rule"
	    "   AND u.setting = t.setting AND u.scope = t.scope)"
	    " AND (scope IN ('', '*') OR (?1 IS NOT NULL AND (scope LIKE 'device=%'"
	    "   OR (scope LIKE 'group=%' AND substr(scope, 7) = ?2 COLLATE NOCASE)"
	    "   OR (scope LIKE 'account=%' AND substr(scope, 9) = ?1 COLLATE NOCASE))))"
	    " ORDER BY narrow, id", e);
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
		o.narrow = sqlite3_column_int(st, 4);
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

int
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
