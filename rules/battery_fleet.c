#include "rules/battery_fleet.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rules/battery_due.h"
#include "rules/care.h"
#include "rules/stats.h"
#include "rules/when.h"

extern const struct rule rule_battery_cluster;

/* By which numbers the fleet is judged. */
struct terms { double fdr, weight, years, window, accounts; };

double
battery_usual(const char *name)
{
	const struct setting *s = rule_battery_cluster.setting;

	while (strcmp(s->name, name) != 0)
		s++;
	return s->value;
}

static double
term(const struct fleet *f, bool usual, const char *name)
{
	return usual ? battery_usual(name) : setting_fleet(f, &rule_battery_cluster, name);
}

static struct terms
terms_of(const struct fleet *f, bool usual)
{
	return (struct terms){ .fdr = term(f, usual, "fdr"),
		.weight = term(f, usual, "prior_onsets"), .years = term(f, usual, "prior_years"),
		.window = term(f, usual, "window"), .accounts = term(f, usual, "fleet_accounts") };
}

/* Is anything of the fleet judged by other numbers than the defaults? */
static bool
is_overridden(const struct fleet *f)
{
	for (size_t i = 0; i < f->n_override; i++)
		if (strcmp(f->override[i].rule, rule_battery_cluster.id) == 0)
			return true;
	for (size_t i = 0; i < f->n_candidate; i++)
		if ((int)f->candidate[i].number[N_FLAGS] & BATTERY_SET)
			return true;
	return false;
}

/* Onsets a device and day: all of the fleet but this part, and the prior. */
static double
rate_of(const struct terms *t, double onsets, double days)
{
	return (t->weight + fmax(0, onsets)) / (t->weight * t->years * 365.25 + fmax(0, days));
}

static bool
has_prefix(const char *text, const char *prefix)
{
	return strncmp(text, prefix, strlen(prefix)) == 0;
}

static void
put_measure(struct candidate *c, const char *name, double value, const char *unit)
{
	c->measure[c->n_measure++] = (struct measure){ name, unit, value, NULL };
}

/* Of a crowd so full, given that the site has two onsets. */
static double
chance_of_crowd(long crowd, double mean, double windows)
{
	double p = stats_scan(crowd, mean, windows), two = stats_tail(2, mean * windows);

	return two > 0 ? fmin(1, p / two) : 1;
}

static bool
is_life(const struct candidate *c)
{
	return (int)c->number[N_FLAGS] & BATTERY_LIFE;
}

/* Each site is held against all others, so that its own crowd does not excuse it. Only sites
 * with two onsets at least are looked at, so chance is asked under that condition: without
 * it the step-up procedure, which counts these sites alone, would let through many a pair
 * where most sites are quiet. `life`: answers are given for life safety only; `alone`: and
 * only these sites are compared. */
static void
judge_sites(struct fleet *f, struct findings *out, const struct terms *t, bool life, bool alone)
{
	double *p = x_calloc(2 * f->n_candidate, sizeof *p), *q = p + f->n_candidate;
	double onsets = 0, days = 0;
	size_t n = 0;

	for (size_t i = 0; i < f->n_summary; i++) {
		onsets += has_prefix(f->summary[i].key, "onset:");
		if (has_prefix(f->summary[i].key, "exposure:"))
			days += f->summary[i].a;
	}
	for (size_t i = 0; i < f->n_candidate; i++) {
		struct candidate *c = &f->candidate[i];
		const double *number = c->number;
		double rate = rate_of(t, onsets - number[N_ONSETS], days - number[N_DEVICE_DAYS]);
		double devices = number[N_DAYS] > 0 ? number[N_DEVICE_DAYS] / number[N_DAYS] : 0;
		double mean = rate * devices * number[N_WINDOW];

		if (alone && !is_life(c))
			continue;
		p[n] = number[N_DAYS] > 0 ? chance_of_crowd((long)number[N_CROWD], mean,
		    number[N_DAYS] / number[N_WINDOW]) : 1;
		if (!c->fires && (!life || is_life(c))) {
			c->measure = arena_take(&out->arena, 6 * sizeof *c->measure);
			c->n_measure = 0;
			put_measure(c, "devices", devices, "devices");
			put_measure(c, "rate", rate * 365.25, "per device and year");
			put_measure(c, "expected", mean, "onsets in a window");
			put_measure(c, "p", p[n], "");
		}
		n++;
	}
	stats_adjust(p, n, q);
	n = 0;
	for (size_t i = 0; i < f->n_candidate; i++) {
		struct candidate *c = &f->candidate[i];
		const double *number = c->number;
		double due = number[N_DUE];

		if (alone && !is_life(c))
			continue;
		if (!c->fires && (!life || is_life(c))) {
			c->fires = q[n] <= t->fdr;
			put_measure(c, "q", q[n], "");
			put_measure(c, "sites_compared", (double)f->n_candidate, "sites");
			c->summary = arena_fmt(&out->arena, "%.0f devices went low within %g days where "
			    "chance gives %.2g (chance of such a crowd %.2g, over all sites %.2g); %.0f "
			    "device%s due at this site%s%s", number[N_CROWD], number[N_WINDOW],
			    c->measure[2].value, p[n], q[n], due, due == 1 ? " is" : "s are",
			    due > 0 ? ": change all on one visit" : "; the new cells are being watched",
			    (int)number[N_FLAGS] & BATTERY_COLD ? "; cold pattern: check, not fixed" : "");
		}
		n++;
	}
	free(p);
}

/* One cell type over all accounts. An account counts once in a window, or one site's
 * crowd would be taken for the fleet's: that has its own finding. Cells changed since are
 * part of the crowd, which tells of the batch; what is due are the others. */
struct type {
	const char *key;
	double      days, span;
	const struct summary **onset;	/* all onsets, by time */
	size_t      n;
	const struct summary **account;	/* of these the first of each account and window */
	size_t      n_account, first, most;
	size_t      begin, end;		/* of these the likeliest cluster in the fullest window */
	size_t      lo, hi;		/* onsets of the cluster, by place in `onset` */
	size_t      due;		/* of the cluster's accounts, those with a cell not changed */
	double      a_day;		/* expected by its rate */
	double      p, q;
	double      own;		/* chance of such a crowd by how its own accounts lie in time,
					 * whatever the rate */
};

static int
by_time(const void *a, const void *b)
{
	const struct summary *x = *(const struct summary *const *)a;
	const struct summary *y = *(const struct summary *const *)b;

	return x->at != y->at ? (x->at < y->at ? -1 : 1) : strcmp(x->account, y->account);
}

static void
find_accounts(struct type *t, double window)
{
	for (size_t i = 0; i < t->n; i++) {
		size_t k = t->n_account;

		while (k > 0 && (double)(t->onset[i]->at - t->account[k - 1]->at) <= window
		    && strcmp(t->account[k - 1]->account, t->onset[i]->account) != 0)
			k--;
		if (k == 0 || (double)(t->onset[i]->at - t->account[k - 1]->at) > window)
			t->account[t->n_account++] = t->onset[i];
	}
}

/* Does the account have a cell of the cluster that was not changed since? */
static bool
is_due(const struct type *t, const char *account)
{
	for (size_t i = t->lo; i < t->hi; i++)
		if (t->onset[i]->a > 0 && strcmp(t->onset[i]->account, account) == 0)
			return true;
	return false;
}

/* Where the crowd in the fullest window begins and ends: strays at its edges are not of it.
 * The run with the greatest likelihood ratio c ln(c/e) - (c - e), c found and e expected
 * (M. Kulldorff, Commun. Stat. 26 (1997) 1481-1496); below a day nothing is told apart. */
static void
find_cluster(struct type *t)
{
	double most = -1;

	for (size_t i = t->first; i < t->first + t->most; i++)
		for (size_t k = i; k < t->first + t->most; k++) {
			double c = (double)(k - i + 1), e = t->a_day *
			    fmax(1, (double)(t->account[k]->at - t->account[i]->at) / DAY);
			double ratio = c > e ? c * log(c / e) - (c - e) : 0;

			if (ratio > most) {
				most = ratio;
				t->begin = i;
				t->end = k + 1;
			}
		}
	while (t->onset[t->lo]->at < t->account[t->begin]->at)
		t->lo++;
	for (t->hi = t->lo; t->hi < t->n && t->onset[t->hi]->at <= t->account[t->end - 1]->at;)
		t->hi++;
	for (size_t i = t->begin; i < t->end; i++)
		t->due += is_due(t, t->account[i]->account);
}

static void
measure_type(const struct terms *terms, struct type *t)
{
	double window = terms->window;

	qsort(t->onset, t->n, sizeof *t->onset, by_time);
	find_accounts(t, window * DAY);
	for (size_t lo = 0, hi = 0; hi < t->n_account; hi++) {
		while ((double)(t->account[hi]->at - t->account[lo]->at) > window * DAY)
			lo++;
		if (hi - lo + 1 > t->most) {
			t->first = lo;
			t->most = hi - lo + 1;
		}
	}
	/* By the rate, its own, crowd included: cells differ in life. The rate without the
	 * fullest window was tried, and fired on every third quiet type of few days. */
	t->a_day = t->span > 0 ? rate_of(terms, (double)t->n, t->days) * t->days / t->span : 0;
	t->p = t->own = 1;
	if (t->span > window) {
		t->p = chance_of_crowd((long)t->most, t->a_day * window, t->span / window);
		t->own = stats_scan_fixed((long)t->most, (long)t->n_account, window / t->span);
	}
}

static void
report_type(struct findings *out, const struct type *t, double window)
{
	struct arena *a = &out->arena;
	int64_t begin = t->account[t->begin]->at, end = t->account[t->end - 1]->at;
	struct finding *f = finding_add(out, NULL, &rule_battery_cluster, -1,
	    arena_fmt(a, "cell:%s", t->key));
	const char *list = "", *changed = "";

	f->account = "*";
	f->level = LEVEL_SOON;
	f->onset = begin;
	for (size_t i = t->lo; i < t->hi; i++) {
		f->count++;
		f->last = t->onset[i]->at;
		f->life |= t->onset[i]->b >= 1;
	}
	for (size_t i = t->begin; i < t->end; i++) {
		const char **to = is_due(t, t->account[i]->account) ? &list : &changed;

		*to = arena_fmt(a, "%s%s%s", *to, **to ? ", " : "", t->account[i]->account);
	}
	finding_measure(out, f, "accounts_due", (double)t->due, "accounts");
	finding_measure(out, f, "accounts", (double)(t->end - t->begin), "accounts");
	finding_measure(out, f, "onsets", (double)f->count, "");
	finding_measure(out, f, "crowd", (double)t->most, "accounts");
	finding_measure(out, f, "p", t->p, "");
	finding_measure(out, f, "q", t->q, "");
	finding_measure(out, f, "p_own_history", t->own, "");
	finding_summary(out, f, "%ld devices with %s at %zu accounts went low within %s (chance of %zu "
	    "accounts within %g days %.2g, over all cell types %.2g): one batch, one age, or a cold "
	    "spell", f->count, t->key, t->end - t->begin, when_lasting(a, end - begin), t->most, window,
	    t->p, t->q);
	finding_check(out, f, arena_fmt(a, "Accounts: %s%s%s", list, *changed ?
	    "; changed there already: " : "", changed));
	finding_check(out, f, "Compare date codes and batch of the cells that come back, and plan the "
	    "other sites with this cell before they call");
	if (f->life)
		finding_caution(out, f, CARE_LIFE);
}

static int
by_key(const void *a, const void *b)
{
	const struct summary *x = *(const struct summary *const *)a;
	const struct summary *y = *(const struct summary *const *)b;
	int c = strcmp(strchr(x->key, ':'), strchr(y->key, ':'));

	return c ? c : (x > y) - (x < y);
}

static bool
is_reported(const struct findings *out, const struct type *t)
{
	for (size_t i = 0; i < out->n; i++)
		if (out->finding[i]->rule == &rule_battery_cluster &&
		    strcmp(out->finding[i]->subject + strlen("cell:"), t->key) == 0)
			return true;
	return false;
}

static bool
has_life(const struct type *t)
{
	for (size_t i = t->lo; i < t->hi; i++)
		if (t->onset[i]->b > 0)
			return true;
	return false;
}

/* `life`: only crowds with life safety in them are reported. */
static void
judge_types(struct fleet *f, struct findings *out, const struct terms *terms, bool life)
{
	const struct summary **all = arena_take(&out->arena, f->n_summary * sizeof *all);
	const struct summary **onset = arena_take(&out->arena, f->n_summary * sizeof *onset);
	const struct summary **account = arena_take(&out->arena, f->n_summary * sizeof *account);
	struct type *type = arena_take(&out->arena, f->n_summary * sizeof *type);
	double *p = x_calloc(2 * f->n_summary, sizeof *p), *q = p + f->n_summary;
	size_t n = 0, used = 0, n_all = 0;

	/* Other rules note summaries of their own. */
	for (size_t i = 0; i < f->n_summary; i++)
		if (has_prefix(f->summary[i].key, "onset:") ||
		    has_prefix(f->summary[i].key, "exposure:"))
			all[n_all++] = &f->summary[i];
	if (n_all)
		qsort(all, n_all, sizeof *all, by_key);
	for (size_t i = 0; i < n_all;) {
		struct type t = { .key = strchr(all[i]->key, ':') + 1, .onset = onset + used,
			.account = account + used };

		for (; i < n_all && strcmp(strchr(all[i]->key, ':') + 1, t.key) == 0; i++) {
			if (has_prefix(all[i]->key, "exposure:")) {
				t.days += all[i]->a;
				t.span = fmax(t.span, all[i]->b);
				continue;
			}
			onset[used + t.n++] = all[i];
		}
		if (t.n < 2 || strcmp(t.key, "?") == 0)
			continue;
		used += t.n;
		measure_type(terms, &t);
		p[n] = t.p;
		type[n++] = t;
	}
	stats_adjust(p, n, q);
	for (size_t i = 0; i < n; i++) {
		type[i].q = q[i];
		/* The prior knows nothing of cells of short life: their own history must not say
		 * that such a crowd is ordinary. */
		if (q[i] > terms->fdr || type[i].own > terms->fdr)
			continue;
		find_cluster(&type[i]);
		if ((double)type[i].due >= terms->accounts &&
		    (!life || (has_life(&type[i]) && !is_reported(out, &type[i]))))
			report_type(out, &type[i], terms->window);
	}
	free(p);
}

void
battery_fleet_judge(struct fleet *f, struct findings *out)
{
	struct terms set = terms_of(f, false), usual = terms_of(f, true);

	for (size_t i = 0; i < f->n_candidate; i++)
		f->candidate[i].fires = false;
	judge_sites(f, out, &set, false, false);
	judge_types(f, out, &set, false);
	if (is_overridden(f)) {
		/* Among all sites, and among these alone: an override may have changed the
		 * others. */
		judge_sites(f, out, &usual, true, false);
		judge_sites(f, out, &usual, true, true);
		judge_types(f, out, &usual, true);
	}
	battery_due_judge(f, out);
}
