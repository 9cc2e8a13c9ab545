#include "daemon/store/tables.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "daemon/store/db.h"

int
table_begin(struct store *s, struct table_file *f, struct err *e)
{
	sqlite3_stmt *st;

	if (db_exec(s, "BEGIN IMMEDIATE", e))
		return -1;
	st = db_stmt(s, "INSERT INTO file(name, kind, size, crc32, taken, place, header, separator,"
	    " ignored, newest_first, covers_all, rows, stored, repeated, set_aside, wordings)"
	    " VALUES(?1, ?2, 0, 0, ?3, ?4, ?5, ?6, ?7, 0, 0, 0, 0, 0, 0, nullif(?8, 0))", e);
	if (!st)
		return -1;
	db_bind_text(st, 1, f->name);
	db_bind_text(st, 2, f->kind);
	sqlite3_bind_int64(st, 3, f->taken);
	db_bind_text(st, 4, f->place);
	db_bind_text(st, 5, f->header);
	db_bind_span(st, 6, (struct span){ &f->separator, 1 });
	db_bind_text(st, 7, f->ignored);
	sqlite3_bind_int64(st, 8, f->wordings);
	if (db_run(s, st, e))
		return -1;
	f->id = sqlite3_last_insert_rowid(s->db);
	f->rows = f->stored = f->repeated = f->set_aside = 0;
	return 0;
}

void
table_abort(struct store *s)
{
	if (!sqlite3_get_autocommit(s->db))
		sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
	s->n_cell = 0;		/* some may be gone with it */
}

/* Runs a bound INSERT; a row that UNIQUE refuses is a repeat. */
static int
add(struct store *s, struct table_file *f, sqlite3_stmt *st, struct err *e)
{
	if (db_run(s, st, e))
		return -1;
	f->rows++;
	if (sqlite3_changes(s->db))
		f->stored++;
	else
		f->repeated++;
	return 0;
}

static void
bind_local(sqlite3_stmt *st, int i, const struct table_file *f)
{
	sqlite3_bind_int(st, i, f->local);
	db_bind_text(st, i + 1, f->local ? f->read_as : "");
}

/* An account of sites or roster exists even before an export names it. */
static int
name_account(struct store *s, const char *account, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO account(account, receiver, line) SELECT ?1, '', ''"
	    " WHERE NOT EXISTS (SELECT 1 FROM account WHERE account = ?1)", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	return db_run(s, st, e);
}

static int
know_serial(struct store *s, const char *account, const char *serial, struct err *e)
{
	struct arena a = { 0 };
	const char *key = serial_key(&a, span_of(serial));
	sqlite3_stmt *st = db_stmt(s, "INSERT OR IGNORE INTO serial"
	    " SELECT ?1, id FROM account WHERE account = ?2", e);
	int rc = st ? 0 : -1;

	if (rc == 0 && *key) {
		db_bind_text(st, 1, key);
		db_bind_text(st, 2, account);
		rc = db_run(s, st, e);
	}
	arena_release(&a);
	return rc;
}

int
table_roster(struct store *s, struct table_file *f, uint64_t line, const char *account,
    const struct roster_row *r, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO roster(file, line, account, device, zone,"
	    " partition, serial, name, cell, cells, installed, checkin, as_of, local, read_as)"
	    " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)line);
	db_bind_text(st, 3, account);
	db_bind_text(st, 4, kind_text(r->kind));
	db_bind_text(st, 5, r->zone);
	db_bind_text(st, 6, r->partition);
	db_bind_text(st, 7, r->serial);
	db_bind_text(st, 8, r->name);
	db_bind_text(st, 9, r->cell);
	sqlite3_bind_int(st, 10, r->cells);
	db_bind_time(st, 11, r->installed);
	sqlite3_bind_int64(st, 12, r->checkin);
	db_bind_time(st, 13, r->as_of);
	bind_local(st, 14, f);
	if (add(s, f, st, e) || name_account(s, account, e))
		return -1;
	return know_serial(s, account, r->serial, e);
}

int
table_site(struct store *s, struct table_file *f, uint64_t line, const struct site_in *r,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO site(file, line, account, timezone, name,"
	    " \"group\", was, since, local, read_as) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)line);
	db_bind_text(st, 3, r->account);
	db_bind_text(st, 4, r->timezone);
	db_bind_text(st, 5, r->name);
	db_bind_text(st, 6, r->group);
	db_bind_text(st, 7, r->was);
	db_bind_time(st, 8, r->since);
	bind_local(st, 9, f);
	return add(s, f, st, e) || name_account(s, r->account, e) ? -1 : 0;
}

int
table_plan(struct store *s, struct table_file *f, uint64_t line, const char *account,
    const struct plan_row *r, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO plan(file, line, account, serial, from_at, to_at,"
	    " zone, device, name, sequence, replaces, local, read_as)"
	    " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)line);
	db_bind_text(st, 3, account);
	db_bind_text(st, 4, r->serial);
	sqlite3_bind_int64(st, 5, r->from);
	sqlite3_bind_int64(st, 6, r->to);
	db_bind_text(st, 7, r->zone);
	db_bind_text(st, 8, kind_text(r->kind));
	db_bind_text(st, 9, r->name);
	sqlite3_bind_int(st, 10, r->order);
	db_bind_text(st, 11, r->replaces);
	bind_local(st, 12, f);
	return add(s, f, st, e);
}

int
table_service(struct store *s, struct table_file *f, uint64_t line, const char *account,
    const struct service_row *r, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT OR IGNORE INTO service(file, line, account, at, what,"
	    " zone, serial, who, local, read_as) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)line);
	db_bind_text(st, 3, account);
	sqlite3_bind_int64(st, 4, r->at);
	db_bind_text(st, 5, r->what);
	db_bind_text(st, 6, r->zone);
	db_bind_text(st, 7, r->serial);
	db_bind_text(st, 8, r->who);
	bind_local(st, 9, f);
	return add(s, f, st, e);
}

int
table_setting(struct store *s, struct table_file *f, uint64_t line,
    const struct setting_in *r, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO setting(file, line, rule, setting, scope, value,"
	    " who) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)line);
	db_bind_text(st, 3, r->rule);
	db_bind_text(st, 4, r->setting);
	db_bind_text(st, 5, r->scope);
	db_bind_text(st, 6, r->value);
	db_bind_text(st, 7, r->who);
	return add(s, f, st, e);
}

int
table_wording(struct store *s, struct table_file *f, uint64_t line, const char *what,
    const char *match, const char *gives, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO wording(file, line, what, match, gives)"
	    " VALUES(?1, ?2, ?3, ?4, ?5)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)line);
	db_bind_text(st, 3, what);
	db_bind_text(st, 4, match);
	db_bind_text(st, 5, gives);
	return add(s, f, st, e);
}

int
table_aside(struct store *s, struct table_file *f, uint64_t line, const char *reason,
    struct span raw, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO aside VALUES(?1, ?2, ?3, ?4)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)line);
	db_bind_text(st, 3, reason);
	sqlite3_bind_blob(st, 4, raw.p ? raw.p : "", (int)raw.n, SQLITE_STATIC);
	f->rows++;
	f->set_aside++;
	return db_run(s, st, e);
}

int
file_asides_once(struct store *s, int64_t file, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "DELETE FROM aside WHERE file = ?1 AND EXISTS"
	    " (SELECT 1 FROM file f JOIN file g ON g.size = f.size AND g.crc32 = f.crc32"
	    "   AND g.kind = f.kind AND g.id < f.id JOIN aside x ON x.file = g.id"
	    "   AND x.line = aside.line WHERE f.id = ?1)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, file);
	return db_run(s, st, e);
}

int
file_cover_once(struct store *s, int64_t file, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.id FROM file f JOIN file n ON n.id = ?1"
	    " AND f.size = n.size AND f.crc32 = n.crc32 AND f.kind = n.kind AND f.id < n.id"
	    " AND f.wordings IS n.wordings AND f.covers_all = n.covers_all"
	    " AND f.from_at = n.from_at AND f.to_at = n.to_at"
	    " AND f.sure_from IS n.sure_from AND f.sure_to IS n.sure_to"
	    " WHERE NOT EXISTS (SELECT account, lo, hi FROM cover WHERE file = f.id"
	    "  EXCEPT SELECT account, lo, hi FROM cover WHERE file = n.id)"
	    " ORDER BY f.id DESC LIMIT 1", e);
	int64_t older;
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, file);
	if ((rc = db_step(s, st, e)) <= 0)
		return rc;
	older = sqlite3_column_int64(st, 0);
	sqlite3_reset(st);
	return db_run_id(s, "DELETE FROM cover WHERE file = ?1", older, e) ||
	    db_run_id(s, "UPDATE file SET from_at = NULL, to_at = NULL WHERE id = ?1", older, e) ? -1 : 0;
}

/* ---- the end of a file ----------------------------------------------------- */

/* For each kind that has versions: rows of the file that differ from what holds so far
 * for their account (settings: rule, setting, scope), or the other way round. */
#define DIFFERS(table, columns, same) \
	"SELECT EXISTS (SELECT " columns " FROM " table " WHERE file = ?1 EXCEPT SELECT " columns \
	" FROM " table " t WHERE file = (SELECT max(file) FROM " table " u WHERE " same \
	" AND u.file < ?1)) OR EXISTS (SELECT " columns " FROM " table " t WHERE EXISTS" \
	" (SELECT 1 FROM " table " u WHERE u.file = ?1 AND " same ") AND file = (SELECT max(file)" \
	" FROM " table " u WHERE " same " AND u.file < ?1) EXCEPT SELECT " columns " FROM " table \
	" WHERE file = ?1)"

/* Of wordings the rows in their order, against what holds of the same place. */
#define WORDING "SELECT line, what, match, gives FROM wording WHERE file = "
#define WORDING_HOLDS "(SELECT max(w.file) FROM wording w JOIN file f ON f.id = w.file" \
	" JOIN file n ON n.id = ?1 AND n.place = f.place WHERE w.file < ?1)"

static const struct { const char *kind, *sql; } differs[] = {
	{ "roster", DIFFERS("roster", "account, device, zone, partition, serial, name, cell, cells,"
	  " installed, checkin, as_of", "u.account = t.account") },
	{ "sites", DIFFERS("site", "account, timezone, name, \"group\", was, since",
	  "u.account = t.account") },
	{ "plan", DIFFERS("plan", "account, serial, from_at, to_at, zone, device, name, sequence,"
	  " replaces", "u.account = t.account") },
	{ "settings", DIFFERS("setting", "rule, setting, scope, value, who",
	  "u.rule = t.rule AND u.setting = t.setting AND u.scope = t.scope") },
	{ "wordings", "SELECT EXISTS (" WORDING "?1 EXCEPT " WORDING WORDING_HOLDS ") OR EXISTS ("
	  WORDING WORDING_HOLDS " EXCEPT " WORDING "?1)" },
};

/* Does the file say nothing but what holds already? A roster whose rows are all dated
 * also says nothing new when it was ever read before: its date is its place. */
static int
says_nothing_new(struct store *s, const struct table_file *f, uint64_t size, uint32_t crc32,
    bool *same, struct err *e)
{
	sqlite3_stmt *st = NULL;

	*same = false;
	for (size_t i = 0; i < sizeof differs / sizeof *differs; i++)
		if (strcmp(f->kind, differs[i].kind) == 0 && !(st = db_stmt(s, differs[i].sql, e)))
			return -1;
	if (!st)
		return 0;
	sqlite3_bind_int64(st, 1, f->id);
	if (db_step(s, st, e) < 0)
		return -1;
	*same = !sqlite3_column_int(st, 0);
	sqlite3_reset(st);
	if (*same || strcmp(f->kind, "roster") != 0)
		return 0;
	st = db_stmt(s, "SELECT EXISTS (SELECT 1 FROM file WHERE kind = 'roster' AND id < ?1"
	    " AND size = ?2 AND crc32 = ?3"
	    " AND wordings IS (SELECT wordings FROM file WHERE id = ?1)) AND NOT EXISTS"
	    " (SELECT 1 FROM roster WHERE file = ?1 AND as_of IS NULL)", e);
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)size);
	sqlite3_bind_int64(st, 3, crc32);
	if (db_step(s, st, e) < 0)
		return -1;
	*same = sqlite3_column_int(st, 0);
	sqlite3_reset(st);
	return 0;
}

/* A version that says nothing new is taken out again; its rows count as repeats. */
static int
undo_version(struct store *s, struct table_file *f, struct err *e)
{
	if (db_run_id(s, "DELETE FROM roster WHERE file = ?1", f->id, e) ||
	    db_run_id(s, "DELETE FROM site WHERE file = ?1", f->id, e) ||
	    db_run_id(s, "DELETE FROM plan WHERE file = ?1", f->id, e) ||
	    db_run_id(s, "DELETE FROM setting WHERE file = ?1", f->id, e) ||
	    db_run_id(s, "DELETE FROM wording WHERE file = ?1", f->id, e))
		return -1;
	f->repeated += f->stored;
	f->stored = 0;
	return 0;
}

/* Instant of a local wall clock, by the same rules as a row's. */
static int64_t
instant(const void *tz, derive_fn *derive, int64_t wall)
{
	struct event_in row = { .wall = wall, .offset = OFFSET_NONE };
	int64_t prev = NO_TIME;

	derive(tz, false, &prev, &row);
	return (row.wall - row.shift) * SECOND;
}

struct file_span { int64_t file, from, to; };

/* Spans of files with local times, from those of their accounts that sites names and
 * from what no zone can move. Their accounts are due where the span has changed. */
static int
span_anew(struct store *s, const struct table_zones *z, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.id, c.lo, c.hi, f.from_at, f.to_at, f.sure_from,"
	    " f.sure_to, (SELECT timezone FROM site t JOIN account a ON a.account = t.account"
	    "   OR (t.was <> '' AND a.account = t.was) WHERE a.id = c.account ORDER BY t.id DESC LIMIT 1)"
	    " FROM file f CROSS JOIN cover c ON c.file = f.id WHERE c.lo IS NOT NULL ORDER BY f.id", e);
	struct file_span *list = NULL;
	size_t n = 0, cap = 0;
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		int64_t file = sqlite3_column_int64(st, 0), lo, hi;
		const char *name = (const char *)sqlite3_column_text(st, 7);

		if (n == 0 || list[n - 1].file != file) {
			list = x_grow(list, &cap, n + 1, sizeof *list);
			list[n++] = (struct file_span){ file, db_time(st, 5), db_time(st, 6) };
		}
		if (name) {
			lo = instant(z->resolve(z->ctx, name), z->derive, sqlite3_column_int64(st, 1));
			hi = instant(z->resolve(z->ctx, name), z->derive, sqlite3_column_int64(st, 2));
		} else {	/* nobody knows better than when it was read */
			lo = db_time(st, 3);
			hi = db_time(st, 4);
		}
		/* A clock that ran ahead did not extend the span when the file was read. */
		if (hi > db_time(st, 4) + DAY)
			hi = db_time(st, 4);
		if (list[n - 1].from == NO_TIME || lo < list[n - 1].from)
			list[n - 1].from = lo;
		if (list[n - 1].to == NO_TIME || hi > list[n - 1].to)
			list[n - 1].to = hi;
	}
	for (size_t i = 0; rc == 0 && i < n; i++) {
		st = db_stmt(s, "UPDATE file SET from_at = ?2, to_at = ?3"
		    " WHERE id = ?1 AND (from_at <> ?2 OR to_at <> ?3)", e);
		if (!st)
			rc = -1;
		else {
			sqlite3_bind_int64(st, 1, list[i].file);
			sqlite3_bind_int64(st, 2, list[i].from);
			sqlite3_bind_int64(st, 3, list[i].to);
			rc = db_run(s, st, e);
		}
		if (rc == 0 && sqlite3_changes(s->db))
			rc = db_run_id(s, "INSERT OR IGNORE INTO due SELECT account FROM cover WHERE file = ?1",
			    list[i].file, e);
	}
	free(list);
	return rc;
}

/* The times of one list that hang on a zone which sites has changed. */
static const struct moving { const char *find, *write; } moving[] = {
	{ "SELECT r.id, r.installed, r.as_of, r.local, r.read_as, n.timezone FROM roster r"
	  " JOIN site n ON n.account = r.account AND n.file = ?1"
	  " WHERE r.local <> 0 AND r.read_as <> n.timezone",
	  "UPDATE roster SET installed = ?2, as_of = ?3, read_as = ?4 WHERE id = ?1" },
	{ "SELECT r.id, r.since, NULL, r.local, r.read_as, n.timezone FROM site r"
	  " JOIN site n ON n.account = r.account AND n.file = ?1"
	  " WHERE r.local <> 0 AND r.read_as <> n.timezone",
	  "UPDATE site SET since = ?2, read_as = ?4 WHERE id = ?1 AND ?3 IS NULL" },
	{ "SELECT r.id, r.from_at, r.to_at, r.local, r.read_as, n.timezone FROM plan r"
	  " JOIN site n ON n.account = r.account AND n.file = ?1"
	  " WHERE r.local <> 0 AND r.read_as <> n.timezone",
	  "UPDATE plan SET from_at = ?2, to_at = ?3, read_as = ?4 WHERE id = ?1" },
	{ "SELECT r.id, r.at, NULL, r.local, r.read_as, n.timezone FROM service r"
	  " JOIN site n ON n.account = r.account AND n.file = ?1"
	  " WHERE r.local <> 0 AND r.read_as <> n.timezone",
	  "UPDATE OR IGNORE service SET at = ?2, read_as = ?4 WHERE id = ?1 AND ?3 IS NULL" },
};

static int
move_times(struct store *s, const struct table_file *f, const struct moving *m,
    const struct table_zones *z, struct err *e)
{
	struct arena a = { 0 };
	struct moved { int64_t id, at[2]; int local; const char *from, *to; } *list = NULL;
	size_t n = 0, cap = 0;
	sqlite3_stmt *st = db_stmt(s, m->find, e);
	int rc = -1;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, n + 1, sizeof *list);
		list[n++] = (struct moved){ .id = sqlite3_column_int64(st, 0),
		    .at = { db_time(st, 1), db_time(st, 2) }, .local = sqlite3_column_int(st, 3),
		    .from = db_text(st, 4, &a), .to = db_text(st, 5, &a) };
	}
	for (size_t i = 0; rc == 0 && i < n; i++) {
		if (!(st = db_stmt(s, m->write, e))) {
			rc = -1;
			break;
		}
		sqlite3_bind_int64(st, 1, list[i].id);
		for (int t = 0; t < 2; t++)
			db_bind_time(st, 2 + t, list[i].at[t] != NO_TIME && list[i].local >> t & 1
			    ? z->move(z->ctx, list[i].from, list[i].to, list[i].at[t]) : list[i].at[t]);
		db_bind_text(st, 4, list[i].to);
		rc = db_run(s, st, e);
	}
	free(list);
	arena_release(&a);
	return rc;
}

/* Everything local of sites whose zone is another one than in the version before. */
static int
derive_changed(struct store *s, const struct table_file *f, const struct table_zones *z,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT a.id, n.timezone FROM site n"
	    " JOIN account a ON a.account = n.account OR (n.was <> '' AND a.account = n.was)"
	    " WHERE n.file = ?1 AND EXISTS (SELECT 1 FROM run r WHERE r.account = a.id)"
	    " AND n.timezone IS NOT (SELECT o.timezone FROM site o"
	    "   WHERE o.account = n.account AND o.file < ?1 ORDER BY o.id DESC LIMIT 1)", e);
	struct arena arena = { 0 };
	struct { int64_t account; const char *timezone; } *list = NULL;
	size_t n = 0, cap = 0;
	int rc;

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, n + 1, sizeof *list);
		list[n].account = sqlite3_column_int64(st, 0);
		list[n++].timezone = db_text(st, 1, &arena);
	}
	for (size_t i = 0; rc == 0 && i < n; i++)
		rc = store_derive(s, list[i].account, z->resolve(z->ctx, list[i].timezone), z->derive, e);
	if (rc == 0 && n)
		rc = span_anew(s, z, e);
	for (size_t i = 0; rc == 0 && i < sizeof moving / sizeof *moving; i++)
		rc = move_times(s, f, &moving[i], z, e);
	free(list);
	arena_release(&arena);
	return rc;
}

static const struct { const char *kind, *sql; } due_of[] = {
	{ "roster", "INSERT OR IGNORE INTO due SELECT a.id FROM account a"
	  " WHERE a.account IN (SELECT account FROM roster WHERE file = ?1) UNION"
	  /* Those who share a serial with one of these are told its zone there. */
	  " SELECT o.account FROM serial m JOIN serial o ON o.serial = m.serial WHERE m.account IN"
	  " (SELECT a.id FROM account a JOIN roster r ON r.account = a.account WHERE r.file = ?1)" },
	{ "sites", "INSERT OR IGNORE INTO due SELECT a.id FROM account a"
	  " WHERE a.account IN (SELECT account FROM site WHERE file = ?1)"
	  " OR a.account IN (SELECT o.was FROM site o JOIN site n ON n.account = o.account"
	  "   WHERE n.file = ?1)"	/* whatever it is, or once was, renamed from; and that one */
	  " OR a.account IN (SELECT p.was FROM site p JOIN site o ON p.account = o.was"
	  "   JOIN site n ON n.account = o.account WHERE n.file = ?1)" },
	{ "plan", "INSERT OR IGNORE INTO due SELECT a.id FROM account a"
	  " WHERE a.account IN (SELECT account FROM plan WHERE file = ?1)" },
	{ "service", "INSERT OR IGNORE INTO due SELECT a.id FROM account a"
	  " WHERE a.account IN (SELECT account FROM service WHERE file = ?1)" },
	{ "settings", "INSERT OR IGNORE INTO due SELECT a.id FROM account a"
	  " WHERE EXISTS (SELECT 1 FROM setting t WHERE t.file = ?1"
	  "  AND (t.scope NOT LIKE 'account=%' OR substr(t.scope, 9) = a.account COLLATE NOCASE))" },
};

int
table_end(struct store *s, struct table_file *f, uint64_t size, uint32_t crc32,
    const struct table_zones *z, struct err *e)
{
	sqlite3_stmt *st;
	bool same = false;

	if (says_nothing_new(s, f, size, crc32, &same, e) || (same && undo_version(s, f, e)))
		return -1;
	if (f->stored && strcmp(f->kind, "sites") == 0 &&
	    derive_changed(s, f, z, e))
		return -1;
	for (size_t i = 0; i < sizeof due_of / sizeof *due_of; i++)
		if (strcmp(f->kind, due_of[i].kind) == 0 && db_run_id(s, due_of[i].sql, f->id, e))
			return -1;
	if (f->stored && f->reword && store_reword_versions(s, f->id, f->reword, f->reword_ctx,
	    &f->reworded, e))
		return -1;
	st = db_stmt(s, "UPDATE file SET size = ?2, crc32 = ?3, rows = ?4, stored = ?5,"
	    " repeated = ?6, set_aside = ?7 WHERE id = ?1", e);
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, f->id);
	sqlite3_bind_int64(st, 2, (int64_t)size);
	sqlite3_bind_int64(st, 3, crc32);
	sqlite3_bind_int64(st, 4, f->rows);
	sqlite3_bind_int64(st, 5, f->stored);
	sqlite3_bind_int64(st, 6, f->repeated);
	sqlite3_bind_int64(st, 7, f->set_aside);
	if (db_run(s, st, e) || file_asides_once(s, f->id, e))
		return -1;
	return db_exec(s, "COMMIT", e);
}

int
table_wordings_each(struct store *s, int (*each)(void *ctx, const struct wording_row *r),
    void *ctx, struct err *e)
{
	/* A version that said nothing new was taken out again: rows, but none stored. */
	sqlite3_stmt *st = db_stmt(s, "SELECT w.file, f.name, f.place, w.line, w.what, w.match,"
	    " w.gives FROM wording w JOIN file f ON f.id = w.file WHERE w.file ="
	    " (SELECT max(g.id) FROM file g WHERE g.kind = 'wordings' AND g.place = f.place"
	    "   AND (g.stored > 0 OR g.rows = 0)) ORDER BY w.file, w.id", e);
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		struct wording_row r = { .file = sqlite3_column_int64(st, 0),
		    .name = (const char *)sqlite3_column_text(st, 1),
		    .place = (const char *)sqlite3_column_text(st, 2),
		    .line = sqlite3_column_int64(st, 3),
		    .what = (const char *)sqlite3_column_text(st, 4),
		    .match = (const char *)sqlite3_column_text(st, 5),
		    .gives = (const char *)sqlite3_column_text(st, 6) };

		rc = each(ctx, &r);
		if (rc)
			break;
	}
	sqlite3_reset(st);
	return rc;
}

int
table_wordings(struct store *s, const char *place, int64_t *id, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT max(file) FROM wording WHERE file IN"
	    " (SELECT id FROM file WHERE kind = 'wordings' AND place = ?1)", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, place);
	if (db_step(s, st, e) < 0)
		return -1;
	*id = sqlite3_column_int64(st, 0);
	sqlite3_reset(st);
	return 0;
}

int
table_timezones(struct store *s, int (*each)(void *ctx, const char *account,
    const char *timezone), void *ctx, struct err *e)
{
	/* Oldest first, so that the newest version is told last. */
	sqlite3_stmt *st = db_stmt(s, "SELECT account, timezone FROM (SELECT id, account, timezone FROM site UNION ALL"
	    " SELECT id, was, timezone FROM site WHERE was <> '') ORDER BY id", e);
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		rc = each(ctx, (const char *)sqlite3_column_text(st, 0),
		    (const char *)sqlite3_column_text(st, 1));
		if (rc)
			break;
	}
	sqlite3_reset(st);
	return rc;
}
