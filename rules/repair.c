#include "rules/repair.h"

#include <string.h>

#include "rules/activation.h"

static void
measure(const struct view *v, const struct losses *l, int32_t device, int64_t from, int64_t to,
    struct repair_side *m)
{
	const struct device *d = &v->device[device];
	struct activations list = { 0 };

	activations_of(v, device, from, &list);
	for (size_t i = 0; i < list.n && list.one[i].start < to; i++) {
		m->activations++;
		m->alarms += list.one[i].alarm;
	}
	activations_release(&list);
	for (size_t i = l->first[device]; i < l->first[device + 1]; i++)
		m->losses += l->loss[i].at >= from && l->loss[i].at < to;
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];

		m->low += ev->word == W_LOW_BATTERY && !(ev->marks & MARK_STILL) && ev->at >= from &&
		    ev->at < to;
	}
}

static struct repair_side
side(const struct view *v, const struct losses *l, const struct service_row *r, int32_t one,
    int64_t from, int64_t to)
{
	struct repair_side m = { .covered = view_cover_within(v, from, to) };

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];
		bool same_zone = one >= 0 && *d->zone_key && !*r->serial &&
		    strcmp(d->zone_key, v->device[one].zone_key) == 0;

		if ((one < 0 && !*r->zone && !*r->serial) || (int32_t)i == one || same_zone)
			measure(v, l, (int32_t)i, from, to, &m);
	}
	return m;
}

void
repair_measure(const struct view *v, const struct losses *l, const struct service_row *r,
    struct repair *out)
{
	int32_t one = *r->zone || *r->serial ? view_device_find(v, r->zone, r->serial, r->at) : -1;

	*out = (struct repair){ .row = r, .device = one,
	    .before = side(v, l, r, one, r->at - REPAIR_SPAN, r->at),
	    .after = side(v, l, r, one, r->at, r->at + REPAIR_SPAN) };
}
