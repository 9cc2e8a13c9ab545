/* query.c - findings and decisions as people ask for them. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/store/cases.h"
#include "daemon/store/db.h"
#include "daemon/store/load.h"
#include "daemon/store/stored.h"
#include "daemon/store/tables.h"

/* On life safety a decision lapses after a day, whatever it says. */
#define LIFE_LAPSE DAY

static int64_t
wall_clock(void)
{
	struct timespec t;

	clock_gettime(CLOCK_REALTIME, &t);
	return (int64_t)t.tv_sec * SECOND + t.tv_nsec / 1000000;
}

/* ---- lists kept as JSON ---------------------------------------------------- */

static int
read_texts(struct store *s, const char *json, struct arena *a, const char ***out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT value FROM json_each(?1)", e);
	const char **list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	db_bind_text(st, 1, json);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = db_text(st, 0, a);
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

static int
read_measures(struct store *s, const char *json, struct arena *a, struct stored_measure **out,
    size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT json_extract(value, '$[0]'), json_extract(value, '$[1]'),"
	    " json_extract(value, '$[2]') FROM json_each(?1)", e);
	struct stored_measure *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	db_bind_text(st, 1, json);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct stored_measure){ .name = db_text(st, 0, a),
		    .unit = db_text(st, 2, a),
		    .text = sqlite3_column_type(st, 1) == SQLITE_TEXT ? db_text(st, 1, a) : NULL,
		    .value = sqlite3_column_double(st, 1) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

static int
read_evidence(struct store *s, struct stored_finding *f, struct arena *a, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT file, line, at, event, detail FROM evidence"
	    " WHERE finding = ?1 ORDER BY n", e);
	struct stored_evidence *list = NULL;
	size_t cap = 0;
	int rc;

	f->n_evidence = 0;
	if (!st)
		return -1;
	db_bind_text(st, 1, f->id);
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, f->n_evidence + 1, sizeof *list);
		list[f->n_evidence++] = (struct stored_evidence){ .file = db_text(st, 0, a),
		    .line = sqlite3_column_int64(st, 1), .at = sqlite3_column_int64(st, 2),
		    .event = db_text(st, 3, a), .detail = db_text(st, 4, a) };
	}
	f->evidence = arena_take(a, (f->n_evidence + 1) * sizeof *list);
	if (f->n_evidence)
		memcpy(f->evidence, list, f->n_evidence * sizeof *list);
	free(list);
	return rc;
}

/* Members that have a finding of their own are told by its id. */
static int
name_members(struct store *s, struct stored_finding *f, struct arena *a, struct err *e)
{
	for (size_t i = 0; i < f->n_member; i++) {
		sqlite3_stmt *st = db_stmt(s, "SELECT f.id FROM finding f JOIN finding_case c ON c.id = f.id"
		    " WHERE f.account = ?1 AND f.rule = ?2 AND c.subject = ?3 AND NOT f.pending"
		    " ORDER BY f.onset DESC LIMIT 1", e);
		int rc;

		if (!st)
			return -1;
		db_bind_text(st, 1, f->account);
		db_bind_text(st, 2, f->rule);
		db_bind_text(st, 3, f->member[i]);
		if ((rc = db_step(s, st, e)) < 0)
			return -1;
		if (rc) {
			f->member[i] = db_text(st, 0, a);
			sqlite3_reset(st);
		}
	}
	return 0;
}

/* ---- decisions ------------------------------------------------------------- */

/* Does it still hold? Whoever decided saw a level, a count and members; more than
 * that was not decided. */
static void
weigh(struct stored_decision *d, const struct stored_finding *f, int level, int64_t count,
    bool joined, int64_t at)
{
	d->holds = false;
	if (d->until != NO_TIME && at >= d->until)
		d->lifted = "its time has run out";
	else if (f->life && at >= d->at + LIFE_LAPSE)
		d->lifted = "on life safety a decision lapses after 24 h";
	else if (f->level < level)
		d->lifted = "the level has risen since";
	else if (f->count >= 2 * count && count > 0)
		d->lifted = "the count has doubled since";
	else if (joined)
		d->lifted = "a member has joined since";
	else {
		d->lifted = "";
		d->holds = true;
	}
}

static int
read_decisions(struct store *s, const struct stored_finding *f, int64_t at, struct arena *a,
    struct stored_decision **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT d.decision, d.who, d.why, d.at, d.until, d.level, d.count,"
	    " EXISTS (SELECT 1 FROM finding f, json_each(f.members) m WHERE f.id = d.finding"
	    "   AND m.value NOT IN (SELECT value FROM json_each(d.members)))"
	    " FROM decision d WHERE d.finding = ?1 ORDER BY d.at, d.id", e);
	struct stored_decision *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	*out = NULL;
	if (!st)
		return -1;
	db_bind_text(st, 1, f->id);
	while ((rc = db_step(s, st, e)) > 0) {
		struct stored_decision *d;

		list = x_grow(list, &cap, *n + 1, sizeof *list);
		d = &list[(*n)++];
		*d = (struct stored_decision){ .decision = db_text(st, 0, a), .who = db_text(st, 1, a),
		    .why = db_text(st, 2, a), .at = sqlite3_column_int64(st, 3),
		    .until = db_time(st, 4), .lifted = "" };
		weigh(d, f, sqlite3_column_int(st, 5), sqlite3_column_int64(st, 6),
		    sqlite3_column_int(st, 7), at);
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

/* ---- findings -------------------------------------------------------------- */

static int
by_importance(const void *a, const void *b)
{
	const struct stored_finding *x = a, *y = b;
	int c;
	/* A decision moves nothing on life safety. */
	bool dx = !x->life && x->decision && x->decision->holds;
	bool dy = !y->life && y->decision && y->decision->holds;

	if (x->level != y->level)
		return x->level - y->level;
	if (x->life != y->life)
		return x->life ? -1 : 1;
	if (dx != dy)
		return dx ? 1 : -1;
	if ((c = (strcmp(y->state, "new") == 0) - (strcmp(x->state, "new") == 0)) != 0)
		return c;
	if (x->count != y->count)
		return x->count > y->count ? -1 : 1;
	if ((c = strcmp(x->account, y->account)) != 0 || (c = strcmp(x->rule, y->rule)) != 0)
		return c;
	if (x->onset != y->onset)
		return x->onset < y->onset ? -1 : 1;
	return strcmp(x->id, y->id);
}

static bool
wanted(const struct finding_filter *f, const struct stored_finding *x)
{
	const char *state = f->state ? f->state : "open";

	if (strcmp(state, "all") == 0)
		return true;
	if (strcmp(state, "open") == 0)
		return strcmp(x->state, "cleared") != 0;
	return strcmp(state, x->state) == 0;
}

static int32_t *
read_days(const char *text, struct arena *a)
{
	int32_t *day = *text ? arena_take(a, FINDING_DAYS * sizeof *day) : NULL;
	char *end;

	for (int i = 0; day && i < FINDING_DAYS; i++, text = end)
		day[i] = (int32_t)strtol(text, &end, 10);
	return day;
}

struct json_cells { const char *measures, *checks, *cautions, *members; };

static int
read_rows(struct store *s, const struct finding_filter *f, struct arena *a,
    struct stored_finding **out, struct json_cells **json, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.id, f.rule, f.account, f.zone, f.serial, f.device,"
	    " coalesce(t.name, ''), " GROUP_OF_FINDING ", coalesce(t.timezone, ''),"
	    " f.level, f.life, f.onset, f.last, f.cleared, f.count, f.summary,"
	    " f.measures, f.checks, f.cautions, f.members, f.all_evidence, c.night, c.raised,"
	    " f.kind, f.day_to, f.days"
	    " FROM finding f JOIN finding_case c ON c.id = f.id"
	    " LEFT JOIN site t ON t.id = (SELECT max(id) FROM site u WHERE u.account ="
	    "   " ACCOUNT_OF_FINDING ")"
	    " WHERE NOT f.pending AND (?1 IS NULL OR f.id = lower(?1)) AND (?2 IS NULL OR f.rule = ?2)"
	    " AND (?3 IS NULL OR f.account = ?3) AND (?4 IS NULL OR " GROUP_OF_FINDING " = ?4 COLLATE NOCASE)"
	    " AND (?5 < 0 OR f.level = ?5)", e);
	size_t cap = 0, cap_json = 0;
	int rc;

	if (!st)
		return -1;
	if (f->id)
		db_bind_text(st, 1, f->id);
	if (f->rule)
		db_bind_text(st, 2, f->rule);
	if (f->account)
		db_bind_text(st, 3, f->account);
	if (f->group)
		db_bind_text(st, 4, f->group);
	sqlite3_bind_int(st, 5, f->level);
	while ((rc = db_step(s, st, e)) > 0) {
		int64_t raised = sqlite3_column_int64(st, 22);
		bool known = f->since == NO_TIME ? sqlite3_column_type(st, 21) != SQLITE_NULL
		                                 : raised <= f->since;
		struct stored_finding x = { .cleared = db_time(st, 13) };

		x.state = x.cleared != NO_TIME ? "cleared" : known ? "continuing" : "new";
		if (!wanted(f, &x))
			continue;
		x.id = db_text(st, 0, a);
		x.rule = db_text(st, 1, a);
		x.account = db_text(st, 2, a);
		x.zone = db_text(st, 3, a);
		x.serial = db_text(st, 4, a);
		x.device = db_text(st, 5, a);
		x.site_name = db_text(st, 6, a);
		x.group = db_text(st, 7, a);
		x.timezone = db_text(st, 8, a);
		x.level = sqlite3_column_int(st, 9);
		x.life = sqlite3_column_int(st, 10);
		x.onset = sqlite3_column_int64(st, 11);
		x.last = sqlite3_column_int64(st, 12);
		x.count = (long)sqlite3_column_int64(st, 14);
		x.summary = db_text(st, 15, a);
		x.all_evidence = (size_t)sqlite3_column_int64(st, 20);
		x.kind = db_text(st, 23, a);
		x.day_to = db_time(st, 24);
		x.day = read_days(db_text(st, 25, a), a);
		*out = x_grow(*out, &cap, *n + 1, sizeof **out);
		*json = x_grow(*json, &cap_json, *n + 1, sizeof **json);
		(*json)[*n] = (struct json_cells){ db_text(st, 16, a), db_text(st, 17, a),
		    db_text(st, 18, a), db_text(st, 19, a) };
		(*out)[(*n)++] = x;
	}
	return rc;
}

int
store_findings(struct store *s, const struct finding_filter *f, struct arena *a,
    struct stored_finding **out, size_t *n, struct err *e)
{
	int64_t at = f->as_of == NO_TIME ? wall_clock() : f->as_of;
	struct stored_finding *list = NULL;
	struct json_cells *json = NULL;
	size_t n_decision;
	int rc;

	*n = 0;
	rc = read_rows(s, f, a, &list, &json, n, e);
	for (size_t i = 0; rc == 0 && i < *n; i++) {
		struct stored_finding *x = &list[i];
		struct stored_decision *d;

		if (read_texts(s, json[i].members, a, &x->member, &x->n_member, e) ||
		    read_texts(s, json[i].checks, a, &x->check, &x->n_check, e) ||
		    read_texts(s, json[i].cautions, a, &x->caution, &x->n_caution, e) ||
		    read_measures(s, json[i].measures, a, &x->measure, &x->n_measure, e) ||
		    read_decisions(s, x, at, a, &d, &n_decision, e) ||
		    name_members(s, x, a, e) || read_evidence(s, x, a, e)) {
			rc = -1;
			break;
		}
		x->decision = n_decision ? &d[n_decision - 1] : NULL;
	}
	free(json);
	if (rc == 0 && *n) {
		qsort(list, *n, sizeof *list, by_importance);
		if (f->limit && *n > f->limit)
			*n = f->limit;
		*out = arena_take(a, *n * sizeof *list);
		memcpy(*out, list, *n * sizeof *list);
	}
	free(list);
	return rc;
}

static int
one_finding(struct store *s, const char *id, struct arena *a, struct stored_finding **out,
    struct err *e)
{
	struct finding_filter f = { .id = id, .level = -1, .state = "all", .since = NO_TIME,
	    .as_of = NO_TIME };
	size_t n;

	if (store_findings(s, &f, a, out, &n, e))
		return -1;
	return n ? 0 : err_set(e, ERR_USAGE, NULL, 0, "no finding %s in the store", id);
}

int
store_decisions(struct store *s, const char *finding, struct arena *a,
    struct stored_decision **out, size_t *n, struct err *e)
{
	struct stored_finding *f;

	return one_finding(s, finding, a, &f, e) ? -1
	    : read_decisions(s, f, wall_clock(), a, out, n, e);
}

/* Adds one decision; *added says whether it was a new one. */
static int
add_decision(struct store *s, const struct decision_in *d, int64_t at, int64_t file, bool *added,
    struct err *e)
{
	struct arena a = { 0 };
	struct stored_finding *f;
	sqlite3_stmt *st;
	int rc = one_finding(s, d->finding, &a, &f, e);

	if (rc == 0 && strcmp(d->decision, "seen") != 0 && d->until == NO_TIME)
		rc = err_set(e, ERR_USAGE, NULL, 0, "%s needs a day until which it holds", d->decision);
	if (rc)
		goto out;
	rc = -1;
	/* A list says a decision once, whatever has become of the finding since: read again
	 * every night it would never lapse. By hand it is said anew when something changed. */
	st = db_stmt(s, "INSERT INTO decision(finding, decision, who, at, until, why, level, count,"
	    " members, life, file) SELECT ?1, ?2, ?3, ?4, ?5, ?6, f.level, f.count, f.members, f.life, ?7"
	    " FROM finding f WHERE f.id = ?1 AND NOT EXISTS (SELECT 1 FROM decision d"
	    "   WHERE d.finding = ?1 AND d.decision = ?2 AND d.who = ?3 AND d.until IS ?5 AND d.why = ?6"
	    "   AND (?7 IS NOT NULL OR (d.level = f.level AND d.count = f.count AND d.members = f.members"
	    "     AND (d.file IS NOT NULL OR d.at = ?4))))", e);
	if (!st)
		goto out;
	db_bind_text(st, 1, f->id);
	db_bind_text(st, 2, d->decision);
	db_bind_text(st, 3, d->who);
	sqlite3_bind_int64(st, 4, at);
	db_bind_time(st, 5, d->until);
	db_bind_text(st, 6, d->why);
	if (file)
		sqlite3_bind_int64(st, 7, file);
	rc = db_run(s, st, e);
	*added = rc == 0 && sqlite3_changes(s->db) > 0;
	if (rc == 0)
		rc = cases_decided(s, f->rule, f->id, e);
out:
	arena_release(&a);
	return rc;
}

int
store_decide(struct store *s, const char *finding, const char *decision, const char *who,
    int64_t until, const char *why, int64_t at, struct err *e)
{
	struct decision_in d = { .finding = finding, .decision = decision, .who = who, .why = why,
	    .until = until };
	bool added;

	if (db_exec(s, "BEGIN IMMEDIATE", e))
		return -1;
	if (add_decision(s, &d, at, 0, &added, e) || db_exec(s, "COMMIT", e)) {
		store_abort(s);
		return -1;
	}
	return 0;
}

int
table_decision(struct store *s, struct table_file *f, const struct decision_in *r, struct err *e)
{
	bool added = false;

	if (add_decision(s, r, f->taken, f->id, &added, e))
		return -1;
	f->rows++;
	if (added)
		f->stored++;
	else
		f->repeated++;
	return 0;
}
