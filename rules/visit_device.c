/* visit_device.c - what became of one expected device. */
#include <string.h>

#include "daemon/base/serial.h"
#include "rules/visit_work.h"
#include "rules/when.h"

const char *
visit_device_name(const struct visit_work *c, const struct visit_device *d)
{
	struct arena *a = &c->v->arena;
	const char *zone = *d->zone ? arena_fmt(a, "zone %s, ", d->zone) : "";

	return arena_fmt(a, "%s (%s%s%s%s)", *d->serial ? d->serial : "no serial", zone,
	    d->kind == KIND_UNKNOWN ? "kind not given" : kind_heading(d->kind), *d->name ? ", " : "",
	    d->name);
}

const struct session *
visit_closing(const struct visit_work *c, const struct session *s)
{
	const struct session *end = c->all.session + c->all.n;

	while (s < end && s->end == NO_TIME)
		s++;
	return s < end ? s : NULL;
}

/* The last session, of the visit or before it, that accepted the serial; on that zone, if
 * `zone_key` is one and the log names the zone. */
static const struct session *
learning_session(const struct visit_work *c, const char *key, const char *zone_key,
    const struct session_item **item)
{
	for (size_t i = c->all.n; i-- > 0;) {
		const struct session *s = &c->all.session[i];

		*item = NULL;
		for (size_t k = 0; k < s->n_accepted; k++) {
			const struct session_item *it = &s->accepted[k];

			if (strcmp(it->key, key) == 0 && (!*zone_key || !*it->zone_key ||
			    strcmp(it->zone_key, zone_key) == 0) &&
			    (!*item || it->event > (*item)->event))
				*item = it;
		}
		if (*item)
			return s;
	}
	*item = NULL;
	return NULL;
}

/* Taken out of the panel after the event, or displaced on its zone. */
static bool
removed_since(const struct view *v, const struct device *d, uint32_t event)
{
	for (size_t k = d->n_event; k-- > 0 && d->event[k] > event;)
		if (session_removes(v, &v->event[d->event[k]]))
			return true;
	return d->unlearned != NO_TIME && d->unlearned >= v->event[event].at;
}

/* First heard among the events from index `from` on; NO_TIME if not. */
static int64_t
heard_from(const struct view *v, const struct device *d, uint32_t from)
{
	for (size_t k = 0; k < d->n_event; k++)
		if (d->event[k] >= from && event_is_heard(v, &v->event[d->event[k]]))
			return v->event[d->event[k]].at;
	return NO_TIME;
}

/* Index of the first event after the visit's last session, or after `since`. */
static uint32_t
after_visit(const struct visit_work *c)
{
	uint32_t i = 0;

	if (c->out->n_session)
		return c->out->session[c->out->n_session - 1]->past;
	while (i < c->v->n_event && c->v->event[i].at < c->out->since)
		i++;
	return i;
}

const struct verdict_item *
visit_verdict_on(const struct visit_work *c, const struct session *s, const struct session_item *it)
{
	return &c->verdicts.session[s - c->all.session].item[it - s->accepted];
}

/* A serial that was learned in place of this one, by the visit's verdicts. */
static const char *
near_miss(const struct visit_work *c, const struct visit_device *d)
{
	for (size_t i = 0; i < c->all.n; i++) {
		const struct session *s = &c->all.session[i];

		for (size_t k = 0; c->ours[i] && k < s->n_accepted; k++) {
			const struct verdict_item *x = visit_verdict_on(c, s, &s->accepted[k]);

			if (x->verdict == VERDICT_NEAR_MISS && strcmp(x->wanted, d->serial) == 0)
				return arena_fmt(&c->v->arena, "%s was learned instead: %s; read "
				    "the sticker again", s->accepted[k].serial, x->difference);
		}
	}
	return NULL;
}

/* What the visit saw of a serial that it did not learn. */
static const char *
missing_how(const struct visit_work *c, const char *key)
{
	struct arena *a = &c->v->arena;
	const char *how = "not heard";

	for (size_t i = 0; i < c->all.n; i++) {
		const struct session *s = &c->all.session[i];
		const struct session_item *it;

		if (!c->ours[i])
			continue;
		if ((it = session_item_find(s->accepted, s->n_accepted, key)) != NULL)
			how = "learned and taken out again";
		else if ((it = session_item_find(s->refused, s->n_refused, key)) != NULL)
			how = arena_fmt(a, "heard and refused at %s", when_local(c->v, a, it->at));
		else if ((it = session_item_find(s->heard, s->n_heard, key)) != NULL)
			how = arena_fmt(a, "heard at %s and not accepted",
			    when_local(c->v, a, it->at));
	}
	return how;
}

/* Something without a serial was learned on the zone in the visit. */
static bool
learned_unnamed(const struct visit_work *c, const char *zone_key)
{
	for (size_t i = 0; *zone_key && i < c->all.n; i++) {
		const struct session *s = &c->all.session[i];

		for (size_t k = 0; c->ours[i] && k < s->n_accepted; k++)
			if (!*s->accepted[k].key && strcmp(s->accepted[k].zone_key, zone_key) == 0)
				return true;
	}
	return false;
}

static void
judge_replaced(const struct visit_work *c, struct visit_device *d)
{
	const struct view *v = c->v;
	const char *key = serial_key(&c->v->arena, span_of(d->old_serial));
	int32_t old = *key ? view_device_find(v, "", d->old_serial, NO_TIME) : -1;
	bool there = false, gone = false;

	if (!*d->old_serial)
		return;
	d->old = VISIT_OLD_UNKNOWN;
	if (old < 0)
		return;
	for (size_t k = 0; k < v->device[old].n_event; k++) {
		const struct event *ev = &v->event[v->device[old].event[k]];

		if (session_removes(v, ev))
			gone = true;
		else if (session_accepts(v, ev))
			gone = false;
		there = true;
	}
	gone |= v->device[old].unlearned != NO_TIME;
	d->old = gone ? VISIT_OLD_GONE : there || v->device[old].rostered ? VISIT_OLD_THERE :
	    VISIT_OLD_UNKNOWN;
}

/* Where the serial was learned last. A device that both zones are planned for is looked up
 * on its own zone. */
static const struct session *
find_learning(const struct visit_work *c, const char *key, const char *zone_key,
    const struct session_item **item)
{
	const struct session_item *there = NULL;
	const struct session *s = learning_session(c, key, "", item), *own;
	const struct verdict_item *x;

	if (!s || !*zone_key)
		return s;
	own = learning_session(c, key, zone_key, &there);
	x = visit_verdict_on(c, s, *item);
	if (own && !x->other_zone && !x->planned_zone) {
		*item = there;
		return own;
	}
	return s;
}

void
visit_device_judge(struct visit_work *c, struct visit_device *d, bool rostered)
{
	struct view *v = c->v;
	const char *key = serial_key(&v->arena, span_of(d->serial));
	const char *zone_key = number_key(&v->arena, span_of(d->zone));
	const struct session_item *item = NULL;
	const struct session *s = NULL, *end;
	const struct device *dev;
	const char *near;

	d->text = "";
	d->learned = d->closed = d->heard = NO_TIME;
	d->device = view_device_find(v, *key ? "" : d->zone, d->serial, NO_TIME);
	dev = d->device < 0 ? NULL : &v->device[d->device];
	d->life = kind_is_life(d->kind) || (dev && dev->life);
	judge_replaced(c, d);
	if (*key)
		s = find_learning(c, key, zone_key, &item);
	if (s && dev && removed_since(v, dev, item->event))
		s = NULL;
	/* Nothing counts as heard before that session is closed. */
	if (s && (end = visit_closing(c, s)) != NULL) {
		d->learned = item->at;
		d->closed = end->end;
		d->heard = dev ? heard_from(v, dev, end->past) : NO_TIME;
	} else if (s) {
		d->learned = item->at;
	} else {
		d->closed = c->out->closed;
		if (dev && (d->closed != NO_TIME || c->out->n_session == 0))
			d->heard = heard_from(v, dev, after_visit(c));
	}

	if (!s && rostered && dev && dev->unlearned == NO_TIME) {
		d->status = d->heard != NO_TIME ? VISIT_HEARD : VISIT_UNHEARD;
		d->text = "in the roster; not learned in this visit";
	} else if (!s && (near = near_miss(c, d)) != NULL) {
		d->status = VISIT_NEAR_MISS;
		d->text = near;
	} else if (!s && learned_unnamed(c, zone_key)) {
		d->status = VISIT_UNPROVEN;
		d->text = "a device was learned on its zone, but the log names no serial: "
		    "compare the sticker";
	} else if (!s && dev && dev->unlearned == NO_TIME && d->heard != NO_TIME &&
	    item == NULL) {
		d->status = VISIT_UNPROVEN;
		d->text = arena_fmt(&v->arena, "heard at %s, so the panel may have had it before",
		    when_local(c->v, &c->v->arena, d->heard));
	} else if (!s) {
		d->status = VISIT_MISSING;
		d->text = *key ? missing_how(c, key) : "the plan gives no serial";
	} else if (*zone_key && *item->zone_key && strcmp(item->zone_key, zone_key) != 0) {
		d->status = VISIT_OTHER_ZONE;
		d->text = arena_fmt(&v->arena, "is on zone %s", item->zone);
	} else if (visit_verdict_on(c, s, item)->seen_kind != KIND_UNKNOWN) {
		d->status = VISIT_OTHER_KIND;
		d->text = arena_fmt(&v->arena, "planned as %s, shows as %s", kind_heading(d->kind),
		    kind_heading(visit_verdict_on(c, s, item)->seen_kind));
	} else {
		d->status = d->heard != NO_TIME ? VISIT_HEARD : VISIT_UNHEARD;
		if (d->closed == NO_TIME)
			d->text = "its learn session is not closed";
	}
}
