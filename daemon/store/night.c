/* night.c - what a nightly run was told before, and what came after it. */
#include <stdlib.h>
#include <string.h>

#include "daemon/store/db.h"

static int
read_night(struct store *s, const char *sql, struct night *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, sql, e);
	int rc = st ? db_step(s, st, e) : -1;

	*out = (struct night){ .at = NO_TIME };
	if (rc < 0)
		return -1;
	if (rc)
		*out = (struct night){ sqlite3_column_int64(st, 0), sqlite3_column_int64(st, 1),
		    sqlite3_column_int64(st, 2), sqlite3_column_int64(st, 3), sqlite3_column_int64(st, 4) };
	sqlite3_reset(st);
	return 0;
}

int
store_night(struct store *s, struct night *out, struct err *e)
{
	return read_night(s, "SELECT id, at, file, decision, removal FROM night ORDER BY id DESC LIMIT 1", out,
	    e);
}

int
store_night_before(struct store *s, struct night *out, struct err *e)
{
	return read_night(s, "SELECT id, at, file, decision, removal FROM night ORDER BY id DESC"
	    " LIMIT 1 OFFSET 1", out, e);
}

static int
read_told(struct store *s, const char *sql, struct arena *a, struct told **out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, sql, e);
	struct told *list = NULL;
	size_t cap = 0;
	int rc = st ? 0 : -1;

	*n = 0;
	while (st && (rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct told){ db_text(st, 0, a), sqlite3_column_int(st, 1),
		    sqlite3_column_int64(st, 2), sqlite3_column_int(st, 3),
		    sqlite3_column_int64(st, 4) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_told(struct store *s, struct arena *a, struct told **out, size_t *n, struct err *e)
{
	return read_told(s, "SELECT finding, level, count, cleared, onset FROM told ORDER BY finding", a,
	    out, n, e);
}

int
store_told_before(struct store *s, struct arena *a, struct told **out, size_t *n,
    struct err *e)
{
	return read_told(s, "SELECT finding, level, count, cleared, onset FROM told_before"
	    " ORDER BY finding", a, out, n, e);
}

int
store_night_files(struct store *s, int64_t since, struct arena *a, struct night_file **out,
    size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.id, f.name, f.kind, f.owner, f.rows, f.stored,"
	    " f.repeated, f.set_aside, f.expired, f.from_at, f.to_at, EXISTS (SELECT 1 FROM file g"
	    "  WHERE g.size = f.size AND g.crc32 = f.crc32 AND g.kind = f.kind AND g.id < f.id)"
	    " FROM file f WHERE f.id > ?1 ORDER BY f.id", e);
	struct night_file *list = NULL;
	size_t cap = 0;
	int rc = st ? 0 : -1;

	*n = 0;
	if (st)
		sqlite3_bind_int64(st, 1, since);
	while (st && (rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct night_file){ .id = sqlite3_column_int64(st, 0),
		    .name = db_text(st, 1, a), .kind = db_text(st, 2, a), .owner = db_text(st, 3, a),
		    .rows = sqlite3_column_int64(st, 4), .stored = sqlite3_column_int64(st, 5),
		    .repeated = sqlite3_column_int64(st, 6),
		    .set_aside = sqlite3_column_int64(st, 7), .expired = sqlite3_column_int64(st, 8),
		    .from = db_time(st, 9), .to = db_time(st, 10), .again = sqlite3_column_int(st, 11) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_night_reasons(struct store *s, int64_t since, struct arena *a,
    struct night_reason **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.kind, x.reason, count(*), NOT EXISTS"
	    " (SELECT 1 FROM aside y JOIN file g ON g.id = y.file WHERE y.file <= ?1"
	    "   AND y.reason = x.reason AND g.kind = f.kind)"
	    " FROM file f CROSS JOIN aside x ON x.file = f.id WHERE f.id > ?1"
	    " GROUP BY f.kind, x.reason ORDER BY 3 DESC, 1, 2", e);
	struct night_reason *list = NULL;
	size_t cap = 0;
	int rc = st ? 0 : -1;

	*n = 0;
	if (st)
		sqlite3_bind_int64(st, 1, since);
	while (st && (rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct night_reason){ db_text(st, 0, a), db_text(st, 1, a),
		    sqlite3_column_int64(st, 2), sqlite3_column_int(st, 3) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_night_decisions(struct store *s, int64_t since, struct arena *a,
    struct night_decision **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT d.finding, d.decision, d.who, d.why, d.at, d.until,"
	    " f.name, f.owner FROM decision d LEFT JOIN file f ON f.id = d.file WHERE d.id > ?1 ORDER BY d.id", e);
	struct night_decision *list = NULL;
	size_t cap = 0;
	int rc = st ? 0 : -1;

	*n = 0;
	if (st)
		sqlite3_bind_int64(st, 1, since);
	while (st && (rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct night_decision){ db_text(st, 0, a), {
		    .decision = db_text(st, 1, a), .who = db_text(st, 2, a), .why = db_text(st, 3, a),
		    .at = sqlite3_column_int64(st, 4), .until = db_time(st, 5), .holds = true,
		    .lifted = "" }, db_text(st, 6, a), db_text(st, 7, a) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_night_removals(struct store *s, int64_t since, struct arena *a,
    struct night_removal **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT kind, max(days), sum(n), sum(bytes), min(oldest),"
	    " max(newest) FROM removal WHERE id > ?1 GROUP BY kind ORDER BY min(id)", e);
	struct night_removal *list = NULL;
	size_t cap = 0;
	int rc = st ? 0 : -1;

	*n = 0;
	if (st)
		sqlite3_bind_int64(st, 1, since);
	while (st && (rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct night_removal){ db_text(st, 0, a), sqlite3_column_int64(st, 1),
		    { sqlite3_column_int64(st, 2), sqlite3_column_int64(st, 3), db_time(st, 4),
		    db_time(st, 5) } };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_night_done(struct store *s, int64_t wall_clock, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO night(at, file, decision, removal) SELECT ?1,"
	    " (SELECT coalesce(max(id), 0) FROM file), (SELECT coalesce(max(id), 0) FROM decision),"
	    " (SELECT coalesce(max(id), 0) FROM removal)", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, wall_clock);
	if (db_run(s, st, e))
		return -1;
	return db_exec(s, "UPDATE finding_case SET night = (SELECT max(id) FROM night)"
	    " WHERE night IS NULL AND id IN (SELECT id FROM finding WHERE NOT pending);"
	    "DELETE FROM told_before;"
	    "INSERT INTO told_before SELECT * FROM told;"
	    "DELETE FROM told;"
	    "INSERT INTO told SELECT id, level, count, cleared IS NOT NULL, onset FROM finding"
	    " WHERE NOT pending", e);
}

int
store_count_due(struct store *s, int64_t *n, struct err *e)
{
	return db_number(s, "SELECT count(*) FROM due", n, e);
}

int
store_owner(struct store *s, int64_t file, const char *owner, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "UPDATE file SET owner = ?2 WHERE id = ?1", e);

	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, file);
	db_bind_text(st, 2, owner);
	return db_run(s, st, e);
}

int
store_moved(struct store *s, const char *from, const char *to, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "UPDATE file SET place = ?2 WHERE id ="
	    " (SELECT id FROM file WHERE place = ?1 ORDER BY id DESC LIMIT 1)", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, from);
	db_bind_text(st, 2, to);
	return db_run(s, st, e);
}

int
store_group(struct store *s, const char *place, const char *group, struct err *e)
{
	static const char *const sql[] = {
		"INSERT OR IGNORE INTO due SELECT a.id FROM cover c JOIN account a ON a.id = c.account"
		" WHERE c.file = (SELECT max(id) FROM file WHERE place = ?1) AND a.\"group\" <> ?2",
		"UPDATE account SET \"group\" = ?2 WHERE \"group\" <> ?2 AND id IN (SELECT account FROM cover"
		" WHERE file = (SELECT max(id) FROM file WHERE place = ?1))",
	};
	int rc = 0;

	for (size_t i = 0; rc == 0 && i < sizeof sql / sizeof *sql; i++) {
		sqlite3_stmt *st = db_stmt(s, sql[i], e);

		if (!st)
			return -1;
		db_bind_text(st, 1, place);
		db_bind_text(st, 2, group);
		rc = db_run(s, st, e);
	}
	return rc;
}

int
store_knows(struct store *s, const char *place, int64_t size, uint32_t crc32,
    bool covers_all, bool *known, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT EXISTS (SELECT 1 FROM file WHERE size = ?2"
	    " AND crc32 = ?3 AND kind = 'events' AND covers_all >= ?4)"
	    " OR EXISTS (SELECT 1 FROM file WHERE size = ?2 AND crc32 = ?3 AND kind <> 'events'"
	    "  AND id = (SELECT max(id) FROM file WHERE place = ?1))", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, place);
	sqlite3_bind_int64(st, 2, size);
	sqlite3_bind_int64(st, 3, crc32);
	sqlite3_bind_int(st, 4, covers_all);
	if (db_step(s, st, e) < 0)
		return -1;
	*known = sqlite3_column_int(st, 0);
	sqlite3_reset(st);
	return 0;
}
