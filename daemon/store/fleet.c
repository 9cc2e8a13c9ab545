/* fleet.c - the pass over all accounts: every rule's fleet(), and its answers. */
#include <stdint.h>
#include <stdlib.h>

#include "daemon/store/cases.h"
#include "daemon/store/db.h"
#include "daemon/store/load.h"

static int
read_summaries(struct store *s, struct arena *a, struct summary **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT a.account, m.key, m.at, m.a, m.b, m.rule FROM summary m"
	    " JOIN account a ON a.id = m.account ORDER BY m.account, m.n", e);
	size_t cap = 0;
	int rc;

	*out = NULL;
	*n = 0;
	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		*out = x_grow(*out, &cap, *n + 1, sizeof **out);
		(*out)[(*n)++] = (struct summary){ .account = db_text(st, 0, a), .key = db_text(st, 1, a),
		    .at = db_time(st, 2), .a = sqlite3_column_double(st, 3),
		    .b = sqlite3_column_double(st, 4), .rule = db_text(st, 5, a) };
	}
	return rc;
}

struct open_candidate { struct candidate c; const char *id; };

static int
read_candidates(struct store *s, struct arena *a, const struct rule *r,
    struct open_candidate **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.id, f.account, c.subject, f.numbers FROM finding f"
	    " JOIN finding_case c ON c.id = f.id WHERE f.rule = ?1 AND f.numbers <> ''"
	    " AND f.cleared IS NULL ORDER BY f.account, f.id", e);
	size_t cap = 0;
	int rc;

	*out = NULL;
	*n = 0;
	if (!st)
		return -1;
	db_bind_text(st, 1, r->id);
	while ((rc = db_step(s, st, e)) > 0) {
		struct open_candidate *o;
		const char *p, *end;

		*out = x_grow(*out, &cap, *n + 1, sizeof **out);
		o = &(*out)[(*n)++];
		*o = (struct open_candidate){ .id = db_text(st, 0, a),
		    .c = { .account = db_text(st, 1, a), .subject = db_text(st, 2, a) } };
		p = db_text(st, 3, a);
		for (size_t i = 0; *p && i < 8; i++) {
			o->c.number[i] = strtod(p + 1, (char **)(uintptr_t)&end);
			p = end;
		}
	}
	return rc;
}

static int
answer_candidate(struct store *s, struct arena *a, const struct open_candidate *o, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "UPDATE finding SET pending = ?2,"
	    " summary = coalesce(?3, json_extract(own, '$[0]')),"
	    " measures = (SELECT json_group_array(json(value)) FROM (SELECT value FROM"
	    "   json_each(json_extract(own, '$[1]')) UNION ALL SELECT value FROM json_each(?4))),"
	    " checks = (SELECT json_group_array(value) FROM (SELECT value FROM"
	    "   json_each(json_extract(own, '$[2]')) UNION ALL SELECT value FROM json_each(?5)))"
	    " WHERE id = ?1", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, o->id);
	sqlite3_bind_int(st, 2, !o->c.fires);
	if (o->c.summary)
		db_bind_text(st, 3, o->c.summary);
	db_bind_text(st, 4, cases_measures(a, o->c.measure, o->c.n_measure));
	db_bind_text(st, 5, cases_texts(a, o->c.check, o->c.n_check));
	return db_run(s, st, e);
}

static int
fleet_rule(struct store *s, struct arena *a, const struct rule *r, struct fleet *fleet,
    struct findings *out, struct err *e)
{
	struct open_candidate *open = NULL;
	size_t n;
	int rc = read_candidates(s, a, r, &open, &n, e);

	if (rc == 0) {
		fleet->candidate = arena_take(a, (n + 1) * sizeof *fleet->candidate);
		fleet->n_candidate = n;
		for (size_t i = 0; i < n; i++)
			fleet->candidate[i] = open[i].c;
		rule_fleet(r, fleet, out);
		for (size_t i = 0; rc == 0 && i < n; i++) {
			open[i].c = fleet->candidate[i];
			rc = answer_candidate(s, a, &open[i], e);
		}
	}
	free(open);
	return rc;
}

int
store_fleet_ground(struct store *s, struct arena *a, struct fleet *out, struct err *e)
{
	struct override *override = NULL;
	int64_t accounts = 0;

	if (load_overrides(s, a, NULL, "", &override, &out->n_override, e) ||
	    store_now(s, &out->now, e) ||
	    db_number(s, "SELECT count(DISTINCT account) FROM account_span", &accounts, e))
		return -1;
	out->override = override;
	out->n_account = (size_t)accounts;
	return 0;
}

int
store_fleet(struct store *s, int64_t wall_clock, struct err *e)
{
	struct arena a = { 0 };
	struct summary *summary = NULL;
	struct fleet fleet = { 0 };
	struct findings out = { 0 };
	int rc = read_summaries(s, &a, &summary, &fleet.n_summary, e);

	if (rc == 0)
		rc = store_fleet_ground(s, &a, &fleet, e);
	fleet.summary = summary;
	for (size_t i = 0; rc == 0 && i < rule_count; i++)
		if (rule_table[i]->fleet)
			rc = fleet_rule(s, &a, rule_table[i], &fleet, &out, e);
	if (rc == 0)
		rc = cases_keep(s, NULL, "*", "*", out.finding, out.n,
		    fleet.now == NO_TIME ? 0 : fleet.now, wall_clock, e);
	free(summary);
	free(fleet.fired);
	findings_release(&out);
	arena_release(&a);
	return rc;
}
