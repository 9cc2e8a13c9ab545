/* signals.c - counts: of signals, kept when an account is judged; of findings, as they stand. */
#include "daemon/store/signals.h"

#include <stdlib.h>

#include "daemon/store/db.h"
#include "daemon/store/stored.h"
#include "rules/repair.h"

/* ---- kept -------------------------------------------------------------------- */

static int
keep_sums(struct store *s, struct view *v, const struct signals *x, struct err *e)
{
	for (size_t i = 0; i < x->n_sum; i++) {
		const struct load_sum *sum = &x->sum[i];
		const struct device *d = sum->device >= 0 ? &v->device[sum->device] : NULL;
		sqlite3_stmt *st = db_stmt(s, "INSERT INTO load VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)", e);

		if (!st)
			return -1;
		sqlite3_bind_int64(st, 1, v->account_id);
		sqlite3_bind_int64(st, 2, (int64_t)i);
		db_bind_text(st, 3, d ? d->zone : "");
		db_bind_text(st, 4, d ? d->serial : "");
		db_bind_text(st, 5, d ? device_label(v, sum->device) : "");
		sqlite3_bind_int(st, 6, d && d->life);
		sqlite3_bind_int64(st, 7, sum->alarms);
		sqlite3_bind_int64(st, 8, sum->activations);
		if (db_run(s, st, e))
			return -1;
	}
	return 0;
}

static char *
put_number(char *to, int64_t n)
{
	char digit[20];
	int k = 0;

	do
		digit[k++] = (char)('0' + n % 10);
	while ((n /= 10) > 0);
	while (k)
		*to++ = digit[--k];
	return to;
}

static int
keep_weeks(struct store *s, struct view *v, const struct signals *x, struct err *e)
{
	char *text = arena_take(&v->arena, x->n_week * 4 * 21 + 3), *to = text;	/* 20 digits and "," */
	sqlite3_stmt *st = db_stmt(s, "INSERT INTO week VALUES(?1, ?2, ?3)", e);

	if (!st)
		return -1;
	for (size_t i = 0; i < x->n_week; i++) {
		const struct load_week *w = &x->week[i];
		const int64_t number[] = { w->covered, w->activations, w->alarms, w->life };

		for (int k = 0; k < 4; k++) {
			*to++ = i || k ? ',' : '[';
			to = put_number(to, number[k]);
		}
	}
	*to++ = ']';
	*to = '\0';
	sqlite3_bind_int64(st, 1, v->account_id);
	sqlite3_bind_int64(st, 2, x->monday);
	db_bind_text(st, 3, text);
	return db_run(s, st, e);
}

static const char *
side_text(struct arena *a, const struct repair_side *m)
{
	return arena_fmt(a, "[%lld,%lld,%lld,%lld,%lld]", (long long)(m->covered / MINUTE),
	    (long long)m->activations, (long long)m->alarms, (long long)m->losses, (long long)m->low);
}

static int
keep_work(struct store *s, struct view *v, const struct signals *x, struct err *e)
{
	for (size_t i = 0; i < x->n_work; i++) {
		const struct repair *w = &x->work[i];
		const struct service_row *r = w->row;
		sqlite3_stmt *st = db_stmt(s, "INSERT INTO work VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)", e);
		const char *device = w->device >= 0 ? device_label(v, w->device) :
		    *r->zone ? arena_fmt(&v->arena, "zone %s", r->zone) :
		    *r->serial ? arena_fmt(&v->arena, "serial %s", r->serial) : "";

		if (!st)
			return -1;
		sqlite3_bind_int64(st, 1, v->account_id);
		sqlite3_bind_int64(st, 2, (int64_t)i);
		sqlite3_bind_int64(st, 3, r->at);
		db_bind_text(st, 4, device);
		db_bind_text(st, 5, r->what);
		db_bind_text(st, 6, r->who);
		db_bind_text(st, 7, side_text(&v->arena, &w->before));
		db_bind_text(st, 8, side_text(&v->arena, &w->after));
		if (db_run(s, st, e))
			return -1;
	}
	return 0;
}

int
signals_keep(struct store *s, struct view *v, const struct signals *x, struct err *e)
{
	if (db_run_id(s, "DELETE FROM load WHERE account = ?1", v->account_id, e) ||
	    db_run_id(s, "DELETE FROM week WHERE account = ?1", v->account_id, e) ||
	    db_run_id(s, "DELETE FROM work WHERE account = ?1", v->account_id, e))
		return -1;
	if (!x || !x->n_sum)
		return 0;
	return keep_sums(s, v, x, e) || keep_weeks(s, v, x, e) || keep_work(s, v, x, e) ? -1 : 0;
}

/* ---- read -------------------------------------------------------------------- */

/* Whole numbers of a JSON list as we write it; gives how many, `most` at the most. */
static size_t
read_numbers(struct span text, int64_t *out, size_t most)
{
	size_t n = 0;

	for (size_t i = 0; i < text.n && n < most; ) {
		size_t end = i;

		while (end < text.n && text.p[end] >= '0' && text.p[end] <= '9')
			end++;
		if (end > i && span_to_int((struct span){ text.p + i, end - i }, 0, INT64_MAX, &out[n]))
			n++;
		i = end + 1;
	}
	return n;
}

#define SITE_OF(column) \
	"coalesce((SELECT " column " FROM site t WHERE t.account = a.account" \
	" ORDER BY t.id DESC LIMIT 1), '')"

int
store_weeks(struct store *s, int (*each)(void *ctx, const struct account_weeks *w), void *ctx,
    struct err *e)
{
	enum { MOST = 64, NUMBERS = 4 };
	sqlite3_stmt *st = db_stmt(s, "SELECT a.account, " SITE_OF("name") ", " "coalesce(nullif(" SITE_OF("\"group\"") ", ''), a.\"group\")"
	    ", w.monday, w.counts FROM week w JOIN account a ON a.id = w.account"
	    " ORDER BY a.account, a.receiver, a.line", e);
	int rc;

	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		struct load_week week[MOST];
		int64_t number[MOST * NUMBERS];
		struct account_weeks w = { .account = (const char *)sqlite3_column_text(st, 0),
		    .site_name = (const char *)sqlite3_column_text(st, 1),
		    .group = (const char *)sqlite3_column_text(st, 2),
		    .monday = sqlite3_column_int64(st, 3), .week = week };

		w.n = read_numbers(db_span(st, 4), number, MOST * NUMBERS) / NUMBERS;
		for (size_t i = 0; i < w.n; i++) {
			const int64_t *n = &number[i * NUMBERS];

			week[i] = (struct load_week){ n[0], n[1], n[2], n[3] };
		}
		if ((rc = each(ctx, &w)) != 0) {
			sqlite3_reset(st);
			return rc;
		}
	}
	return rc;
}

int
store_case_times(struct store *s, struct arena *a, struct case_times **out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.rule, " GROUP_OF_FINDING ", f.onset, c.raised,"
	    " (SELECT min(d.at) FROM decision d WHERE d.finding = f.id), f.cleared, f.life"
	    " FROM finding f JOIN finding_case c ON c.id = f.id"
	    " LEFT JOIN site t ON t.id = (SELECT max(id) FROM site u WHERE u.account ="
	    "   " ACCOUNT_OF_FINDING ")"
	    " WHERE NOT f.pending"
	    " ORDER BY f.onset, f.id", e);
	struct case_times *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct case_times){ .rule = db_text(st, 0, a), .group = db_text(st, 1, a),
		    .onset = sqlite3_column_int64(st, 2), .raised = sqlite3_column_int64(st, 3),
		    .decided = db_time(st, 4), .cleared = db_time(st, 5),
		    .life = sqlite3_column_int(st, 6) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

int
store_rule_counts(struct store *s, struct arena *a, struct rule_count **out, size_t *n,
    struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT f.rule, sum(f.cleared IS NULL),"
	    " sum(f.cleared IS NULL AND c.night IS NULL), sum(f.cleared IS NOT NULL)"
	    " FROM finding f JOIN finding_case c ON c.id = f.id WHERE NOT f.pending"
	    " GROUP BY f.rule ORDER BY f.rule", e);
	struct rule_count *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct rule_count){ db_text(st, 0, a), sqlite3_column_int64(st, 1),
		    sqlite3_column_int64(st, 2), sqlite3_column_int64(st, 3) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}

static struct work_side
read_side(struct span text)
{
	int64_t n[5] = { 0 };

	read_numbers(text, n, 5);
	return (struct work_side){ n[0], n[1], n[2], n[3], n[4] };
}

int
store_works(struct store *s, struct arena *a, struct work_row **out, size_t *n, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT a.account, " SITE_OF("name") ", w.at, w.device, w.what,"
	    " w.who, w.before, w.after FROM work w JOIN account a ON a.id = w.account"
	    " ORDER BY w.at DESC, a.account, w.n", e);
	struct work_row *list = NULL;
	size_t cap = 0;
	int rc;

	*n = 0;
	if (!st)
		return -1;
	while ((rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct work_row){ .account = db_text(st, 0, a),
		    .site_name = db_text(st, 1, a), .at = sqlite3_column_int64(st, 2),
		    .device = db_text(st, 3, a), .what = db_text(st, 4, a), .who = db_text(st, 5, a),
		    .before = read_side(db_span(st, 6)), .after = read_side(db_span(st, 7)) };
	}
	*out = arena_keep(a, list, *n, sizeof *list);
	return rc;
}
