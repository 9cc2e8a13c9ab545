#include <stdlib.h>
#include <string.h>

#include "rules/care.h"
#include "rules/power_loss.h"
#include "rules/stats.h"

enum { NAMED = 100 };	/* accounts of one cut that are named; all are counted */

/* A loss of one account, and the cut of its group that it belongs to. */
struct loss {
	const struct summary *s;
	int64_t end;		/* NO_TIME = still without */
	int64_t before;		/* index of the same account's loss before this; -1 = none */
	int32_t cut;		/* -1 = none */
};

/* Losses all[lo..hi) of one group at many accounts within minutes of each other. */
struct cut {
	size_t  lo, hi, accounts, without;
	int64_t back;		/* when most had power again; NO_TIME = most are still without */
};

struct pass {
	const struct fleet *f;
	struct findings    *out;
	struct loss        *all;	/* by group, time, account */
	size_t              n;
	struct cut         *cut;
	size_t              n_cut;
	double              least, chance;
	int64_t             together, lookback;
};

static const char *
group_of(const struct loss *l)
{
	return l->s->key + strlen("loss:");
}

static int
by_group(const void *a, const void *b)
{
	const struct loss *x = a, *y = b;
	int c = strcmp(x->s->key, y->s->key);

	if (c)
		return c;
	if (x->s->at != y->s->at)
		return x->s->at < y->s->at ? -1 : 1;
	return strcmp(x->s->account, y->s->account);
}

static int
by_account(const void *a, const void *b)
{
	const struct loss *x = *(const struct loss *const *)a, *y = *(const struct loss *const *)b;
	int c = strcmp(x->s->account, y->s->account);

	return c ? c : (x > y) - (x < y);
}

static void
link_accounts(struct pass *p)
{
	struct loss **order = arena_take(&p->out->arena, p->n * sizeof *order);

	for (size_t i = 0; i < p->n; i++)
		order[i] = &p->all[i];
	qsort(order, p->n, sizeof *order, by_account);
	for (size_t i = 0; i < p->n; i++)
		order[i]->before = i && strcmp(order[i]->s->account, order[i - 1]->s->account) == 0
		    ? order[i - 1] - p->all : -1;
}

/* Is the account among those from `lo` on already? */
static bool
met_before(const struct pass *p, size_t lo, size_t i)
{
	return p->all[i].before >= (int64_t)lo;
}

static int
by_end(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

/* When more than half had power again. */
static void
measure_cut(struct pass *p, struct cut *c)
{
	int64_t *end = arena_take(&p->out->arena, (c->hi - c->lo) * sizeof *end);
	size_t n = 0;

	for (size_t i = c->lo; i < c->hi; i++) {
		p->all[i].cut = (int32_t)p->n_cut;
		c->accounts += !met_before(p, c->lo, i);
		if (p->all[i].end == NO_TIME)
			c->without++;
		else
			end[n++] = p->all[i].end;
	}
	c->back = NO_TIME;
	if (2 * n > c->hi - c->lo) {
		qsort(end, n, sizeof *end, by_end);
		c->back = end[(c->hi - c->lo) / 2];
	}
}

/* The losses all[lo..hi) are one group's. */
static void
find_cuts(struct pass *p, size_t lo, size_t hi)
{
	double windows = (double)p->lookback / (double)p->together;
	double mean = (double)(hi - lo) / windows;

	for (size_t from = lo, to; from < hi; from = to) {
		size_t accounts = 0;

		for (to = from; to < hi && p->all[to].s->at - p->all[from].s->at <= p->together;
		    to++)
			accounts += !met_before(p, from, to);
		if ((double)accounts < p->least ||
		    stats_scan((long)accounts, mean, windows) > p->chance) {
			to = from + 1;
			continue;
		}
		while (to < hi && p->all[to].s->at - p->all[to - 1].s->at <= p->together)
			to++;
		p->cut[p->n_cut] = (struct cut){ .lo = from, .hi = to };
		measure_cut(p, &p->cut[p->n_cut]);
		p->n_cut++;
	}
}

static void
report(struct pass *p, const struct cut *c, size_t cuts)
{
	struct findings *out = p->out;
	struct arena *a = &out->arena;
	const struct loss *first = &p->all[c->lo];
	struct finding *f = finding_add(out, NULL, &rule_power_loss, -1,
	    arena_fmt(a, "group:%s", group_of(first)));
	const char *list = "";
	size_t named = 0;
	char when[CIVIL_TEXT];

	f->account = "*";
	f->onset = first->s->at;
	f->last = p->all[c->hi - 1].s->at;
	f->count = (long)c->accounts;
	f->cleared = c->back;
	f->level = c->back == NO_TIME && (double)(p->f->now - f->onset) >=
	    setting_fleet(p->f, &rule_power_loss, "open") * HOUR ? LEVEL_SOON : LEVEL_LATER;
	for (size_t i = c->lo; i < c->hi; i++) {
		const char *account = p->all[i].s->account;

		if (met_before(p, c->lo, i) || named++ >= NAMED)
			continue;
		list = arena_fmt(a, "%s%s%s", list, *list ? ", " : "", account);
		finding_member(out, f, arena_fmt(a, "account:%s", account));
	}
	finding_summary(out, f, "Mains power lost at %zu accounts%s%s within %s from %s UTC on; "
	    "%zu without an end in the log: the supply of the place more likely than each "
	    "site.", c->accounts,
	    *group_of(first) ? " of group " : "", group_of(first), rule_span_text(a,
	    f->last - f->onset + SECOND), civil_short(f->onset, when), c->without);
	finding_measure(out, f, "accounts", (double)c->accounts, "");
	finding_measure(out, f, "without", (double)c->without, "");
	finding_measure(out, f, "cuts", (double)cuts, "");
	finding_check(out, f, arena_fmt(a, "Accounts: %s%s", list, named > NAMED ?
	    ", and more" : ""));
	finding_check(out, f, "Ask the supplier how long it lasts; sites with life-safety "
	    "devices and old panel batteries first");
	finding_check(out, f, "When power is back: which of them did not report it?");
	finding_caution(out, f, CARE_SITE_MAINS);
	for (size_t i = c->lo; i < c->hi; i++)
		if (p->all[i].s->b > 0)
			finding_caution(out, f, CARE_LIFE);
}

/* The newest cut of each group, unless it is long over. */
static void
report_cuts(struct pass *p)
{
	int64_t keep = (int64_t)(setting_fleet(p->f, &rule_power_loss, "keep_cleared") * DAY);

	for (size_t i = 0, cuts = 0; i < p->n_cut; i++) {
		const struct cut *c = &p->cut[i];

		cuts++;
		if (i + 1 < p->n_cut && strcmp(p->all[c->lo].s->key,
		    p->all[p->cut[i + 1].lo].s->key) == 0)
			continue;
		if (c->back == NO_TIME || p->f->now - c->back < keep)
			report(p, c, cuts);
		cuts = 0;
	}
}

static int
by_time(const void *a, const void *b)
{
	const struct loss *x = a, *y = b;

	return x->s->at < y->s->at ? -1 : x->s->at > y->s->at;
}

/* A cut with a loss at just this time; in any group, for a candidate does not say its own.
 * The losses are sorted by time by then. */
static const struct cut *
cut_at(const struct pass *p, double at)
{
	size_t lo = 0, hi = p->n;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if ((double)p->all[mid].s->at < at)
			lo = mid + 1;
		else
			hi = mid;
	}
	for (; lo < p->n && (double)p->all[lo].s->at == at; lo++)
		if (p->all[lo].cut >= 0)
			return &p->cut[p->all[lo].cut];
	return NULL;
}

/* What no cut of the group explains. */
static bool
fires(const struct pass *p, const struct candidate *c)
{
	const struct cut *cut = c->number[P_OPEN] > 0 ? cut_at(p, c->number[P_OPEN]) : NULL;
	double own = 0;

	if (c->number[P_OPEN] > 0 && (!cut || cut->back != NO_TIME))
		return true;
	if (!(c->number[P_NEED] > 0))
		return false;
	for (size_t i = 0; i < P_AT_MOST && (double)i < c->number[P_TIMES]; i++)
		own += !cut_at(p, c->number[P_AT + i]);
	return own >= c->number[P_NEED];
}

void
power_fleet_judge(struct fleet *f, struct findings *out)
{
	struct pass p = { .f = f, .out = out };

	p.all = arena_take(&out->arena, f->n_summary * sizeof *p.all);
	for (size_t i = 0; i < f->n_summary; i++) {
		const struct summary *s = &f->summary[i];

		if (strncmp(s->key, "loss:", 5) == 0)
			p.all[p.n++] = (struct loss){ .s = s, .cut = -1, .before = -1,
				.end = s->a > 0 ? (int64_t)s->a : NO_TIME };
	}
	p.cut = arena_take(&out->arena, p.n * sizeof *p.cut);
	p.least = setting_fleet(f, &rule_power_loss, "accounts");
	p.chance = setting_fleet(f, &rule_power_loss, "chance");
	p.together = (int64_t)(setting_fleet(f, &rule_power_loss, "together") * MINUTE);
	p.lookback = (int64_t)(setting_fleet(f, &rule_power_loss, "lookback") * DAY);
	if (p.n) {
		qsort(p.all, p.n, sizeof *p.all, by_group);
		link_accounts(&p);
	}
	for (size_t lo = 0, hi; lo < p.n; lo = hi) {
		for (hi = lo + 1; hi < p.n && strcmp(p.all[hi].s->key, p.all[lo].s->key) == 0; hi++)
			;
		find_cuts(&p, lo, hi);
	}
	if (p.n_cut) {
		report_cuts(&p);
		qsort(p.all, p.n, sizeof *p.all, by_time);
	}
	for (size_t i = 0; i < f->n_candidate; i++)
		f->candidate[i].fires = fires(&p, &f->candidate[i]);
}
