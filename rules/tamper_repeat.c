/* tamper_repeat.c - a housing that opens again and again.
 *
 * A tamper that still holds and is old enough is trouble-left's: then this rule is silent,
 * except on life safety, which is never folded away. Occasions with work beside them
 * (a learn session, a test, a changed cell, a service row) are explained and do not count,
 * again except on life safety.
 */
#include <string.h>

#include "rules/arming.h"
#include "rules/care.h"
#include "rules/held.h"
#include "rules/repeats.h"
#include "rules/when.h"

extern const struct rule rule_tamper_repeat;

static const struct setting settings[] = {
	{ "tampers", 3, 2, 100, "", "common practice, no source" },
	{ "within", 7, 7, 90, "d", "common practice, no source" },
	{ "same", 30, 1, 1440, "min", "common practice, no source" },
	{ "work", 30, 0, 1440, "min", "common practice, no source" },
	{ "left", 24, 1, 720, "h", "common practice, no source; as trouble-left" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

struct judging {
	struct held   h;
	struct arming arming;
};

static bool
is_work(const struct judging *j, uint32_t index, int64_t work)
{
	const struct view *v = j->h.v;
	const struct event *ev = &v->event[index];
	const struct device *d = ev->device < 0 ? NULL : &v->device[ev->device];
	const struct arming_of *of = &j->arming.of[index];

	/* How near a service row has to be is our own setting. */
	if (of->test || (of->session && !of->service))
		return true;
	for (size_t i = 0; d && i < d->n_event; i++) {
		const struct event *at = &v->event[d->event[i]];

		if (at->word == W_CELL_REPLACED && at->at >= ev->at - work && at->at <= ev->at + work)
			return true;
	}
	for (size_t i = 0; i < v->n_service; i++) {
		const struct service_row *s = &v->service[i];
		bool named = *s->zone || *s->serial;

		if (s->at >= ev->at - work && s->at <= ev->at + work && (!named || (d &&
		    view_device_find(v, s->zone, s->serial, s->at) == ev->device)))
			return true;
	}
	return false;
}

static void
report(struct judging *j, const struct repeats *r, size_t first, size_t past, int32_t device)
{
	struct view *v = j->h.v;
	struct findings *out = j->h.out;
	struct arena *a = &out->arena;
	struct finding *f = finding_add(out, v, &rule_tamper_repeat, device,
	    device < 0 ? "panel:tamper" : NULL);

	f->level = LEVEL_SOON;
	f->onset = v->event[r->event[first]].at;
	f->last = v->event[r->event[past - 1]].at;
	f->count = (long)(past - first);
	for (size_t i = first; i < past; i++)
		finding_evidence(out, f, r->event[i]);
	finding_summary(out, f, "%s: %ld tampers in %s, the last at %s.", device_label(v, device),
	    f->count, rule_span_text(a, f->last - f->onset), when_local(v, a, f->last));
	finding_check(out, f, "Ask who was at it at these times: children, cleaners, somebody who "
	    "wants it out of the way?");
	finding_check(out, f, "Housing: closed, on its base, tamper spring seated, wall flat and "
	    "firm, does a door that slams shake it?");
	if (device >= 0 && v->device[device].wireless)
		finding_check(out, f, "Cell: voltage under load; a weak cell can look like a "
		    "tamper.");
	finding_check(out, f, "After the work: tested in its place, and two quiet weeks in the "
	    "log.");
	finding_caution(out, f, CARE_SITE_TEST);
}

/* `event` has `n` indices in time order; device -1 takes those of the panel. */
static void
judge_one(struct judging *j, int32_t device, const uint32_t *event, size_t n)
{
	const struct held *h = &j->h;
	const struct view *v = h->v;
	const struct rule *rule = h->rule;
	const struct device *d = device < 0 ? NULL : &v->device[device];
	size_t least = (size_t)held_limit(h, "tampers", device), first, past;
	int64_t same = held_limit_ms(h, "same", device);
	int64_t work = setting_ms(v, rule, "work", device);
	struct repeats r = { .last = NO_TIME };
	bool open = false, returns = false;

	for (size_t i = 0; i < n; i++)
		returns |= h->state->meant[event[i]] == W_TAMPER_RESTORE;
	for (size_t i = 0; i < n; i++) {
		const struct event *ev = &v->event[event[i]];

		if (h->state->meant[event[i]] == W_TAMPER_RESTORE)
			open = false;
		if (ev->word != W_TAMPER || (ev->marks & MARK_STILL))
			continue;
		if (open && returns)
			continue;
		open = true;
		if ((d && d->life) || !is_work(j, event[i], work))
			repeats_add(v, &r, event[i], same);
	}
	if (repeats_due(v, &r, least, setting_ms(v, rule, "within", device), &first, &past) &&
	    !(d && d->unlearned != NO_TIME && d->unlearned > v->event[r.event[past - 1]].at))
		report(j, &r, first, past, device);
	repeats_release(&r);
}

/* Does trouble-left tell of it? */
static bool
is_left(const struct held *h, int32_t device)
{
	int64_t left = setting_ms(h->v, h->rule, "left", device), since = NO_TIME;

	if (device >= 0)
		since = h->state->device[device].cond[COND_TAMPER].since;
	else if (state_open(h->state, COND_TAMPER))
		since = state_open(h->state, COND_TAMPER)->holding.since;
	return since != NO_TIME && h->v->now - since > left;
}

static void
judge(struct view *v, struct findings *out)
{
	size_t rows = 0, n = 0;
	struct judging j;
	uint32_t *panel;

	for (size_t i = 0; i < v->n_event; i++)
		rows += v->event[i].word == W_TAMPER;
	if (rows < 2)
		return;		/* no setting asks for fewer */
	j.h = held_begin(v, out, &rule_tamper_repeat);
	arming_of(v, &out->arena, ARMING_TEST_MAX, ARMING_SESSION_MAX, &j.arming);
	panel = arena_take(&out->arena, v->n_event * sizeof *panel);
	for (size_t i = 0; i < v->n_event; i++)
		if (v->event[i].device < 0 && (v->event[i].word == W_TAMPER ||
		    j.h.state->meant[i] == W_TAMPER_RESTORE))
			panel[n++] = (uint32_t)i;
	if (!is_left(&j.h, -1))
		judge_one(&j, -1, panel, n);
	for (size_t i = 0; i < v->n_device; i++)
		if (v->device[i].life || !is_left(&j.h, (int32_t)i))
			judge_one(&j, (int32_t)i, v->device[i].event, v->device[i].n_event);
}

const struct rule rule_tamper_repeat = {
	.id = "tamper-repeat",
	.title = "Tamper again and again",
	.why = "A housing that opens again and again is loose, or somebody is at it.",
	.quiet_on = "Rows within 30 min of each other, which are one occasion; occasions with a "
	    "learn session, a test, a changed cell or a service row beside them, except on life "
	    "safety; a tamper that still holds, of which trouble-left tells.",
	.limits = "Who was at it the log does not say. Tampers of several modules that the panel "
	    "reports are counted together.",
	.setting = settings,
	.judge = judge,
};
