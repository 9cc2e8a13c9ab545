#include <stdlib.h>

#include "daemon/base/serial.h"
#include "rules/state.h"
#include "rules/view_index.h"

void
view_release(struct view *v)
{
	if (v->index)
		free(v->index->binding);
	arena_release(&v->arena);
	*v = (struct view){ 0 };
}

const struct state *
view_state(struct view *v)
{
	if (!v->state) {
		v->state = arena_take(&v->arena, sizeof *v->state);
		state_of(v, &v->arena, v->state);
	}
	return v->state;
}

/* The first cover interval that ends at or after `at`. */
static size_t
cover_from(const struct view *v, int64_t at)
{
	size_t lo = 0, hi = v->n_cover;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (v->cover[mid].to != NO_TIME && v->cover[mid].to < at)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo;
}

bool
view_covered(const struct view *v, int64_t from, int64_t to)
{
	size_t i = cover_from(v, from);

	return i < v->n_cover && v->cover[i].from <= from &&
	    (v->cover[i].to == NO_TIME || v->cover[i].to >= to);
}

int64_t
view_cover_within(const struct view *v, int64_t from, int64_t to)
{
	int64_t sum = 0;

	for (size_t i = cover_from(v, from); i < v->n_cover && v->cover[i].from < to; i++) {
		int64_t a = v->cover[i].from, b = v->cover[i].to;

		if (a < from)
			a = from;
		if (b == NO_TIME || b > to)
			b = to;
		if (b > a)
			sum += b - a;
	}
	return sum;
}

bool
event_is_heard(const struct view *v, const struct event *ev)
{
	(void)v;
	return (word_properties(ev->word) & WP_HEARD) && !(ev->marks & (MARK_STILL | MARK_WRITTEN));
}

int32_t
view_device_find(const struct view *v, const char *zone, const char *serial, int64_t at)
{
	const struct view_index *x = v->index;
	struct arena scratch = { 0 };
	const char *key = serial_key(&scratch, span_of(serial));
	const struct zone *z = NULL;
	int32_t found = -1;

	if (*key) {
		found = names_find(&x->serials, key, "");
	} else if (*(key = number_key(&scratch, span_of(zone)))) {
		int32_t i = names_find(&x->numbers, key, "");

		if (i < 0)
			i = names_find(&x->zones, key, "");
		z = i < 0 ? NULL : &x->zone[i];
	}
	if (z) {
		found = z->current;
		if (at != NO_TIME && z->first >= 0) {
			found = z->first;
			for (uint32_t b = z->binding; b && x->binding[b].from <= at;
			    b = x->binding[b].next)
				found = x->binding[b].device;
		}
	}
	arena_release(&scratch);
	return found;
}

const char *
device_label(struct view *v, int32_t device)
{
	const struct device *d = device < 0 ? NULL : &v->device[device];
	struct arena *a = &v->arena;
	const char *serial, *where;

	if (!d)
		return "the panel";
	serial = *d->serial ? arena_fmt(a, "serial %s", d->serial) : "";
	if (!*d->zone)
		where = serial;
	else if (*d->partition && names_find(&v->index->numbers, d->zone_key, "") == -2)
		where = arena_fmt(a, "zone %s of partition %s", d->zone, d->partition);
	else
		where = arena_fmt(a, "zone %s", d->zone);
	return arena_fmt(a, "%s (%s%s%s%s%s)", where, d->name, *d->name ? ", " : "",
	    kind_heading(d->kind), *d->zone && *serial ? ", " : "", *d->zone ? serial : "");
}
