#include "rules/repair.h"

#include <stdlib.h>
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

static struct repair
repair_at(const struct view *v, const struct losses *l, const struct service_row *r, int32_t one)
{
	return (struct repair){ .row = r, .device = one,
	    .before = side(v, l, r, one, r->at - REPAIR_SPAN, r->at),
	    .after = side(v, l, r, one, r->at, r->at + REPAIR_SPAN) };
}

void
repair_measure(const struct view *v, const struct losses *l, const struct service_row *r,
    struct repair *out)
{
	int32_t one = *r->zone || *r->serial ? view_device_find(v, r->zone, r->serial, r->at) : -1;

	*out = repair_at(v, l, r, one);
}

static bool
same_place(const struct device *a, const struct device *b)
{
	return *a->zone_key && strcmp(a->zone_key, b->zone_key) == 0 && a->area == b->area;
}

/* The device whose place this one took: the one of its zone that went within a day. */
static const struct device *
predecessor(const struct view *v, const struct device *d)
{
	for (size_t i = 0; d->learned != NO_TIME && i < v->n_device; i++) {
		const struct device *o = &v->device[i];

		if (o != d && same_place(o, d) && o->unlearned != NO_TIME &&
		    o->unlearned >= d->learned - DAY && o->unlearned <= d->learned + DAY)
			return o;
	}
	return NULL;
}

static int
by_time(const void *a, const void *b)
{
	const struct repair *x = a, *y = b;

	return x->row->at != y->row->at ? (x->row->at < y->row->at ? -1 : 1) :
	    (x->row > y->row) - (x->row < y->row);
}

size_t
repairs_of(const struct view *v, const struct losses *l, int32_t device, int64_t from,
    struct arena *a, struct repair **out)
{
	const struct device *d = device < 0 ? NULL : &v->device[device];
	size_t n = 0;

	*out = arena_take(a, (v->n_service + v->n_device) * sizeof **out);
	for (size_t i = 0; i < v->n_service; i++) {
		const struct service_row *r = &v->service[i];
		struct repair x;

		if (r->at < from || r->at > v->now)
			continue;
		if (!*r->zone && !*r->serial) {
			(*out)[n++] = repair_at(v, l, r, -1);
			continue;
		}
		repair_measure(v, l, r, &x);
		if (d && x.device >= 0 && (x.device == device || same_place(d, &v->device[x.device])))
			(*out)[n++] = x;
	}
	for (size_t i = 0; d && i < v->n_device; i++) {
		const struct device *k = &v->device[i], *old;
		struct service_row *r;

		if (k->learned < from || (k != d && !same_place(k, d)) || !(old = predecessor(v, k)))
			continue;
		r = arena_take(a, sizeof *r);
		*r = (struct service_row){ .at = k->learned, .zone = k->zone, .serial = "", .who = "",
			.what = arena_fmt(a, "by the log, %s took the place of %s", *k->serial ?
			    k->serial : "a new device", *old->serial ? old->serial : "the old one") };
		(*out)[n++] = repair_at(v, l, r, (int32_t)i);
	}
	if (n > 1)
		qsort(*out, n, sizeof **out, by_time);
	return n;
}
