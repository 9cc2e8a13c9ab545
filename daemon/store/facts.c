/* facts.c - what the store holds: accounts, files, set-aside rows, events, settings. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "daemon/store/db.h"
#include "daemon/store/load.h"
#include "daemon/store/schema.h"

/* Accounts of sites that no file of this time covers stand as "not in the exports". */
#define STALE (3 * DAY)

static void
read_account(sqlite3_stmt *st, struct arena *a, struct account_info *x)
{
	x->id = sqlite3_column_int64(st, 0);
	x->receiver = db_text(st, 2, a);
	x->line = db_text(st, 3, a);
	x->account = db_text(st, 1, a);
	x->name = db_text(st, 4, a);
	x->group = db_text(st, 5, a);
	x->timezone = db_text(st, 6, a);
	x->in_sites = *x->timezone != '\0';
	x->cover_from = db_time(st, 7);
	x->cover_to = db_time(st, 8);
	x->events = sqlite3_column_int64(st, 9);
	x->first = db_time(st, 10);
	x->last = db_time(st, 11);
}

/* First and last are the as-read wall clock's, good to a day; nothing here judges. */
#define ACCOUNT_SQL \
	"SELECT a.id, a.account, a.receiver, a.line, coalesce(t.name, ''), coalesce(nullif(t.\"group\", ''), a.\"group\")," \
	" coalesce(t.timezone, '')," \
	" (SELECT min(from_at) FROM account_span c WHERE c.account = a.id)," \
	" (SELECT max(to_at) FROM account_span c WHERE c.account = a.id)," \
	" (SELECT coalesce(sum(n), 0) FROM run r WHERE r.account = a.id)," \
	" (SELECT min(lo) * 1000 FROM run r WHERE r.account = a.id)," \
	" (SELECT max(hi) * 1000 FROM run r WHERE r.account = a.id)" \
	" FROM account a LEFT JOIN site t ON t.id =" \
	"   (SELECT max(id) FROM site u WHERE u.account = a.account)"

static int
read_accounts(struct store *s, sqlite3_stmt *st, struct arena *a, struct account_info **out,
    size_t *n, struct err *e)
{
	struct account_info *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		read_account(st, a, &list[(*n)++]);
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_accounts(struct store *s, struct arena *a, struct account_info **out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, ACCOUNT_SQL " ORDER BY a.account, a.receiver, a.line", e);

	return st ? read_accounts(s, st, a, out, n, e) : -1;
}

int
store_planned(struct store *s, int64_t from, struct arena *a, const char ***out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT DISTINCT account FROM plan p WHERE to_at >= ?1"
	    " AND file = (SELECT max(file) FROM plan q WHERE q.account = p.account)", e);
	const char **list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, from);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = db_text(st, 0, a);
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_uncovered(struct store *s, struct arena *a, struct account_info **out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, ACCOUNT_SQL " WHERE t.id IS NOT NULL"
	    " AND NOT EXISTS (SELECT 1 FROM account b JOIN account_span c ON c.account = b.id"
	    "   WHERE b.account = a.account AND c.to_at >= (SELECT max(to_at) FROM file) - ?1)"
	    " AND NOT EXISTS (SELECT 1 FROM site w WHERE w.was = a.account AND w.account <> w.was)"
	    " GROUP BY a.account ORDER BY a.account", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, STALE);
	return read_accounts(s, st, a, out, n, e);
}

int
store_twins(struct store *s, struct arena *a, const char ***out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT a.account, b.account FROM account a JOIN account b"
	    " ON ltrim(a.account, '0') = ltrim(b.account, '0') COLLATE NOCASE"
	    " AND a.account < b.account GROUP BY 1, 2 ORDER BY 1, 2", e);
	const char **list = NULL;
	size_t cap = 0, m = 0;
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, m + 2, sizeof *list);
		list[m++] = db_text(st, 0, a);
		list[m++] = db_text(st, 1, a);
	}
	*n = m / 2;
	*out = arena_keep(a, list, m, sizeof *list);
	return rc;
}

int
store_load(struct store *s, size_t limit, struct arena *a, struct load_row **out, size_t *n,
    int64_t *all_alarms, int64_t *all_activations, struct err *e)
{
	sqlite3_stmt *st;
	struct load_row *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (db_number(s, "SELECT sum(alarms) FROM load WHERE n = 0", all_alarms, e) ||
	    db_number(s, "SELECT sum(activations) FROM load WHERE n = 0", all_activations, e))
		return -1;
	st = db_stmt(s, "SELECT a.account, coalesce((SELECT name FROM site t WHERE t.account = a.account"
	    " ORDER BY t.id DESC LIMIT 1), ''), l.zone, l.serial, l.device, l.life, l.alarms,"
	    " l.activations FROM load l JOIN account a ON a.id = l.account"
	    " WHERE l.n > 0 AND l.alarms > 0"
	    " ORDER BY l.alarms DESC, l.activations DESC, a.account, l.n LIMIT ?1", e);
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, limit ? (int64_t)limit : -1);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct load_row){ .account = db_text(st, 0, a),
		    .site_name = db_text(st, 1, a), .zone = db_text(st, 2, a),
		    .serial = db_text(st, 3, a), .device = db_text(st, 4, a),
		    .life = sqlite3_column_int(st, 5), .alarms = sqlite3_column_int64(st, 6),
		    .activations = sqlite3_column_int64(st, 7) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_files(struct store *s, struct arena *a, struct file_info **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT id, name, kind, place, size, crc32, taken, rows, stored,"
	    " repeated, set_aside, expired, from_at, to_at, ignored FROM file ORDER BY id", e);
	struct file_info *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct file_info){ .id = sqlite3_column_int64(st, 0),
		    .name = db_text(st, 1, a), .kind = db_text(st, 2, a), .place = db_text(st, 3, a),
		    .size = sqlite3_column_int64(st, 4), .crc32 = sqlite3_column_int64(st, 5),
		    .taken = sqlite3_column_int64(st, 6), .rows = sqlite3_column_int64(st, 7),
		    .stored = sqlite3_column_int64(st, 8), .repeated = sqlite3_column_int64(st, 9),
		    .set_aside = sqlite3_column_int64(st, 10), .expired = sqlite3_column_int64(st, 11),
		    .from = db_time(st, 12), .to = db_time(st, 13), .ignored = db_text(st, 14, a) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_asides(struct store *s, int (*each)(void *ctx, const struct aside_row *row), void *ctx,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT x.file, f.name, f.kind, f.header, f.separator, x.line,"
	    " x.reason, x.raw FROM aside x JOIN file f ON f.id = x.file ORDER BY x.file, x.line", e);
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		struct aside_row r = { .file = sqlite3_column_int64(st, 0),
		    .file_name = (const char *)sqlite3_column_text(st, 1),
		    .kind = (const char *)sqlite3_column_text(st, 2),
		    .header = (const char *)sqlite3_column_text(st, 3),
		    .separator = ((const char *)sqlite3_column_text(st, 4))[0],
		    .line = sqlite3_column_int64(st, 5),
		    .reason = (const char *)sqlite3_column_text(st, 6) };

		r.raw = sqlite3_column_blob(st, 7);
		r.raw_n = (size_t)sqlite3_column_bytes(st, 7);
		if (!r.raw)
			r.raw = "";
		if ((rc = each(ctx, &r)) != 0)
			break;
	}
	sqlite3_reset(st);
	return rc;
}

int
store_status(struct store *s, struct arena *a, struct store_status *out, struct err *e)
{
	static const struct { const char *sql; size_t at; } number[] = {
		{ "SELECT count(*) FROM file", offsetof(struct store_status, files) },
		{ "SELECT coalesce(sum(n), 0) FROM run", offsetof(struct store_status, events) },
		{ "SELECT count(*) FROM account", offsetof(struct store_status, accounts) },
		{ "SELECT count(DISTINCT serial) FROM serial", offsetof(struct store_status, devices_known) },
		{ "SELECT count(*) FROM point", offsetof(struct store_status, points) },
		{ "SELECT sum(rows) FROM file", offsetof(struct store_status, rows) },
		{ "SELECT sum(stored) FROM file", offsetof(struct store_status, stored) },
		{ "SELECT sum(repeated) FROM file", offsetof(struct store_status, repeated) },
		{ "SELECT sum(set_aside) FROM file", offsetof(struct store_status, set_aside) },
		{ "SELECT sum(expired) FROM file", offsetof(struct store_status, expired) },
		{ "SELECT count(*) FROM due", offsetof(struct store_status, due) },
		{ "SELECT count(*) FROM finding WHERE level = 0 AND cleared IS NULL AND NOT pending",
		  offsetof(struct store_status, open[0]) },
		{ "SELECT count(*) FROM finding WHERE level = 1 AND cleared IS NULL AND NOT pending",
		  offsetof(struct store_status, open[1]) },
		{ "SELECT count(*) FROM finding WHERE level = 2 AND cleared IS NULL AND NOT pending",
		  offsetof(struct store_status, open[2]) },
	};
	sqlite3_stmt *st;
	struct stat file;

	*out = (struct store_status){ .schema = STORE_SCHEMA };
	for (size_t i = 0; i < sizeof number / sizeof *number; i++)
		if (db_number(s, number[i].sql, (int64_t *)((char *)out + number[i].at), e))
			return -1;
	if (!(st = db_stmt(s, "SELECT min(from_at), max(to_at), (SELECT max(taken) FROM file),"
	    " (SELECT min(kept_from) FROM account) FROM file", e)) || db_step(s, st, e) < 0)
		return -1;
	out->cover_from = db_time(st, 0);
	out->cover_to = db_time(st, 1);
	out->last_taken = db_time(st, 2);
	out->kept_from = db_time(st, 3);
	sqlite3_reset(st);
	if (!(st = db_stmt(s, "PRAGMA journal_mode", e)) || db_step(s, st, e) < 0)
		return -1;
	out->journal = db_text(st, 0, a);
	sqlite3_reset(st);
	if (stat(s->path, &file) == 0)
		out->bytes = file.st_size;
	return 0;
}

int
store_settings(struct store *s, struct arena *a, struct setting_row **out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT t.rule, t.setting, t.scope, t.value, t.who, f.name, f.taken"
	    " FROM setting t JOIN file f ON f.id = t.file WHERE t.id = (SELECT max(id) FROM setting u"
	    "   WHERE u.rule = t.rule AND u.setting = t.setting AND u.scope = t.scope)"
	    " ORDER BY t.rule, t.setting, t.scope", e);
	struct setting_row *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct setting_row){ .rule = db_text(st, 0, a),
		    .setting = db_text(st, 1, a), .scope = db_text(st, 2, a), .value = db_text(st, 3, a),
		    .who = db_text(st, 4, a), .file = db_text(st, 5, a),
		    .taken = sqlite3_column_int64(st, 6) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}
