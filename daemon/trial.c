#include "daemon/trial.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/views.h"
#include "rules/override.h"

enum { VALUES_MOST = 40, DEFAULT_STEPS = 10 };

/* ---- what is asked ----------------------------------------------------------- */

/* "RULE.SETTING=" off the front of the text; *rest is what follows. */
static int
read_name(const char *text, struct trial_set *out, const char **rest, struct err *e)
{
	const char *dot = strchr(text, '.'), *equals = dot ? strchr(dot, '=') : NULL;
	struct span rule, setting;

	if (!equals || dot == text || equals == dot + 1)
		return err_set(e, ERR_USAGE, NULL, 0, "\"%s\" is not RULE.SETTING=VALUE, such as "
		    "chatter.bursts=4", text);
	rule = (struct span){ text, (size_t)(dot - text) };
	setting = (struct span){ dot + 1, (size_t)(equals - dot) - 1 };
	out->rule = NULL;
	for (size_t i = 0; i < rule_count; i++)
		if (span_eq_fold(rule, span_of(rule_table[i]->id)))
			out->rule = rule_table[i];
	if (!out->rule && override_find(rule))
		return err_set(e, ERR_USAGE, NULL, 0, "\"%s\": the settings of %s judge nothing, so "
		    "there is nothing to try", text, override_find(rule)->id);
	if (!out->rule)
		return err_set(e, ERR_USAGE, NULL, 0, "\"%s\": no such rule; \"tripsift rules\" lists them",
		    text);
	out->setting = override_setting(out->rule, setting);
	if (!out->setting)
		return err_set(e, ERR_USAGE, NULL, 0, "\"%s\": no such setting of that rule; \"tripsift "
		    "rules %s\" lists them", text, out->rule->id);
	*rest = equals + 1;
	return 0;
}

/* One value in the setting's range. */
static int
read_value(const char *text, const struct trial_set *set, struct span value, double *out,
    struct err *e)
{
	const struct setting *s = set->setting;
	const char *why = override_read(span_of(set->rule->id), span_of(s->name), value, out);

	if (!why)
		return 0;
	return err_set(e, ERR_USAGE, NULL, 0, "\"%s\": %s; allowed is %.10g to %.10g%s%s", text, why,
	    s->min, s->max, *s->unit ? " " : "", s->unit);
}

int
trial_read_set(const char *text, struct trial_set *out, struct err *e)
{
	const char *value;

	if (read_name(text, out, &value, e))
		return -1;
	return read_value(text, out, span_of(value), &out->value, e);
}

int
trial_read_sweep(const char *text, struct arena *a, struct trial_set *out,
    const double **value, size_t *n, struct err *e)
{
	const char *from, *dots, *slash;
	double lo, hi, step, *list;
	struct span to;

	if (read_name(text, out, &from, e))
		return -1;
	dots = strstr(from, "..");
	if (!dots)
		return err_set(e, ERR_USAGE, NULL, 0, "\"%s\" is not RULE.SETTING=FROM..TO[/STEP], such as "
		    "chatter.bursts=2..8", text);
	slash = strchr(dots, '/');
	to = (struct span){ dots + 2, slash ? (size_t)(slash - dots) - 2 : strlen(dots + 2) };
	if (read_value(text, out, (struct span){ from, (size_t)(dots - from) }, &lo, e) ||
	    read_value(text, out, to, &hi, e))
		return -1;
	if (hi <= lo)
		return err_set(e, ERR_USAGE, NULL, 0, "\"%s\": the second value is not above the first",
		    text);
	if (slash) {
		if (!override_number(out->setting, span_of(slash + 1), &step) || step <= 0)
			return err_set(e, ERR_USAGE, NULL, 0, "\"%s\": the step is no number above 0",
			    text);
	} else {
		bool whole = floor(lo) == lo && floor(hi) == hi && hi - lo < VALUES_MOST;

		step = whole ? 1 : (hi - lo) / DEFAULT_STEPS;
	}
	/* The last value is met in spite of rounding; 1e-9 of a step is nobody's wish. */
	if ((hi - lo) / step + 1e-9 >= VALUES_MOST)
		return err_set(e, ERR_USAGE, NULL, 0, "\"%s\": more than %d values; take a larger step",
		    text, VALUES_MOST);
	*n = (size_t)floor((hi - lo) / step + 1e-9) + 1;
	list = arena_take(a, *n * sizeof *list);
	for (size_t i = 0; i < *n; i++) {
		list[i] = lo + (double)i * step;
		if (list[i] > hi)
			list[i] = hi;
	}
	*value = list;
	out->value = lo;
	return 0;
}

/* ---- one account --------------------------------------------------------------- */

/* What is kept of a finding. Where two runs agree they share one. */
struct kept {
	struct stored_finding f;
	const struct rule    *rule;
	const char           *subject;
	bool                  pending;
	double                number[8];
};

struct run {
	struct kept   **kept;
	size_t          n;
	struct summary *summary;
	size_t          n_summary;
};

struct account {
	struct arena arena;
	struct run   run[];	/* today's, then one for each diff */
};

struct trying {
	const struct trial *t;
	size_t              n_run;
	const int64_t      *id;		/* ascending, with what was found beside it */
	struct account    **account;
	size_t              n, done;
	bool                progress;
};

static const char *
copy(struct arena *a, const char *text)
{
	return arena_text(a, span_of(text ? text : ""));
}

static struct kept *
keep_finding(struct arena *a, const struct view *v, const struct finding *f)
{
	struct kept *k = arena_take(a, sizeof *k);
	const char **caution = arena_take(a, (f->n_caution + 1) * sizeof *caution);

	for (size_t i = 0; i < f->n_caution; i++)
		caution[i] = copy(a, f->caution[i]);
	*k = (struct kept){ .rule = f->rule, .subject = copy(a, f->subject), .pending = f->pending,
	    .f = { .id = "", .rule = f->rule->id, .account = copy(a, f->account),
	    .zone = copy(a, f->zone), .serial = copy(a, f->serial),
	    .device = copy(a, f->device_text), .site_name = v ? copy(a, v->name) : "", .group = "",
	    .timezone = v ? copy(a, v->timezone) : "",
	    .state = f->cleared == NO_TIME ? "open" : "cleared", .level = (int)f->level,
	    .life = f->life, .onset = f->onset, .last = f->last, .cleared = f->cleared,
	    .count = f->count, .summary = copy(a, f->summary), .caution = caution,
	    .n_caution = f->n_caution } };
	memcpy(k->number, f->number, sizeof k->number);
	return k;
}

static bool
same_finding(const struct kept *k, const struct finding *f)
{
	return k->rule == f->rule && k->f.onset == f->onset && k->f.last == f->last &&
	    k->f.cleared == f->cleared && k->f.count == f->count && k->f.level == (int)f->level &&
	    k->f.life == f->life && k->pending == f->pending && k->f.n_caution == f->n_caution &&
	    memcmp(k->number, f->number, sizeof k->number) == 0 &&
	    strcmp(k->subject, f->subject) == 0 && strcmp(k->f.summary, f->summary) == 0;
}

static bool
same_summaries(const struct run *r, const struct findings *f)
{
	bool same = r->n_summary == f->n_summary;

	for (size_t i = 0; same && i < r->n_summary; i++) {
		const struct summary *x = &r->summary[i], *y = &f->summary[i];

		same = x->at == y->at && x->a == y->a && x->b == y->b &&
		    strcmp(x->rule, y->rule) == 0 && strcmp(x->key, y->key) == 0;
	}
	return same;
}

static void
keep_run(struct account *to, size_t nth, const struct view *v, const struct findings *f)
{
	struct run *r = &to->run[nth], *today = &to->run[0];

	r->kept = arena_take(&to->arena, (f->n + 1) * sizeof *r->kept);
	r->n = f->n;
	for (size_t i = 0; i < f->n; i++) {
		for (size_t j = 0; nth && j < today->n && !r->kept[i]; j++)
			if (same_finding(today->kept[j], f->finding[i]))
				r->kept[i] = today->kept[j];
		if (!r->kept[i])
			r->kept[i] = keep_finding(&to->arena, v, f->finding[i]);
	}
	if (nth && same_summaries(today, f)) {
		r->summary = today->summary;
		r->n_summary = today->n_summary;
		return;
	}
	r->summary = arena_take(&to->arena, (f->n_summary + 1) * sizeof *r->summary);
	r->n_summary = f->n_summary;
	for (size_t i = 0; i < f->n_summary; i++) {
		r->summary[i] = f->summary[i];
		r->summary[i].account = copy(&to->arena, v->account);
		r->summary[i].key = copy(&to->arena, f->summary[i].key);
	}
}

static struct override
override_of(const struct trial_set *set, double value, int narrow, enum kind kind)
{
	return (struct override){ set->rule->id, set->setting->name, value, kind, narrow };
}

/* Today's overrides and those of the nth run; the length, into a list of the arena. */
static struct override *
overrides(const struct trial *t, size_t nth, struct arena *a, const struct override *today,
    size_t n_today, int narrow, enum kind kind, size_t *n)
{
	struct override *list = arena_take(a, (n_today + t->n_set + 1) * sizeof *list), one;

	*n = n_today;
	if (n_today)
		memcpy(list, today, n_today * sizeof *list);
	for (size_t i = 0; i < t->n_set; i++) {
		one = override_of(&t->set[i], t->set[i].value, narrow, kind);
		*n = override_add(list, *n, &one);
	}
	if (t->sweep) {
		one = override_of(t->sweep, t->value[nth - 1], narrow, kind);
		*n = override_add(list, *n, &one);
	}
	return list;
}

/* A view is built once and judged under one setting after another. */
static void *
judge(void *ctx, struct view *v, bool skip)
{
	const struct trying *g = ctx;
	struct account *to = x_calloc(1, sizeof *to + g->n_run * sizeof *to->run);
	struct override *today = v->override;
	const char *plain;
	enum kind kind;
	int narrow;
	size_t n_today = v->n_override;

	if (skip)
		return to;
	plain = arena_text(&v->arena, (struct span){ v->account, strcspn(v->account, "@") });
	narrow = override_reach(span_of(g->t->scope), plain, v->group, &kind);
	for (size_t i = 0; i < g->n_run; i++) {
		struct findings f = { 0 };

		if (i && narrow < 0) {
			to->run[i] = to->run[0];
			continue;
		}
		if (i)
			v->override = overrides(g->t, i, &v->arena, today, n_today, narrow, kind,
			    &v->n_override);
		rules_judge(v, NULL, &f);
		keep_run(to, i, v, &f);
		findings_release(&f);
	}
	v->override = today;
	v->n_override = n_today;
	return to;
}

static void
drop(void *result)
{
	struct account *a = result;

	arena_release(&a->arena);
	free(a);
}

static int
by_id(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
}

/* The result stays until the accounts have been compared. */
static int
keep(void *ctx, struct view *v, void **result, struct err *e)
{
	struct trying *g = ctx;
	const int64_t *at = bsearch(&v->account_id, g->id, g->n, sizeof *g->id, by_id);

	(void)e;
	if (at) {
		g->account[at - g->id] = *result;
		*result = NULL;
	}
	g->done++;
	if (g->progress && g->done % 1000 == 0)
		fprintf(stderr, "\rjudging: %zu of %zu accounts", g->done, g->n);
	return 0;
}

/* ---- all accounts -------------------------------------------------------------- */

/* One run's findings over all accounts, in the order of compare(). */
struct all {
	struct kept   **kept;
	size_t          n, cap;
	struct findings common;		/* of the comparison of accounts */
	struct arena    arena;
};

static size_t
rule_number(const struct rule *r)
{
	size_t i = 0;

	while (rule_table[i] != r)
		i++;
	return i;
}

static int
compare_case(const struct kept *a, const struct kept *b)
{
	int c = strcmp(a->f.account, b->f.account);
	size_t x, y;

	if (c)
		return c;
	x = rule_number(a->rule);
	y = rule_number(b->rule);
	return x != y ? (x < y ? -1 : 1) : strcmp(a->subject, b->subject);
}

static int
compare(const void *pa, const void *pb)
{
	const struct kept *a = *(struct kept *const *)pa, *b = *(struct kept *const *)pb;
	int c = compare_case(a, b);

	if (c)
		return c;
	if (a->f.onset != b->f.onset)
		return a->f.onset < b->f.onset ? -1 : 1;
	return (a->f.last > b->f.last) - (a->f.last < b->f.last);
}

static void
take(struct all *to, struct kept *k)
{
	to->kept = x_grow(to->kept, &to->cap, to->n + 1, sizeof *to->kept);
	to->kept[to->n++] = k;
}

/* The rule's comparison of accounts; its open candidates that fire are taken. */
static void
fleet_rule(const struct trying *g, size_t nth, const struct rule *r, struct fleet *fleet,
    struct all *to)
{
	struct candidate *candidate = NULL;
	struct kept **from = NULL;
	size_t cap = 0, cap_from = 0, n = 0;

	for (size_t i = 0; i < g->n; i++) {
		const struct run *run = &g->account[i]->run[nth];

		for (size_t j = 0; j < run->n; j++) {
			struct kept *k = run->kept[j];

			if (!k->pending || k->rule != r || k->f.cleared != NO_TIME)
				continue;
			candidate = x_grow(candidate, &cap, n + 1, sizeof *candidate);
			from = x_grow(from, &cap_from, n + 1, sizeof *from);
			candidate[n] = (struct candidate){ .account = k->f.account,
			    .subject = k->subject };
			memcpy(candidate[n].number, k->number, sizeof k->number);
			from[n++] = k;
		}
	}
	fleet->candidate = candidate;
	fleet->n_candidate = n;
	rule_fleet(r, fleet, &to->common);
	for (size_t i = 0; i < n; i++) {
		struct kept *k;

		if (!candidate[i].fires)
			continue;
		k = arena_take(&to->arena, sizeof *k);
		*k = *from[i];
		if (candidate[i].summary)
			k->f.summary = candidate[i].summary;
		take(to, k);
	}
	free(candidate);
	free(from);
}

static void
gather(const struct trying *g, size_t nth, const struct fleet *ground, struct all *to)
{
	struct fleet fleet = *ground;
	struct summary *summary = NULL;
	size_t cap = 0;

	for (size_t i = 0; i < g->n; i++) {
		const struct run *run = &g->account[i]->run[nth];

		for (size_t j = 0; j < run->n; j++)
			if (!run->kept[j]->pending)
				take(to, run->kept[j]);
		for (size_t j = 0; j < run->n_summary; j++) {
			summary = x_grow(summary, &cap, fleet.n_summary + 1, sizeof *summary);
			summary[fleet.n_summary++] = run->summary[j];
		}
	}
	fleet.summary = summary;
	/* The comparison knows what holds for all accounts, and nothing narrower. */
	if (nth && strcmp(g->t->scope, "*") == 0)
		fleet.override = overrides(g->t, nth, &to->arena, ground->override,
		    ground->n_override, 0, KIND_UNKNOWN, &fleet.n_override);
	for (size_t i = 0; i < rule_count; i++)
		if (rule_table[i]->fleet)
			fleet_rule(g, nth, rule_table[i], &fleet, to);
	for (size_t i = 0; i < to->common.n; i++)
		take(to, keep_finding(&to->arena, NULL, to->common.finding[i]));
	if (to->n)
		qsort(to->kept, to->n, sizeof *to->kept, compare);
	free(fleet.fired);
	free(summary);
}

static void
release(struct all *all)
{
	free(all->kept);
	findings_release(&all->common);
	arena_release(&all->arena);
}

/* ---- against today's ------------------------------------------------------------ */

struct list { struct stored_finding *f; size_t n, cap; };

/* A copy that outlives the runs. */
static void
tell(struct arena *a, struct list *to, const struct kept *k)
{
	struct stored_finding *f;

	to->f = x_grow(to->f, &to->cap, to->n + 1, sizeof *to->f);
	f = &to->f[to->n++];
	*f = k->f;
	f->account = copy(a, f->account);
	f->zone = copy(a, f->zone);
	f->serial = copy(a, f->serial);
	f->device = copy(a, f->device);
	f->site_name = copy(a, f->site_name);
	f->timezone = copy(a, f->timezone);
	f->summary = copy(a, f->summary);
	f->caution = arena_take(a, (k->f.n_caution + 1) * sizeof *f->caution);
	for (size_t i = 0; i < k->f.n_caution; i++)
		f->caution[i] = copy(a, k->f.caution[i]);
}

static int
worst_first(const void *pa, const void *pb)
{
	const struct stored_finding *a = pa, *b = pb;
	int c;

	if (a->life != b->life)
		return a->life ? -1 : 1;
	if ((a->cleared == NO_TIME) != (b->cleared == NO_TIME))
		return a->cleared == NO_TIME ? -1 : 1;
	if (a->level != b->level)
		return a->level - b->level;
	if (a->count != b->count)
		return a->count > b->count ? -1 : 1;
	if ((c = strcmp(a->account, b->account)) != 0 || (c = strcmp(a->rule, b->rule)) != 0)
		return c;
	if (a->onset != b->onset)
		return a->onset < b->onset ? -1 : 1;
	return strcmp(a->device, b->device);
}

static struct stored_finding *
sorted(struct arena *a, struct list *l, size_t *n)
{
	if (l->n)
		qsort(l->f, l->n, sizeof *l->f, worst_first);
	*n = l->n;
	return arena_keep(a, l->f, l->n, sizeof *l->f);
}

/* Do the two spans meet when one is widened by `reach`? */
static bool
meet(const struct kept *a, const struct kept *b, int64_t reach)
{
	return a->f.onset == NO_TIME || b->f.onset == NO_TIME ||
	    (a->f.onset <= b->f.last + reach && b->f.onset <= a->f.last + reach);
}

/* Does the next of the list, of the same case, overlap `other`, so that it and not the one
 * before it is the same finding? */
static bool
next_meets(const struct all *l, size_t i, const struct kept *other)
{
	return i + 1 < l->n && compare_case(l->kept[i], l->kept[i + 1]) == 0 &&
	    meet(l->kept[i + 1], other, 0);
}

/* Is it among the findings that are to be shown? */
static bool
asked_for(const struct trial *t, const struct kept *k)
{
	const char *account = k->f.account;

	if (t->only && k->rule != t->only)
		return false;
	return !t->account || span_eq_fold(span_of(account), span_of(t->account)) ||
	    span_eq_fold((struct span){ account, strcspn(account, "@") }, span_of(t->account));
}

/* What goes of life safety is told whatever is asked for. */
static void
difference(const struct trial *t, struct arena *a, const struct all *today, const struct all *trial,
    struct trial_diff *d)
{
	struct list gained = { 0 }, lost = { 0 }, lowered = { 0 };
	size_t i = 0, j = 0;

	d->rule = arena_take(a, rule_count * sizeof *d->rule);
	for (; i < today->n || j < trial->n;) {
		const struct kept *x = i < today->n ? today->kept[i] : NULL;
		const struct kept *y = j < trial->n ? trial->kept[j] : NULL;
		int c = !x ? 1 : !y ? -1 : compare_case(x, y);
		struct trial_rule *r;
		bool asked;

		if (c == 0 && !meet(x, y, rule_rejoin(x->rule)))
			c = x->f.onset < y->f.onset ? -1 : 1;
		else if (c == 0 && !meet(x, y, 0))
			c = next_meets(today, i, y) ? -1 : next_meets(trial, j, x) ? 1 : 0;
		r = &d->rule[rule_number(c <= 0 ? x->rule : y->rule)];
		asked = asked_for(t, c <= 0 ? x : y);
		r->today += asked && c <= 0;
		r->open_today += asked && c <= 0 && x->f.cleared == NO_TIME;
		r->trial += asked && c >= 0;
		r->open_trial += asked && c >= 0 && y->f.cleared == NO_TIME;
		r->lost += asked && c < 0;
		r->gained += asked && c > 0;
		r->same += asked && c == 0;
		if (c < 0 && (asked || x->f.life))
			tell(a, &lost, x);
		if (c > 0 && asked)
			tell(a, &gained, y);
		if (c == 0 && x->f.life && (y->f.level > x->f.level ||
		    (x->f.cleared == NO_TIME && y->f.cleared != NO_TIME)))
			tell(a, &lowered, y);
		i += c <= 0;
		j += c >= 0;
	}
	d->gained = sorted(a, &gained, &d->n_gained);
	d->lost = sorted(a, &lost, &d->n_lost);
	d->lowered = sorted(a, &lowered, &d->n_lowered);
}

static void
today_values(struct trial *t, const struct fleet *ground)
{
	for (size_t i = 0; i < t->n_set; i++)
		t->set[i].today = setting_fleet(ground, t->set[i].rule, t->set[i].setting->name);
	if (t->sweep)
		t->sweep->today = setting_fleet(ground, t->sweep->rule, t->sweep->setting->name);
}

int
trial_run(struct store *s, struct trial *t, bool progress, struct arena *a, struct err *e)
{
	size_t n_diff = t->sweep ? t->n_value : 1;
	struct trying g = { .t = t, .n_run = n_diff + 1, .progress = progress };
	struct views_work work = { &g, judge, keep, drop };
	struct fleet ground = { 0 };
	struct all today = { 0 };
	int64_t *id;
	int rc;

	if (store_due(s, true, a, &id, &g.n, e) || store_fleet_ground(s, a, &ground, e))
		return -1;
	today_values(t, &ground);
	g.id = id;
	g.account = x_calloc(g.n + 1, sizeof *g.account);
	rc = views_each(s, id, g.n, NO_TIME, &work, e);
	if (progress && g.done >= 1000)
		fputs("\r\033[K", stderr);
	if (rc == 0) {
		t->n_account = g.n;
		t->n_diff = n_diff;
		t->diff = arena_take(a, n_diff * sizeof *t->diff);
		gather(&g, 0, &ground, &today);
	}
	for (size_t i = 0; rc == 0 && i < n_diff; i++) {
		struct all trial = { 0 };

		gather(&g, i + 1, &ground, &trial);
		difference(t, a, &today, &trial, &t->diff[i]);
		t->diff[i].value = t->sweep ? t->value[i] : 0;
		release(&trial);
	}
	release(&today);
	for (size_t i = 0; i < g.n; i++)
		if (g.account[i])
			drop(g.account[i]);
	free(g.account);
	return rc;
}
