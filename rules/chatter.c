/* A device that goes off again and again within a minute: noise that hides the rest. */
#include "rules/chatter.h"

#include <stdlib.h>

#include "rules/bursts.h"
#include "rules/causes.h"
#include "rules/checks.h"
#include "rules/rule.h"

static const struct setting settings[] = {
	{ "activations", 3, 2, 100, "", "usual rule in alarm-management texts (3 in 1 min)" },
	{ "window", 60, 5, 3600, "s", "usual rule in alarm-management texts (3 in 1 min)" },
	{ "gap", 60, 5, 3600, "s", "common practice, no source" },
	{ "bursts", 2, 1, 100, "", "common practice, no source" },
	{ "large", 10, 2, 1000, "", "common practice, no source" },
	{ "lookback", 30, 1, 366, "d", "common practice, no source" },
	{ "test", 4, 1, 4, "h", "common practice, no source" },
	{ "session", 4, 1, 12, "h", "common practice, no source" },
	{ "short_dwell", 2, 0, 60, "s", "common practice, no source" },
	{ "together", 2, 0, 60, "s", "common practice, no source" },
	{ "hours_share", 60, 1, 100, "%", "common practice, no source" },
	{ "weekday_share", 60, 1, 100, "%", "common practice, no source" },
	{ "shape_days", 5, 2, 100, "d", "common practice, no source" },
	{ "shape_share", 70, 1, 100, "%", "common practice, no source" },
	{ "battery_near", 14, 1, 90, "d", "common practice, no source" },
	{ "work_near", 14, 1, 90, "d", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

struct judging {
	struct view     *v;
	struct findings *out;
	struct arena    *arena;		/* for `arming` */
	struct arming    arming;	/* made when the first device may have bursts */
	struct bursts    bursts;
	int64_t          lookback;
	int64_t          onset;		/* of the case that fires */
	size_t           total;		/* activations of the account; SIZE_MAX = not counted yet */
};

static struct burst_limits
limits_of(const struct view *v, int32_t device)
{
	const struct rule *r = &rule_chatter;

	return (struct burst_limits){
		.activations = (size_t)setting_value(v, r, "activations", device),
		.window = setting_ms(v, r, "window", device),
		.gap = setting_ms(v, r, "gap", device),
	};
}

static size_t
all_activations(struct judging *j)
{
	struct activations list = { 0 };

	if (j->total != SIZE_MAX)
		return j->total;
	j->total = 0;
	for (size_t i = 0; i < j->v->n_device; i++) {
		activations_of(j->v, (int32_t)i, j->bursts.from, &list);
		j->total += list.n;
	}
	activations_release(&list);
	return j->total;
}

/* Span, count and evidence. Returns the largest burst; NULL if there are only reports of
 * the panel. */
static const struct burst *
gather(struct judging *j, struct finding *f)
{
	const struct bursts *s = &j->bursts;
	const struct burst *largest = NULL;

	f->onset = j->onset;
	for (size_t b = 0; b < s->n_burst; b++) {
		const struct burst *u = &s->burst[b];

		f->last = u->to > f->last ? u->to : f->last;
		f->count += (long)u->n;
		if (u->hi > u->lo && (!largest || u->n > largest->n))
			largest = u;
		for (size_t i = u->lo; i < u->hi; i++)
			finding_evidence(j->out, f, s->act.one[s->used[i]].event);
	}
	for (size_t i = 0; i < s->n_swinger; i++) {
		int64_t at = j->v->event[s->swinger[i]].at;

		f->last = at > f->last ? at : f->last;
		finding_evidence(j->out, f, s->swinger[i]);
	}
	return largest;
}

/* What to check, likeliest cause first; returns that cause, -1 if there is no sign. */
static int
check(struct judging *j, struct finding *f, double dwell, double share, int from)
{
	struct arena *a = &j->out->arena;
	struct sign sign[CAUSE_COUNT] = { { 0, NULL } };
	enum kind k = j->v->device[f->device].kind;
	int top = -1;

	causes_find(&j->bursts, f->device, dwell, share, from, a, sign);
	if (k == KIND_UNKNOWN)
		checks_trips(j->out, f, k);
	for (int points = CAUSE_POINTS; points > 0; points--) {
		for (int c = 0; c < CAUSE_COUNT; c++) {
			if (sign[c].points != points)
				continue;
			top = top < 0 ? c : top;
			finding_check(j->out, f, arena_fmt(a, "%s. Sign: %s.", causes_check[c],
			    sign[c].text));
		}
	}
	checks_trips(j->out, f, k);
	return top;
}

/* A negative number stands for one that is not defined. */
static void
measure(struct findings *out, struct finding *f, const char *name, double value,
    const char *unit)
{
	if (value < 0)
		finding_measure_text(out, f, name, "n/a");
	else
		finding_measure(out, f, name, value, unit);
}

/* Was it known whether people were there? */
static const char *
arming_text(const struct bursts *s, struct arena *a)
{
	size_t known = 0, n = s->n_used + s->unknown;

	for (size_t i = 0; i < s->n_used; i++)
		known += s->arming->of[s->act.one[s->used[i]].event].state != ARM_UNKNOWN;
	return n == 0 ? "n/a" : known == n ? "known" : known == 0 ? "unknown" :
	    arena_fmt(a, "partly known (%zu of %zu)", known, n);
}

static void
report(struct judging *j, int32_t device)
{
	struct findings *out = j->out;
	struct arena *a = &out->arena;
	struct bursts *s = &j->bursts;
	struct finding *f = finding_add(out, j->v, &rule_chatter, device, NULL);
	const struct burst *largest = gather(j, f);
	double dwell = bursts_dwell(s), all = (double)all_activations(j);
	int from, top;
	double share = bursts_hours(s, &from);
	int64_t hidden = bursts_hidden(s, device);
	const char *shut = arena_fmt(a, "shut out by the panel %zu %s", s->n_swinger,
	    s->n_swinger == 1 ? "time" : "times");
	const char *hides = arena_fmt(a, ", which hides what it did for %s", rule_span_text(a, hidden));

	f->level = LEVEL_SOON;
	top = check(j, f, dwell, share, from);
	measure(out, f, "bursts", (double)s->n_burst, "");
	measure(out, f, "largest", largest ? (double)largest->n : 0, "");
	measure(out, f, "chatter_index", bursts_index(s), "1/s");
	measure(out, f, "median_dwell", dwell, "s");
	measure(out, f, "activations", (double)s->n_used, "");
	measure(out, f, "share", all > 0 ? 100 * (double)s->act.n / all : -1, "%");
	measure(out, f, "hours_share", s->n_used ? share : -1, "%");
	finding_measure_text(out, f, "hours", s->n_used ?
	    arena_fmt(a, "%02d-%02d", from, (from + 3) % 24) : "n/a");
	measure(out, f, "shut_out", (double)s->n_swinger, "");
	if (s->n_swinger)
		measure(out, f, "hidden", (double)hidden / HOUR, "h");
	finding_measure_text(out, f, "arming", arming_text(s, a));
	if (s->unknown) {
		measure(out, f, "arming_unknown", (double)s->unknown, "");
		finding_caution(out, f, "Some activations came while the log does not tell whether all "
		    "were out: they were left out.");
	}
	if (s->coarse) {
		measure(out, f, "left_out", (double)s->coarse, "");
		finding_caution(out, f, "Some activations are stamped too coarsely (to the minute, or "
		    "while the panel emptied its buffer) to tell a burst: they were left out.");
	}
	if (largest)
		finding_summary(out, f, "%s: %ld activations in %zu %s within %s, the largest %zu in "
		    "%s%s%s%s; %s%s.", device_label(j->v, device), f->count, s->n_burst,
		    s->n_burst == 1 ? "burst" : "bursts", rule_span_text(a, j->lookback),
		    largest->n, rule_span_text(a, largest->to - largest->from),
		    s->n_swinger ? "; " : "", s->n_swinger ? shut : "", s->n_swinger ? hides : "",
		    top < 0 ? "the log shows no sign of the cause" : "first to look at: ",
		    top < 0 ? "" : causes_name[top]);
	else
		finding_summary(out, f, "%s: %s within %s for going off again and again%s.",
		    device_label(j->v, device), shut, rule_span_text(a, j->lookback), hides);
}

/* People press a button again and again; stuck, it goes on. */
static bool
is_button(enum kind k)
{
	return k == KIND_KEYFOB || k == KIND_KEYPAD;
}

/* `bursts` of them that began within `lookback`, or a large one, are a run, which stands for
 * `lookback` after the last of them began. *onset is the begin of the first of the runs that
 * each began while the one before stood: so it neither comes and goes with the oldest burst,
 * nor moves from night to night. False if none stands. */
static bool
stands(const struct judging *j, const struct bursts *s, int32_t device, int64_t *onset)
{
	const struct view *v = j->v;
	size_t need = (size_t)setting_value(v, &rule_chatter, "bursts", device);
	size_t large = (size_t)setting_value(v, &rule_chatter, "large", device), n = 0;
	bool button = is_button(v->device[device].kind), found = false;
	size_t *one = x_alloc((s->n_burst + 1) * sizeof *one);	/* bursts that count */
	int64_t until = v->now;

	for (size_t b = 0; b < s->n_burst; b++) {
		const struct burst *u = &s->burst[b];

		if (!button || u->lo == u->hi || u->hi - u->lo >= large)
			one[n++] = b;
	}
	for (size_t i = n; i > 0; i--) {
		const struct burst *u = &s->burst[one[i - 1]];
		int64_t from = u->from;

		if (until - u->from > j->lookback)
			break;
		if (u->hi - u->lo < large && (i < need ||
		    u->from - (from = s->burst[one[i - need]].from) > j->lookback))
			continue;
		*onset = found && *onset < from ? *onset : from;
		found = true;
		until = u->from;
	}
	free(one);
	return found;
}

/* With the bursts of the lookback in j->bursts, and the begin in j->onset. */
static bool
fires(struct judging *j, int32_t device)
{
	const struct rule *r = &rule_chatter;
	struct bursts *s = &j->bursts, all = { .v = j->v, .limits = s->limits, .from = NO_TIME };
	struct view *v = j->v;
	bool yes;

	if (v->device[device].life || !bursts_possible(s, device))
		return false;
	if (!s->arming) {
		arming_of(v, j->arena, setting_ms(v, r, "test", -1),
		    setting_ms(v, r, "session", -1), &j->arming);
		s->arming = &j->arming;
	}
	bursts_find(s, device);
	if (!s->n_burst)
		return false;
	all.arming = s->arming;
	yes = bursts_possible(&all, device);
	if (yes) {
		bursts_find(&all, device);
		yes = stands(j, &all, device, &j->onset);
	}
	bursts_release(&all);
	return yes;
}

static void
begin(struct judging *j, struct view *v)
{
	j->v = v;
	j->bursts.v = v;
	j->total = SIZE_MAX;
	j->lookback = setting_ms(v, &rule_chatter, "lookback", -1);
	j->bursts.from = v->now - j->lookback;
}

bool
chatter_tells(struct view *v, int32_t device)
{
	struct arena scratch = { 0 };
	struct judging j = { .arena = &scratch };
	bool yes;

	begin(&j, v);
	j.bursts.limits = limits_of(v, device);
	yes = fires(&j, device);
	bursts_release(&j.bursts);
	arena_release(&scratch);
	return yes;
}

static void
judge(struct view *v, struct findings *out)
{
	struct judging j = { .out = out, .arena = &out->arena };
	bool by_kind = false;

	for (size_t i = 0; i < v->n_override; i++)
		by_kind |= v->override[i].kind != KIND_UNKNOWN;
	begin(&j, v);
	j.bursts.limits = limits_of(v, -1);
	for (size_t i = 0; i < v->n_device; i++) {
		if (by_kind)
			j.bursts.limits = limits_of(v, (int32_t)i);
		if (fires(&j, (int32_t)i))
			report(&j, (int32_t)i);
	}
	bursts_release(&j.bursts);
}

const struct rule rule_chatter = {
	.id = "chatter",
	.title = "Device that goes off again and again",
	.why = "A few devices make most of the noise, and noise hides what matters. Three times "
	    "within a minute, again and again, is a fault more often than people.",
	.quiet_on = "Life-safety points (their coming and going is life-alarm's), motion detectors "
	    "(and devices of unknown kind that only ever trip and clear, as these do) "
	    "except while armed away, walk tests, accounts on test, learn sessions, radio repeats of "
	    "one activation, a single small burst, buttons of keyfobs and keypads pressed less than "
	    "`large` times in a row.",
	.limits = "Stamps to the minute, and those of a buffer being emptied, are too coarse to tell "
	    "a burst and are left out. A panel that shuts a device out after a few trips hides the "
	    "rest, so low counts do not prove a sound device. The cause is a guess from signs.",
	.setting = settings,
	.judge = judge,
};
