#include "rules/held.h"

#include <string.h>

#include "rules/when.h"

struct held
held_begin(struct view *v, struct findings *out, const struct rule *rule)
{
	return (struct held){ .v = v, .out = out, .rule = rule, .state = view_state(v) };
}

bool
held_may_be_life(const struct view *v, int32_t device)
{
	return device >= 0 && (v->device[device].life || v->device[device].maybe_life);
}

bool
held_site_life(const struct view *v, uint32_t area)
{
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];

		if (d->life && d->unlearned == NO_TIME && (!area || !d->area || d->area == area))
			return true;
	}
	return false;
}

static bool
site_may_be_life(const struct view *v)
{
	for (size_t i = 0; i < v->n_device; i++)
		if (held_may_be_life(v, (int32_t)i))
			return true;
	return false;
}

double
held_limit(const struct held *h, const char *name, int32_t device)
{
	double value = setting_value(h->v, h->rule, name, device), usual = value;

	for (const struct setting *s = h->rule->setting; s->name; s++)
		if (strcmp(s->name, name) == 0)
			usual = s->value;
	if (value > usual && (device < 0 ? site_may_be_life(h->v) : held_may_be_life(h->v, device)))
		return usual;
	return value;
}

int64_t
held_limit_ms(const struct held *h, const char *name, int32_t device)
{
	const struct setting *s = h->rule->setting;

	while (strcmp(s->name, name) != 0)
		s++;
	return (int64_t)(held_limit(h, name, device) * (double)setting_unit_ms(s) + 0.5);
}

static bool
is_lost(struct held *h, int32_t device, bool alone)
{
	struct losses *l = h->losses;

	if (!l) {
		h->losses = l = arena_take(&h->out->arena, sizeof *l);
		losses_find(h->v, &h->out->arena, l);
	}
	for (size_t k = l->n ? l->first[device] : 0; l->n && k < l->first[device + 1]; k++) {
		const struct loss *loss = &l->loss[k];

		if (alone && loss->group >= 0 && l->group[loss->group].open)
			continue;
		if (loss->end == NO_TIME && (loss->sort != LOSS_TOLD ||
		    h->v->now - loss->at >= losses_limit_ms(h->v, "loss_age", device)))
			return true;
	}
	return false;
}

bool
held_lost(struct held *h, int32_t device)
{
	return is_lost(h, device, false);
}

bool
held_lost_alone(struct held *h, int32_t device)
{
	return is_lost(h, device, true);
}

bool
held_blurred(const struct held *h, int32_t device, const struct holding *x, const enum word *ends)
{
	const struct device *d = &h->v->device[device];

	if (held_may_be_life(h->v, device) || !(h->v->event[x->event].marks & MARK_COARSE))
		return false;
	for (size_t i = 0; i < d->n_event; i++) {
		if (h->v->event[d->event[i]].at != x->since)
			continue;
		for (const enum word *w = ends; *w != W_OTHER; w++)
			if (h->state->meant[d->event[i]] == *w)
				return true;
	}
	return false;
}

struct finding *
held_add(struct held *h, int32_t device, const char *subject, const struct holding *x)
{
	struct finding *f = finding_add(h->out, h->v, h->rule, device, subject);

	f->onset = x->since;
	f->last = h->v->now;
	f->count = 1;
	finding_evidence(h->out, f, x->event);
	finding_measure(h->out, f, "held", (double)((h->v->now - x->since) / (HOUR / 10)) / 10, "h");
	return f;
}

const char *
held_since(const struct held *h, const struct holding *x)
{
	struct arena *a = &h->out->arena;

	return arena_fmt(a, "%s %s (%s)", x->before ? "at or before" : "since",
	    when_local(h->v, a, x->since), when_lasting(a, h->v->now - x->since));
}

void
held_unclear(const struct held *h, struct finding *f)
{
	if (f->device >= 0 ? h->state->device[f->device].unclear : h->state->unclear)
		finding_caution(h->out, f, "A bare restore in this log does not say which of "
		    "several conditions it ended: read at the panel what still stands.");
}
