/* cases.c - findings into the store, each to its case. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "daemon/store/block.h"
#include "daemon/store/cases.h"
#include "daemon/store/db.h"
#include "daemon/store/load.h"
#include "daemon/store/signals.h"
#include "rules/rule.h"

enum { EVIDENCE_ENDS = 20 };	/* rows kept at either end */

/* ---- JSON texts ------------------------------------------------------------ */

static const char *
json_text(struct arena *a, const char *s)
{
	size_t n = strlen(s);
	char *out = arena_take(a, n * 6 + 3), *p = out;

	*p++ = '"';
	for (; *s; s++) {
		unsigned char c = (unsigned char)*s;

		if (c == '"' || c == '\\') {
			*p++ = '\\';
			*p++ = (char)c;
		} else if (c < 0x20) {
			p += snprintf(p, 7, "\\u%04x", c);
		} else {
			*p++ = (char)c;
		}
	}
	*p++ = '"';
	*p = '\0';
	return out;
}

const char *
cases_texts(struct arena *a, const char *const *text, size_t n)
{
	const char *out = "[";

	for (size_t i = 0; i < n; i++)
		out = arena_fmt(a, "%s%s%s", out, i ? "," : "", json_text(a, text[i]));
	return arena_fmt(a, "%s]", out);
}

const char *
cases_measures(struct arena *a, const struct measure *m, size_t n)
{
	const char *out = "[";

	for (size_t i = 0; i < n; i++)
		out = arena_fmt(a, "%s%s[%s,%s,%s]", out, i ? "," : "", json_text(a, m[i].name),
		    m[i].text ? json_text(a, m[i].text) : arena_fmt(a, "%.10g", m[i].value),
		    json_text(a, m[i].unit ? m[i].unit : ""));
	return arena_fmt(a, "%s]", out);
}

/* ---- cases ----------------------------------------------------------------- */

/* The measure of a finding that judging does not find any more, and that stays open. */
#define GONE "no_longer_in_the_log"

struct known_case {
	const char *id, *rule, *subject;
	int         episode;
	int64_t     onset, last;
	bool        taken;		/* a finding of this judging belongs to it */
	bool        former;		/* stands under the account's former name still */
};

static int
known_cases(struct store *s, const char *account, const char *former, struct arena *a,
    struct known_case **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT id, rule, subject, episode, onset, last,"
	    " account <> ?1 FROM finding_case WHERE account IN (?1, ?2)", e);
	size_t cap = 0;
	int rc;

	*out = NULL;
	*n = 0;
	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	db_bind_text(st, 2, *former ? former : account);
	while ((rc = db_step(s, st, e)) > 0) {
		*out = x_grow(*out, &cap, *n + 1, sizeof **out);
		(*out)[(*n)++] = (struct known_case){ .id = db_text(st, 0, a),
		    .rule = db_text(st, 1, a), .subject = db_text(st, 2, a),
		    .episode = sqlite3_column_int(st, 3), .onset = sqlite3_column_int64(st, 4),
		    .last = sqlite3_column_int64(st, 5), .former = sqlite3_column_int(st, 6) };
	}
	return rc;
}

static struct known_case *
nearest_case(struct known_case *list, size_t n, const struct finding *f, const char *subject)
{
	int64_t reach = rule_rejoin(f->rule), best = INT64_MAX;
	struct known_case *found = NULL;

	for (size_t i = 0; i < n; i++) {
		struct known_case *c = &list[i];
		int64_t away = 0;

		if (c->taken || strcmp(c->rule, f->rule->id) != 0 || strcmp(c->subject, subject) != 0)
			continue;
		if (f->onset > c->last)
			away = f->onset - c->last;
		else if (c->onset > f->last)
			away = c->onset - f->last;
		if (away <= reach && away < best) {
			best = away;
			found = c;
		}
	}
	return found;
}

/* The known case that the finding continues: the nearest whose span, widened by the
 * rejoin time, meets the finding's. A device that was known by its zone alone keeps its
 * case when a roster tells its serial. */
static struct known_case *
continues(struct arena *a, struct known_case *list, size_t n, const struct finding *f)
{
	struct known_case *c = nearest_case(list, n, f, f->subject);

	if (!c && strncmp(f->subject, "serial:", 7) == 0 && f->zone && *f->zone)
		c = nearest_case(list, n, f, arena_fmt(a, "zone:%s", number_key(a, span_of(f->zone))));
	return c;
}

/* Seven letters and digits that are hard to misread, made from what the case is, so
 * that the same history gives the same id in another store too. */
static int
make_id(struct store *s, struct arena *a, const char *account, const struct finding *f,
    int episode, const char **out, struct err *e)
{
	static const char digits[] = "0123456789abcdefghjkmnpqrstvwxyz";

	for (int salt = 0;; salt++) {
		const char *name = arena_fmt(a, "%s\x1f%s\x1f%s\x1f%d\x1f%d", f->rule->id, account,
		    f->subject, episode, salt);
		uint64_t h = span_hash_fold(span_of(name));
		char id[8] = "";
		sqlite3_stmt *st;
		int rc;

		for (int i = 0; i < 7; i++, h >>= 5)
			id[i] = digits[h & 31];
		if (!(st = db_stmt(s, "SELECT 1 FROM finding_case WHERE id = ?1", e)))
			return -1;
		db_bind_text(st, 1, id);
		if ((rc = db_step(s, st, e)) < 0)
			return -1;
		sqlite3_reset(st);
		if (rc == 0) {
			*out = arena_text(a, span_of(id));
			return 0;
		}
	}
}

/* The number that the next case of this subject gets. */
static int
next_episode(struct store *s, const char *account, const struct finding *f, int *episode,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT coalesce(max(episode), -1) + 1 FROM finding_case"
	    " WHERE account = ?1 AND rule = ?2 AND subject = ?3", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, account);
	db_bind_text(st, 2, f->rule->id);
	db_bind_text(st, 3, f->subject);
	if (db_step(s, st, e) < 0)
		return -1;
	*episode = sqlite3_column_int(st, 0);
	sqlite3_reset(st);
	return 0;
}

static int
case_of(struct store *s, struct arena *a, const char *account, struct known_case *list, size_t n,
    const struct finding *f, int64_t wall_clock, const char **id, struct err *e)
{
	struct known_case *c = continues(a, list, n, f);
	sqlite3_stmt *st;
	int episode;

	if (c && !c->former && strcmp(c->subject, f->subject) == 0)
		episode = c->episode;
	else if (next_episode(s, account, f, &episode, e))
		return -1;
	if (c) {
		c->taken = true;
		*id = c->id;
		st = db_stmt(s, "UPDATE finding_case SET onset = min(onset, ?2), last = max(last, ?3),"
		    " subject = ?4, episode = ?5, account = ?6 WHERE id = ?1", e);
		if (!st)
			return -1;
		db_bind_text(st, 1, *id);
		sqlite3_bind_int64(st, 2, f->onset);
		sqlite3_bind_int64(st, 3, f->last);
		db_bind_text(st, 4, f->subject);
		sqlite3_bind_int(st, 5, episode);
		db_bind_text(st, 6, account);
		return db_run(s, st, e);
	}
	if (make_id(s, a, account, f, episode, id, e))
		return -1;
	st = db_stmt(s, "INSERT INTO finding_case(id, rule, account, subject, episode, onset, last,"
	    " raised) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)", e);
	if (!st)
		return -1;
	db_bind_text(st, 1, *id);
	db_bind_text(st, 2, f->rule->id);
	db_bind_text(st, 3, account);
	db_bind_text(st, 4, f->subject);
	sqlite3_bind_int(st, 5, episode);
	sqlite3_bind_int64(st, 6, f->onset);
	sqlite3_bind_int64(st, 7, f->last);
	sqlite3_bind_int64(st, 8, wall_clock);
	return db_run(s, st, e);
}

static int64_t
local_day(int64_t at, int32_t offset)
{
	int64_t local = at + offset * SECOND;

	return (local - (local % DAY + DAY) % DAY) / DAY;
}

/* ---- one finding ----------------------------------------------------------- */

static int
keep_evidence(struct store *s, struct arena *a, const struct view *v, const struct finding *f,
    const char *id, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "DELETE FROM evidence WHERE finding = ?1", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, id);
	if (db_run(s, st, e))
		return -1;
	for (size_t i = 0; v && i < f->n_evidence; i++) {
		const struct event *ev = &v->event[f->evidence[i]];
		const struct point *p = &v->point[ev->point];
		const char *detail;

		if (i >= EVIDENCE_ENDS && i + EVIDENCE_ENDS < f->n_evidence)
			continue;
		detail = arena_fmt(a, "%s%s%s%s%s%s%s", word_text((enum word)ev->word),
		    *p->zone ? ev->marks & MARK_USER ? " user " : " zone " : "", p->zone,
		    *p->serial ? " serial " : "", p->serial, *ev->user ? " user " : "", ev->user);
		st = db_stmt(s, "INSERT INTO evidence SELECT ?1, ?2, (SELECT name FROM file WHERE id = ?3),"
		    " ?4, ?5, ?6, ?7 || coalesce((SELECT ' \"' || CASE typeof(x) WHEN 'integer'"
		    "   THEN (SELECT text FROM phrase WHERE id = x) ELSE x END || '\"'"
		    "  FROM (SELECT json_extract(events, '$[' || ?9 || '][5]') AS x FROM block"
		    "   WHERE id = ?8)), '')", e);
		if (!st)
			return -1;
		db_bind_text(st, 1, id);
		sqlite3_bind_int64(st, 2, (int64_t)i);
		sqlite3_bind_int64(st, 3, ev->file);
		sqlite3_bind_int64(st, 4, ev->line);
		sqlite3_bind_int64(st, 5, ev->at);
		db_bind_text(st, 6, ev->cell < v->n_cell ? v->cell[ev->cell] : "");
		db_bind_text(st, 7, detail);
		sqlite3_bind_int64(st, 8, ev->id / BLOCK_EVENTS);
		sqlite3_bind_int64(st, 9, ev->id % BLOCK_EVENTS);
		if (db_run(s, st, e))
			return -1;
	}
	return 0;
}

/* The day by the site's clock on which its cover ends. */
static int64_t
last_day(const struct view *v)
{
	return local_day(v->now - 1, v->n_event ? v->event[v->n_event - 1].offset : 0);
}

/* What the finding rests on, by day: whole, where the copies of evidence have its ends. */
static const char *
days_text(struct arena *a, const struct view *v, const struct finding *f)
{
	int64_t first = last_day(v) - FINDING_DAYS + 1;
	int32_t offset = v->n_event ? v->event[v->n_event - 1].offset : 0;
	int32_t count[FINDING_DAYS] = { 0 };
	const char *out = "";

	for (size_t i = 0; i < f->n_evidence; i++) {
		const struct event *ev = &v->event[f->evidence[i]];
		int64_t day = local_day(ev->at, ev->offset) - first;

		if (day >= 0 && day < FINDING_DAYS)
			count[day]++;
	}
	for (int i = 0; i < FINDING_DAYS; i++) {
		int64_t from = (first + i) * DAY - offset * SECOND;

		if (!count[i] && view_cover_within(v, from, from + DAY) == 0)
			count[i] = -1;
		out = arena_fmt(a, "%s%s%d", out, i ? " " : "", (int)count[i]);
	}
	return out;
}

static int
keep_finding(struct store *s, struct arena *a, const struct view *v, const char *account,
    const struct finding *f, const char *id, struct err *e)
{
	const char *measures = cases_measures(a, f->measure, f->n_measure), *numbers = "";
	sqlite3_stmt *st;

	if (f->pending) {
		numbers = "[";
		for (size_t i = 0; i < sizeof f->number / sizeof *f->number; i++)
			numbers = arena_fmt(a, "%s%s%.17g", numbers, i ? "," : "", f->number[i]);
		numbers = arena_fmt(a, "%s]", numbers);
	}
	/* Until the comparison of accounts is made anew, its last answer stands. */
	st = db_stmt(s, "INSERT INTO finding VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12,"
	    " ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, ?24) ON CONFLICT(id) DO UPDATE SET"
	    " account = excluded.account, zone = excluded.zone, serial = excluded.serial,"
	    " device = excluded.device, level = excluded.level, life = excluded.life,"
	    " pending = excluded.pending, onset = excluded.onset, last = excluded.last,"
	    " cleared = excluded.cleared, count = excluded.count, summary = excluded.summary,"
	    " measures = excluded.measures, checks = excluded.checks, cautions = excluded.cautions,"
	    " members = excluded.members, numbers = excluded.numbers, own = excluded.own,"
	    " all_evidence = excluded.all_evidence, kind = excluded.kind, day_to = excluded.day_to,"
	    " days = excluded.days", e);
	if (!st)
		return -1;
	db_bind_text(st, 1, id);
	db_bind_text(st, 2, f->rule->id);
	db_bind_text(st, 3, account);
	db_bind_text(st, 4, f->zone ? f->zone : "");
	db_bind_text(st, 5, f->serial ? f->serial : "");
	db_bind_text(st, 6, f->device_text ? f->device_text : "");
	sqlite3_bind_int(st, 7, (int)f->level);
	sqlite3_bind_int(st, 8, f->life);
	sqlite3_bind_int(st, 9, f->pending);
	sqlite3_bind_int64(st, 10, f->onset);
	sqlite3_bind_int64(st, 11, f->last);
	db_bind_time(st, 12, f->cleared);
	sqlite3_bind_int64(st, 13, f->count);
	db_bind_text(st, 14, f->summary ? f->summary : "");
	db_bind_text(st, 15, measures);
	db_bind_text(st, 16, cases_texts(a, f->check, f->n_check));
	db_bind_text(st, 17, cases_texts(a, f->caution, f->n_caution));
	db_bind_text(st, 18, cases_texts(a, f->member, f->n_member));
	db_bind_text(st, 19, numbers);
	db_bind_text(st, 20, f->pending ? arena_fmt(a, "[%s,%s,%s]",
	    json_text(a, f->summary ? f->summary : ""), measures,
	    cases_texts(a, f->check, f->n_check)) : "");
	sqlite3_bind_int64(st, 21, (int64_t)f->n_evidence);
	db_bind_text(st, 22, f->device >= 0 && v && v->device[f->device].kind != KIND_UNKNOWN ?
	    kind_text(v->device[f->device].kind) : "");
	if (v && v->now != NO_TIME)
		sqlite3_bind_int64(st, 23, last_day(v));
	db_bind_text(st, 24, v && v->now != NO_TIME ? days_text(a, v, f) : "");
	if (db_run(s, st, e) || cases_decided(s, f->rule->id, id, e))
		return -1;
	return keep_evidence(s, a, v, f, id, e);
}

int
cases_decided(struct store *s, const char *rule, const char *id, struct err *e)
{
	const struct rule *r = rule_find(rule);
	sqlite3_stmt *st;

	if (!r || !r->by_decision)
		return 0;
	st = db_stmt(s, "UPDATE finding SET cleared = (SELECT max(d.at) FROM decision d"
	    "  WHERE d.finding = finding.id AND d.decision = 'seen' AND d.count >= finding.count"
	    "  AND d.level <= finding.level)"
	    " WHERE id = ?1 AND EXISTS (SELECT 1 FROM json_each(finding.measures) m"
	    "  WHERE (json_extract(m.value, '$[0]') = 'restored'"
	    "  AND json_extract(m.value, '$[1]') <> 'no') OR json_extract(m.value, '$[0]') = '" GONE "')", e);
	if (!st)
		return -1;
	db_bind_text(st, 1, id);
	return db_run(s, st, e);
}

/* Does a finding of this judging tell what the case told? */
static bool
told_elsewhere(struct arena *a, const struct known_case *c, struct finding *const *f, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		int64_t reach = rule_rejoin(f[i]->rule);

		if (strcmp(f[i]->rule->id, c->rule) != 0 || f[i]->onset > c->last + reach ||
		    f[i]->last < c->onset - reach)
			continue;
		if (strcmp(f[i]->subject, c->subject) == 0 || (f[i]->zone && *f[i]->zone &&
		    strcmp(arena_fmt(a, "zone:%s", number_key(a, span_of(f[i]->zone))), c->subject) == 0))
			return true;
	}
	return false;
}

/* What only a person can clear stays open although the log does not show it any more: a list
 * or a wording must not make it disappear. */
static int
keep_open(struct store *s, const struct known_case *c, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "UPDATE finding SET measures = json_insert(measures, '$[#]',"
	    " json_array('" GONE "', 'yes', '')) WHERE id = ?1 AND cleared IS NULL AND NOT EXISTS"
	    " (SELECT 1 FROM json_each(measures) m WHERE json_extract(m.value, '$[0]') = '" GONE "')", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, c->id);
	return db_run(s, st, e) || cases_decided(s, c->rule, c->id, e) ? -1 : 0;
}

/* What was open and was not found again is cleared; a candidate simply goes. */
static int
clear_rest(struct store *s, struct arena *a, const struct known_case *list, size_t n,
    struct finding *const *f, size_t n_f, int64_t now, struct err *e)
{
	for (size_t i = 0; i < n; i++) {
		const struct rule *r = rule_find(list[i].rule);
		sqlite3_stmt *st;

		if (list[i].taken || list[i].former)
			continue;
		if (r && r->by_decision && !told_elsewhere(a, &list[i], f, n_f)) {
			if (keep_open(s, &list[i], e))
				return -1;
			continue;
		}
		st = db_stmt(s, "DELETE FROM finding WHERE id = ?1 AND pending", e);
		if (!st)
			return -1;
		db_bind_text(st, 1, list[i].id);
		if (db_run(s, st, e) || !(st = db_stmt(s, "UPDATE finding SET cleared = ?2"
		    " WHERE id = ?1 AND cleared IS NULL", e)))
			return -1;
		db_bind_text(st, 1, list[i].id);
		sqlite3_bind_int64(st, 2, now);
		if (db_run(s, st, e))
			return -1;
	}
	return 0;
}

static int
by_onset(const void *a, const void *b)
{
	const struct finding *x = *(struct finding *const *)a, *y = *(struct finding *const *)b;

	return (x->onset > y->onset) - (x->onset < y->onset);
}

/* All findings of one account (or of the fleet) to their cases. */
int
cases_keep(struct store *s, const struct view *v, const char *identity, const char *display,
    struct finding *const *f, size_t n, int64_t now, int64_t wall_clock, struct err *e)
{
	struct arena a = { 0 };
	struct known_case *list = NULL;
	size_t n_list;
	struct finding **sorted = x_alloc((n + 1) * sizeof *sorted);
	const char *id;
	int rc = known_cases(s, identity, v ? v->former : "", &a, &list, &n_list, e);

	if (n)
		memcpy(sorted, f, n * sizeof *sorted);
	qsort(sorted, n, sizeof *sorted, by_onset);
	for (size_t i = 0; rc == 0 && i < n; i++) {
		rc = case_of(s, &a, identity, list, n_list, sorted[i], wall_clock, &id, e);
		if (rc == 0)
			rc = keep_finding(s, &a, v, display, sorted[i], id, e);
	}
	if (rc == 0)
		rc = clear_rest(s, &a, list, n_list, f, n, now, e);
	free(sorted);
	free(list);
	arena_release(&a);
	return rc;
}

/* ---- one account ----------------------------------------------------------- */

static int
keep_summaries(struct store *s, int64_t account, const struct findings *f, struct err *e)
{
	if (db_run_id(s, "DELETE FROM summary WHERE account = ?1", account, e))
		return -1;
	for (size_t i = 0; i < f->n_summary; i++) {
		const struct summary *m = &f->summary[i];
		sqlite3_stmt *st = db_stmt(s, "INSERT INTO summary VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)", e);

		if (!st)
			return -1;
		sqlite3_bind_int64(st, 1, account);
		sqlite3_bind_int64(st, 2, (int64_t)i);
		db_bind_text(st, 3, m->rule);
		db_bind_text(st, 4, m->key);
		db_bind_time(st, 5, m->at);
		sqlite3_bind_double(st, 6, m->a);
		sqlite3_bind_double(st, 7, m->b);
		if (db_run(s, st, e))
			return -1;
	}
	return 0;
}

int
store_save(struct store *s, struct view *v, struct findings *f, const struct signals *load,
    int64_t wall_clock, struct err *e)
{
	struct arena a = { 0 };
	const char *plain = arena_text(&a, (struct span){ v->account, strcspn(v->account, "@") });
	const char *identity = strchr(v->account, '@') ? v->account
	                                               : load_identity(&a, plain, v->receiver, v->line);
	int rc = cases_keep(s, v, identity, v->account, f->finding, f->n,
	    v->now == NO_TIME ? 0 : v->now, wall_clock, e);

	arena_release(&a);
	if (rc || keep_summaries(s, v->account_id, f, e) || signals_keep(s, v, load, e))
		return -1;
	return db_run_id(s, "DELETE FROM due WHERE account = ?1", v->account_id, e);
}

int
store_due(struct store *s, bool all, struct arena *a, int64_t **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st;
	int64_t *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	/* What comes in under a former name is judged under the present one. */
	if (!all && db_exec(s, "INSERT OR IGNORE INTO due SELECT n.id FROM due JOIN account o"
	    " ON o.id = due.account JOIN site t ON t.was = o.account AND t.was <> ''"
	    " JOIN account n ON n.account = t.account", e))
		return -1;
	st = all ? db_stmt(s, "SELECT id FROM account ORDER BY id", e)
	         : db_stmt(s, "SELECT account FROM due ORDER BY account", e);
	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = sqlite3_column_int64(st, 0);
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_begin(struct store *s, struct err *e)
{
	return db_exec(s, "BEGIN IMMEDIATE", e);
}

int
store_commit(struct store *s, struct err *e)
{
	return db_exec(s, "COMMIT", e);
}

void
store_abort(struct store *s)
{
	if (!sqlite3_get_autocommit(s->db))
		sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
}

int
store_count_findings(struct store *s, int64_t *open, int64_t *cleared, struct err *e)
{
	return db_number(s, "SELECT count(*) FROM finding WHERE cleared IS NULL AND NOT pending", open, e)
	    || db_number(s, "SELECT count(*) FROM finding WHERE cleared IS NOT NULL", cleared, e) ? -1 : 0;
}

int
store_now(struct store *s, int64_t *now, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT max(to_at) FROM file", e);

	if (!st || db_step(s, st, e) < 0)
		return -1;
	*now = db_time(st, 0);
	sqlite3_reset(st);
	return 0;
}
