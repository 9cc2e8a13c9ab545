#include "rules/rule.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "rules/care.h"

const struct rule *const rule_table[] = {
#define X(name) &rule_##name,
#include "rules/list.h"
#undef X
};
const size_t rule_count = sizeof rule_table / sizeof *rule_table;

const char *
level_text(enum level l)
{
	static const char *const text[LEVEL_COUNT] = { "now", "soon", "later" };

	return text[l];
}

const struct rule *
rule_find(const char *id)
{
	for (size_t i = 0; i < rule_count; i++)
		if (strcmp(rule_table[i]->id, id) == 0)
			return rule_table[i];
	return NULL;
}

/* ---- settings -------------------------------------------------------------- */

static const struct setting *
setting_of(const struct rule *r, const char *name)
{
	const struct setting *s = r->setting;

	while (s->name && strcmp(s->name, name) != 0)
		s++;
	assert(s->name);
	return s;
}

/* Overrides are checked where they are read; a value outside the limits would be our
 * own fault, and the limits hold all the same. */
static double
in_force(const struct rule *r, const struct setting *s, const struct override *o, size_t n,
    enum kind kind)
{
	double value = s->value;

	for (size_t i = 0; i < n; i++)
		if ((o[i].kind == KIND_UNKNOWN || o[i].kind == kind) &&
		    strcmp(o[i].rule, r->id) == 0 && strcmp(o[i].setting, s->name) == 0)
			value = o[i].value;
	return value < s->min ? s->min : value > s->max ? s->max : value;
}

double
setting_value(const struct view *v, const struct rule *r, const char *name, int32_t device)
{
	return in_force(r, setting_of(r, name), v->override, v->n_override,
	    device < 0 ? KIND_UNKNOWN : v->device[device].kind);
}

int64_t
setting_ms(const struct view *v, const struct rule *r, const char *name, int32_t device)
{
	int64_t unit = setting_unit_ms(setting_of(r, name));

	assert(unit);
	return (int64_t)(setting_value(v, r, name, device) * (double)unit + 0.5);
}

double
setting_fleet(const struct fleet *f, const struct rule *r, const char *name)
{
	return in_force(r, setting_of(r, name), f->override, f->n_override, KIND_UNKNOWN);
}

int64_t
setting_unit_ms(const struct setting *s)
{
	static const struct {
		const char *unit;
		int64_t     ms;
	} units[] = { { "s", SECOND }, { "min", MINUTE }, { "h", HOUR }, { "d", DAY } };

	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (strcmp(units[i].unit, s->unit) == 0)
			return units[i].ms;
	return 0;
}

/* Common practice, no source. */
#define REJOIN (30 * DAY)

int64_t
rule_rejoin(const struct rule *r)
{
	for (const struct setting *s = r->setting; s->name; s++)
		if (strcmp(s->name, "rejoin") == 0 || strcmp(s->name, "join") == 0)
			return (int64_t)(s->value * (double)setting_unit_ms(s));
	return REJOIN;
}

/* ---- findings -------------------------------------------------------------- */

/* Room for one more item in an array that lives in the arena. */
static void *
grown(struct arena *a, void *old, size_t n, size_t *cap, size_t item)
{
	void *p;

	if (n < *cap)
		return old;
	*cap = *cap ? *cap * 2 : 8;
	p = arena_take(a, *cap * item);
	if (n)
		memcpy(p, old, n * item);
	return p;
}

/* A zone number that several partitions use needs its partition. */
const char *
finding_subject(struct arena *a, const struct view *v, int32_t device)
{
	const struct device *d;
	bool several;

	if (device < 0)
		return "site";
	d = &v->device[device];
	if (*d->serial_key)
		return arena_fmt(a, "serial:%s", d->serial_key);
	several = *d->partition && view_device_find(v, d->zone, "", NO_TIME) != device;
	return several ? arena_fmt(a, "zone:%s/%s", d->partition, d->zone_key) :
	    arena_fmt(a, "zone:%s", d->zone_key);
}

struct finding *
finding_add(struct findings *out, struct view *v, const struct rule *r, int32_t device,
    const char *subject)
{
	struct finding *f = arena_take(&out->arena, sizeof *f);

	out->finding = x_grow(out->finding, &out->cap, out->n + 1, sizeof *out->finding);
	out->finding[out->n++] = f;
	f->rule = r;
	f->device = device;
	f->subject = subject ? subject : finding_subject(&out->arena, v, device);
	f->level = LEVEL_LATER;
	f->onset = f->last = f->cleared = NO_TIME;
	f->summary = "";
	return f;
}

static struct measure *
measure_add(struct findings *out, struct finding *f, const char *name)
{
	f->measure = grown(&out->arena, f->measure, f->n_measure, &f->cap_measure,
	    sizeof *f->measure);
	f->measure[f->n_measure] = (struct measure){ .name = name, .unit = "" };
	return &f->measure[f->n_measure++];
}

void
finding_measure(struct findings *out, struct finding *f, const char *name, double value,
    const char *unit)
{
	struct measure *m = measure_add(out, f, name);

	m->value = value;
	m->unit = unit;
}

void
finding_measure_text(struct findings *out, struct finding *f, const char *name, const char *text)
{
	measure_add(out, f, name)->text = text;
}

void
finding_evidence(struct findings *out, struct finding *f, uint32_t event)
{
	f->evidence = grown(&out->arena, f->evidence, f->n_evidence, &f->cap_evidence,
	    sizeof *f->evidence);
	f->evidence[f->n_evidence++] = event;
}

/* Adds a text once. */
static void
text_add(struct findings *out, const char ***list, size_t *n, size_t *cap, const char *text)
{
	for (size_t i = 0; i < *n; i++)
		if (strcmp((*list)[i], text) == 0)
			return;
	*list = grown(&out->arena, *list, *n, cap, sizeof **list);
	(*list)[(*n)++] = text;
}

void
finding_check(struct findings *out, struct finding *f, const char *text)
{
	text_add(out, &f->check, &f->n_check, &f->cap_check, text);
}

void
finding_caution(struct findings *out, struct finding *f, const char *text)
{
	text_add(out, &f->caution, &f->n_caution, &f->cap_caution, text);
}

void
finding_member(struct findings *out, struct finding *f, const char *subject)
{
	text_add(out, &f->member, &f->n_member, &f->cap_member, subject);
}

void
finding_summary(struct findings *out, struct finding *f, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	f->summary = arena_vfmt(&out->arena, fmt, ap);
	va_end(ap);
}

const char *
rule_span_text(struct arena *a, int64_t ms)
{
	int64_t s = ms / SECOND, big, small;
	const char *unit, *below;

	if (s < 2 * 60)
		return arena_fmt(a, "%d s", (int)s);
	if (s < 2 * 3600)
		return arena_fmt(a, "%d min", (int)(s / 60));
	big = s < 2 * 86400 ? s / 3600 : s / 86400;
	small = s < 2 * 86400 ? s % 3600 / 60 : s % 86400 / 3600;
	unit = s < 2 * 86400 ? "h" : "d";
	below = s < 2 * 86400 ? "min" : "h";
	return small ? arena_fmt(a, "%lld %s %lld %s", (long long)big, unit, (long long)small, below) :
	    arena_fmt(a, "%lld %s", (long long)big, unit);
}

void
summary_add(struct findings *out, const char *key, int64_t at, double a, double b)
{
	out->summary = x_grow(out->summary, &out->cap_summary, out->n_summary + 1,
	    sizeof *out->summary);
	out->summary[out->n_summary++] = (struct summary){ .key = key, .at = at, .a = a, .b = b };
}

void
findings_release(struct findings *out)
{
	free(out->finding);
	free(out->summary);
	arena_release(&out->arena);
	*out = (struct findings){ 0 };
}

void
rule_fleet(const struct rule *r, struct fleet *f, struct findings *out)
{
	const struct summary *all = f->summary;
	size_t n_all = f->n_summary;
	struct summary *own = x_alloc((n_all + 1) * sizeof *own);

	f->n_summary = 0;
	for (size_t i = 0; i < n_all; i++)
		if (strcmp(all[i].rule, r->id) == 0)
			own[f->n_summary++] = all[i];
	f->summary = own;
	r->fleet(f, out);
	f->summary = all;
	f->n_summary = n_all;
	free(own);
	for (size_t i = 0; i < f->n_candidate; i++) {
		const struct candidate *c = &f->candidate[i];

		if (!c->fires)
			continue;
		f->fired = x_grow(f->fired, &f->cap_fired, f->n_fired + 1, sizeof *f->fired);
		f->fired[f->n_fired++] = (struct fired){ r->id, c->account, c->subject };
	}
}

/* ---- what holds for all findings -------------------------------------------- */

static int
by_number(const void *a, const void *b)
{
	uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;

	return x < y ? -1 : x > y;
}

/* In time order, each once. Most rules add them so; then this is one look. */
static void
order_evidence(struct finding *f)
{
	size_t sorted = 1, n = 1;

	while (sorted < f->n_evidence && f->evidence[sorted] > f->evidence[sorted - 1])
		sorted++;
	if (sorted >= f->n_evidence)
		return;
	qsort(f->evidence, f->n_evidence, sizeof *f->evidence, by_number);
	for (size_t i = 1; i < f->n_evidence; i++)
		if (f->evidence[i] != f->evidence[n - 1])
			f->evidence[n++] = f->evidence[i];
	f->n_evidence = n;
}

/* Times at which the proof was harmed, ascending. */
struct moments {
	int64_t *at;
	size_t   n, cap;
};

static void
moment_add(struct moments *m, int64_t at)
{
	m->at = x_grow(m->at, &m->cap, m->n + 1, sizeof *m->at);
	m->at[m->n++] = at;
}

static bool
moment_within(const struct moments *m, int64_t from, int64_t to)
{
	size_t lo = 0, hi = m->n;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (m->at[mid] < from)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo < m->n && m->at[lo] <= to;
}

static bool
concerns_gas(const struct view *v, const struct finding *f)
{
	if (f->device >= 0 && (v->device[f->device].kind == KIND_CO ||
	    v->device[f->device].kind == KIND_GAS))
		return true;
	for (size_t i = 0; i < f->n_evidence; i++) {
		enum word w = v->event[f->evidence[i]].word;

		if (w == W_CO_ALARM || w == W_GAS_ALARM)
			return true;
	}
	return false;
}

static void
complete(struct view *v, struct findings *out, struct finding *f, const struct moments *clock,
    const struct moments *lost)
{
	const struct device *d = f->device < 0 ? NULL : &v->device[f->device];
	int64_t end = f->cleared != NO_TIME ? f->cleared : v->now;

	if (!f->account)
		f->account = v->account;
	if (!f->zone)
		f->zone = d ? d->zone : "";
	if (!f->serial)
		f->serial = d ? d->serial : "";
	if (!f->device_text)
		f->device_text = d ? device_label(v, f->device) : "";
	f->life |= d && d->life;
	order_evidence(f);
	if (f->life)
		finding_caution(out, f, CARE_LIFE);
	if (f->life && concerns_gas(v, f))
		finding_caution(out, f, CARE_CO);
	if (d && d->maybe_life) {
		finding_caution(out, f, CARE_MAYBE_LIFE);
		if (f->level > LEVEL_SOON)
			f->level = LEVEL_SOON;
	}
	if (end < f->last)
		end = f->last;
	if (moment_within(lost, f->onset, end))
		finding_caution(out, f, CARE_LOG_LOST);
	if (moment_within(clock, f->onset, end))
		finding_caution(out, f, CARE_CLOCK);
	if (!view_covered(v, f->onset, end < v->now ? end : v->now))
		finding_caution(out, f, CARE_GAP);
}

/* By urgency, then so that it never changes by chance. */
static int
finding_order(const void *pa, const void *pb)
{
	const struct finding *a = *(struct finding *const *)pa;
	const struct finding *b = *(struct finding *const *)pb;
	int c;

	if (a->level != b->level)
		return a->level < b->level ? -1 : 1;
	if (a->life != b->life)
		return a->life ? -1 : 1;
	if (a->count != b->count)
		return a->count > b->count ? -1 : 1;
	if ((c = strcmp(a->rule->id, b->rule->id)) != 0 || (c = strcmp(a->subject, b->subject)) != 0)
		return c;
	if (a->onset != b->onset)
		return a->onset < b->onset ? -1 : 1;
	return strcmp(a->summary, b->summary);
}

void
rules_complete(struct view *v, struct findings *out, size_t first)
{
	struct moments clock = { 0 }, lost = { 0 };

	if (out->n == first)
		return;
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->word == W_LOG_CLEARED || ev->word == W_LOG_OVERFLOW)
			moment_add(&lost, ev->at);
		if (ev->word == W_CLOCK_SET || (ev->marks & MARK_RESET))
			moment_add(&clock, ev->at);
	}
	for (size_t i = first; i < out->n; i++)
		complete(v, out, out->finding[i], &clock, &lost);
	qsort(out->finding + first, out->n - first, sizeof *out->finding, finding_order);
	free(clock.at);
	free(lost.at);
}

static void
judge_all(struct view *v, const char *only, struct findings *out)
{
	for (size_t i = 0; i < rule_count; i++) {
		size_t noted = out->n_summary;

		if (rule_table[i]->judge && (!only || strcmp(only, rule_table[i]->id) == 0))
			rule_table[i]->judge(v, out);
		for (; noted < out->n_summary; noted++)
			out->summary[noted].rule = rule_table[i]->id;
	}
}

/* ---- no setting hides life safety -------------------------------------------- */

static bool
may_be_life(const struct view *v, const struct finding *f)
{
	return f->life || (f->device >= 0 &&
	    (v->device[f->device].life || v->device[f->device].maybe_life));
}

static bool
same_case(const struct finding *a, const struct finding *b)
{
	return a->rule == b->rule && strcmp(a->subject, b->subject) == 0;
}

/* Does `set` say of the case what `usual` says, or more? Of a candidate the fleet pass will
 * judge the numbers, so those by the usual settings stand. */
static bool
says_as_much(const struct finding *set, const struct finding *usual)
{
	return same_case(set, usual) && set->level <= usual->level && !set->pending &&
	    !usual->pending && (set->cleared == NO_TIME || usual->cleared != NO_TIME);
}

/* Where overrides are in force, all is judged by the defaults as well: what these say of life
 * safety stands where the overrides say nothing, or less. */
static void
keep_life_safety(struct view *v, const char *only, struct findings *out, size_t first)
{
	size_t n_override = v->n_override, set = out->n, noted = out->n_summary, n = first;
	bool *drop;

	v->n_override = 0;
	judge_all(v, only, out);
	v->n_override = n_override;
	out->n_summary = noted;
	drop = x_calloc(out->n + 1, sizeof *drop);
	for (size_t i = set; i < out->n; i++) {
		const struct finding *usual = out->finding[i];

		drop[i] = !may_be_life(v, usual);
		for (size_t k = first; k < set && !drop[i]; k++)
			drop[i] = says_as_much(out->finding[k], usual);
		for (size_t k = first; k < set && !drop[i]; k++)
			drop[k] |= same_case(out->finding[k], usual);
	}
	for (size_t i = first; i < out->n; i++) {
		if (drop[i])
			continue;
		if (i >= set && !out->finding[i]->pending)
			finding_caution(out, out->finding[i], CARE_DEFAULTS);
		out->finding[n++] = out->finding[i];
	}
	out->n = n;
	free(drop);
}

void
rules_judge(struct view *v, const char *only, struct findings *out)
{
	size_t first = out->n;

	/* Neither an event nor cover: rules may take it that there is a now. */
	if (v->now == NO_TIME)
		return;
	judge_all(v, only, out);
	if (v->n_override)
		keep_life_safety(v, only, out, first);
	rules_complete(v, out, first);
}
