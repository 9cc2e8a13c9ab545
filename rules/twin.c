/* Two devices that always go off together: one transmitter learned twice, or wires crossed.
 *
 * Lockstep is a matching of activations one to one, each pair at most `apart` from each
 * other, that leaves over few of either device. People make company but no lockstep: who
 * opens a door is seen by a detector, but it also sees people that open no door.
 *
 * Beside learn-mismatch, which speaks of one serial on two zones where the log or a list says
 * so: such a pair is not told again. Beside chatter: that devices go off in the same
 * seconds is a sign of its causes there; here it is the finding, whether they chatter or
 * not.
 *
 * What is counted lies within `lookback`. The onset is where the lockstep began, however long
 * ago: before it there were `times` activations in a row of which fewer than `share` kept
 * step, or a silence longer than `lookback`. */
#include <stdlib.h>
#include <string.h>

#include "rules/activation.h"
#include "rules/care.h"
#include "rules/held.h"
#include "rules/rule.h"
#include "rules/when.h"

#define USUAL "common practice, no source"

enum { TIMES, SHARE, DAYS };

static const struct setting settings[] = {
	[TIMES] = { "times", 10, 3, 1000, "", USUAL },
	[SHARE] = { "share", 90, 50, 100, "%", USUAL },
	[DAYS] = { "days", 3, 1, 90, "d", USUAL },
	{ "apart", 2, 2, 30, "s", USUAL },
	{ "lookback", 30, 30, 366, "d", USUAL },
	{ NULL, 0, 0, 0, NULL, NULL }
};

/* A device that was in company most of the time. */
struct one {
	int32_t            device;
	const char        *subject;
	struct activations act;
	bool               told;
};

struct pair {
	size_t   n, days;
	int64_t  last, lag;	/* lag: summed, of the second after the first */
};

struct judging {
	struct view     *v;
	struct findings *out;
	struct one      *one;
	size_t           n;
	int64_t          apart, from, lookback;
	struct terms {
		double times, share, days;
	}                terms[2];	/* as set; and where life safety is or may be in it, for
					 * which no setting makes the rule laxer than its default */
};

/* How often a device spoke, and how often another spoke within `apart` of it. */
struct company {
	uint32_t n, near;
	int64_t  last;
	bool     counted;	/* the last one was near another already */
};

/* One look at all events: nearly always nobody is in company so often. The two devices
 * that spoke last are enough, for the newest of all others is among them. */
static size_t
look(const struct judging *j, struct company *all)
{
	const struct view *v = j->v;
	int32_t recent[2] = { -1, -1 };
	size_t n = 0;

	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];
		struct company *me;
		int32_t other;

		if (ev->device < 0 || ev->at < j->from || (ev->marks & MARK_STILL) ||
		    !(word_properties(ev->word) & WP_ACTIVE))
			continue;
		me = &all[ev->device];
		other = recent[0] == ev->device ? recent[1] : recent[0];
		me->n++;
		me->last = ev->at;
		me->counted = other >= 0 && ev->at - all[other].last <= j->apart;
		me->near += me->counted;
		if (me->counted && !all[other].counted) {
			all[other].counted = true;
			all[other].near++;
		}
		if (recent[0] != ev->device) {
			recent[1] = recent[0];
			recent[0] = ev->device;
		}
	}
	for (size_t i = 0; i < v->n_device; i++) {
		/* Reports are more than activations, so this is only a hint. */
		all[i].counted = all[i].n >= j->terms[1].times && 200 * (double)all[i].near >=
		    j->terms[1].share * (double)all[i].n;
		n += all[i].counted;
	}
	return n;
}

/* Without those that are too coarse to be compared; one input each. */
static void
collect(const struct judging *j, int32_t device, int64_t from, struct activations *out)
{
	size_t n = 0;

	activations_of(j->v, device, from, out);
	for (size_t i = 0; i < out->n; i++)
		if (!out->one[i].loose)
			out->one[n++] = out->one[i];
	out->n = n;
}

static int64_t
local_day(const struct view *v, const struct activation *a)
{
	return (a->start + v->event[a->event].offset * SECOND) / DAY;
}

/* Both are in time order: each takes the first that is left and near enough. Gives up when
 * more than `most` of either are left over. With `f`, into its evidence. */
static struct pair
match(const struct judging *j, const struct one *x, const struct one *y, double most,
    struct finding *f)
{
	struct pair p = { .last = NO_TIME };
	int64_t day = NO_TIME;
	size_t i = 0, k = 0;

	while (i < x->act.n && k < y->act.n && (double)(i - p.n) <= most &&
	    (double)(k - p.n) <= most) {
		const struct activation *a = &x->act.one[i], *b = &y->act.one[k];
		int64_t lag = b->start - a->start;

		if (lag > j->apart) {
			i++;
			continue;
		}
		if (-lag > j->apart) {
			k++;
			continue;
		}
		p.last = a->start;
		p.lag += lag;
		p.n++;
		p.days += p.n == 1 || local_day(j->v, a) != day;
		day = local_day(j->v, a);
		if (f) {
			finding_evidence(j->out, f, a->event);
			finding_evidence(j->out, f, b->event);
		}
		i++;
		k++;
	}
	return p;
}

static const struct terms *
terms_of(const struct judging *j, const struct one *x, const struct one *y)
{
	return &j->terms[held_may_be_life(j->v, x->device) || held_may_be_life(j->v, y->device)];
}

/* Where in the whole log the lockstep began: walks back while of each `times` activations in a
 * row half as many as the share kept step, so that a few lost ones do not end it. */
static int64_t
begin_of(const struct judging *j, const struct one *x, const struct one *y)
{
	const struct terms *t = terms_of(j, x, y);
	struct activations a = { 0 }, b = { 0 };
	struct outcome { int64_t at; bool step; } *o;
	size_t times = (size_t)t->times, i, k, n = 0, steps = 0;
	int64_t begin;

	collect(j, x->device, NO_TIME, &a);
	collect(j, y->device, NO_TIME, &b);
	o = x_alloc((a.n + b.n) * sizeof *o);
	for (i = a.n, k = b.n; i || k; n++) {
		bool by_a = i && (!k || a.one[i - 1].start >= b.one[k - 1].start);
		int64_t at = by_a ? a.one[i - 1].start : b.one[k - 1].start;

		o[n].step = i && k && (by_a ? at - b.one[k - 1].start : at - a.one[i - 1].start)
		    <= j->apart;
		o[n].at = o[n].step ? a.one[i - 1].start : at;
		if (n && o[n - 1].at - o[n].at > j->lookback)
			break;
		i -= by_a || o[n].step;
		k -= !by_a || o[n].step;
		steps += o[n].step;
		steps -= n >= times && o[n - times].step;
		if (at < j->from && n + 1 >= times && 200 * (double)steps < t->share * t->times) {
			for (n -= times - 1; o[n].step; n++)
				;
			break;
		}
	}
	while (n && !o[n - 1].step)
		n--;
	begin = n ? o[n - 1].at : j->v->now;
	free(o);
	activations_release(&a);
	activations_release(&b);
	return begin;
}

static bool
is_lockstep(const struct judging *j, const struct one *x, const struct one *y, struct pair *p)
{
	const struct terms *t = terms_of(j, x, y);
	double more = (double)(x->act.n > y->act.n ? x->act.n : y->act.n);

	*p = match(j, x, y, more * (100 - t->share) / 100, NULL);
	return (double)p->n >= t->times && 100 * (double)p->n >= t->share * more &&
	    (double)p->days >= t->days;
}

/* `x` stands for all that keep step with it. */
static void
report(struct judging *j, struct one *x, const struct pair *p)
{
	struct view *v = j->v;
	struct findings *out = j->out;
	struct arena *a = &out->arena;
	struct finding *f = finding_add(out, v, &rule_twin, x->device, x->subject);
	const char *with = "";
	size_t twins = 0;

	f->level = LEVEL_SOON;
	f->onset = p->last;
	f->last = p->last;
	f->count = (long)p->n;
	for (size_t i = 0; i < j->n; i++) {
		struct one *y = &j->one[i];
		struct pair other;
		int64_t begin;

		if (y == x || y->told || !is_lockstep(j, x, y, &other))
			continue;
		y->told = true;
		begin = begin_of(j, x, y);
		f->onset = begin < f->onset ? begin : f->onset;
		with = arena_fmt(a, "%s%s%s", with, *with ? " and " : "", device_label(v, y->device));
		finding_member(out, f, y->subject);
		f->life |= v->device[y->device].life;
		if (v->device[y->device].maybe_life)
			finding_caution(out, f, CARE_MAYBE_LIFE);
		if (twins++ == 0)
			match(j, x, y, (double)x->act.n, f);
	}
	finding_summary(out, f, "%s goes off in step with %s: %zu of %zu times within %g s, on "
	    "%zu days.",
	    device_label(v, x->device), with, p->n, x->act.n, (double)j->apart / SECOND, p->days);
	finding_measure(out, f, "times", (double)p->n, "");
	finding_measure(out, f, "share", 100 * (double)p->n / (double)x->act.n, "%");
	finding_measure(out, f, "days", (double)p->days, "d");
	finding_measure(out, f, "lag", (double)p->lag / SECOND / (double)p->n, "s");
	finding_measure(out, f, "twins", (double)twins, "");
	if (f->life)
		finding_check(out, f, "Detectors that sound together by design do this; leave "
		    "them so, and have a qualified person confirm that each reports as its own");
	if (twins > 1)
		finding_check(out, f, "Several at once: what they share (module, loop, supply, "
		    "receiver) first");
	finding_check(out, f, "Set off one of them alone, with the account on test: which zones "
	    "report?");
	finding_check(out, f, "Serials learned on both zones against the stickers: one "
	    "transmitter learned twice leaves the other place unwatched");
	finding_check(out, f, "Two wired inputs of one transmitter, or a loop that runs through "
	    "both");
	finding_check(out, f, "Two leaves of one door, or two contacts on one frame: then it is "
	    "as it should be");
	finding_caution(out, f, CARE_SITE_TEST);
}

static int
by_subject(const void *a, const void *b)
{
	const struct one *x = a, *y = b;
	int c = strcmp(x->subject, y->subject);

	return c ? c : (x->device > y->device) - (x->device < y->device);
}

/* In the order of their subjects, so that the same one stands for the others each night. */
static void
judge_company(struct judging *j, const struct company *all)
{
	struct view *v = j->v;

	for (size_t i = 0; i < v->n_device; i++) {
		if (!all[i].counted)
			continue;
		j->one[j->n].device = (int32_t)i;
		j->one[j->n].subject = finding_subject(&j->out->arena, v, (int32_t)i);
		collect(j, (int32_t)i, j->from, &j->one[j->n++].act);
	}
	qsort(j->one, j->n, sizeof *j->one, by_subject);
	for (size_t i = 0; i < j->n; i++) {
		for (size_t k = i + 1; k < j->n && !j->one[i].told; k++) {
			struct pair p;

			if (j->one[k].told || !is_lockstep(j, &j->one[i], &j->one[k], &p))
				continue;
			j->one[i].told = true;
			report(j, &j->one[i], &p);
		}
	}
	for (size_t i = 0; i < j->n; i++)
		activations_release(&j->one[i].act);
}

static void
never_laxer(struct terms *t)
{
	t->times = t->times > settings[TIMES].value ? settings[TIMES].value : t->times;
	t->share = t->share > settings[SHARE].value ? settings[SHARE].value : t->share;
	t->days = t->days > settings[DAYS].value ? settings[DAYS].value : t->days;
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *r = &rule_twin;
	struct judging j = { .v = v, .out = out };
	struct company *all = arena_take(&v->arena, v->n_device * sizeof *all);

	j.apart = setting_ms(v, r, "apart", -1);
	j.lookback = setting_ms(v, r, "lookback", -1);
	j.from = v->now - j.lookback;
	j.terms[0] = j.terms[1] = (struct terms){ setting_value(v, r, "times", -1),
		setting_value(v, r, "share", -1), setting_value(v, r, "days", -1) };
	never_laxer(&j.terms[1]);
	j.one = arena_take(&v->arena, look(&j, all) * sizeof *j.one);
	judge_company(&j, all);
}

const struct rule rule_twin = {
	.id = "twin",
	.title = "Two devices that always go off together",
	.why = "One transmitter learned on two zones, or wires crossed: the list shows two "
	    "places watched, and one of them is not.",
	.quiet_on = "Company that is not lockstep (a door and the detector that sees who opens "
	    "it); few times, or all within a day or two; one transmitter with several inputs; "
	    "one serial on two zones (learn-mismatch speaks of it); times in whole minutes.",
	.limits = "Detectors that sound together by design, and two leaves that are always "
	    "opened together, look the same.",
	.setting = settings,
	.judge = judge,
};
