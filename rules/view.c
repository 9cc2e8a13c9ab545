#include "rules/view.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/base/serial.h"
#include "rules/view_index.h"

/* Both common practice, no source. */
#define HEARD_QUIET (5 * MINUTE)	/* returns in this time a panel writes by itself */
#define BUFFER_TIME (10 * MINUTE)	/* what a panel takes to empty its buffer */

/* What one point turned out to be. */
struct place {
	bool    zone_used, serial_used;
	int32_t zone, device;	/* -1 = none */
	uint32_t zeros;
	int64_t first_bind;	/* first event that binds its serial to its zone */
};

static bool
event_before(const struct event *a, const struct event *b)
{
	return a->at != b->at ? a->at < b->at : a->file < b->file;
}

/* End of the ascending run that begins at `i`. */
static size_t
run_end(const struct event *ev, size_t i, size_t n)
{
	for (i++; i < n && !event_before(&ev[i], &ev[i - 1]); i++)
		;
	return i;
}

/* Natural merge sort: files come sorted as a rule, so it is one look at most. Stable. */
static void
sort_events(struct view *v)
{
	size_t n = v->n_event;
	struct event *from = v->event, *to;

	if (n == 0 || run_end(from, 0, n) == n)
		return;
	to = arena_take(&v->arena, n * sizeof *to);
	for (;;) {
		size_t runs = 0, out = 0;
		struct event *swap = from;

		for (size_t i = 0; i < n; runs++) {
			size_t mid = run_end(from, i, n);
			size_t end = mid < n ? run_end(from, mid, n) : n;
			size_t a = i, b = mid;

			while (a < mid || b < end) {
				if (b == end || (a < mid && !event_before(&from[b], &from[a])))
					to[out++] = from[a++];
				else
					to[out++] = from[b++];
			}
			i = end;
		}
		from = to;
		to = swap;
		if (runs == 1)
			break;
	}
	v->event = from;
}

/* Does a row with this word say that the panel holds this serial on this zone? */
static bool
binds(enum word w)
{
	return w != W_LEARN_HEARD && w != W_LEARN_REFUSED && w != W_EXTRA_DEVICE && w != W_UNLEARN;
}

/* The kind that a word implies; fire may be smoke, heat or a call point, so none. */
static enum kind
word_kind(enum word w)
{
	switch (w) {
	case W_HEAT_ALARM:    return KIND_HEAT;
	case W_CO_ALARM:      return KIND_CO;
	case W_GAS_ALARM:     return KIND_GAS;
	case W_WATER_ALARM:   return KIND_WATER;
	case W_MEDICAL_ALARM: return KIND_MEDICAL;
	case W_HOLD_UP_ALARM: return KIND_HOLD_UP;
	default:              return KIND_UNKNOWN;
	}
}

static uint32_t
area_of(struct view *v, const char *partition)
{
	struct names_slot *s = *partition ? names_slot(&v->index->areas, partition, "") : NULL;

	if (s && !s->key)
		*s = (struct names_slot){ partition, "", (int32_t)++v->n_area };
	return s ? (uint32_t)s->value : 0;
}

static void
keys_of_points(struct view *v, struct place *place)
{
	struct arena *a = &v->arena;

	for (size_t i = 0; i < v->n_point; i++) {
		struct point *p = &v->point[i];
		enum serial_fault fault;
		const char *plain = serial_plain(a, span_of(p->serial), &fault);
		const char *key = plain;

		while (*key == '0')
			key++;
		p->serial_key = key;
		p->serial_unreadable = fault == SERIAL_LOST_DIGITS;
		p->zone_key = number_key(a, span_of(p->zone));
		p->partition_key = number_key(a, span_of(p->partition));
		p->area = area_of(v, p->partition_key);
		place[i] = (struct place){ .zone = -1, .device = -1, .first_bind = NO_TIME,
			.zeros = (uint32_t)(key - plain) };
	}
}

/* First look at the events: which cell of which point is used as what. */
static void
use_of_points(const struct view *v, struct place *place)
{
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];
		const struct point *p = &v->point[ev->point];
		struct place *pl = &place[ev->point];

		if (!(ev->marks & MARK_PANEL) || !*p->zone_key)
			pl->serial_used = true;
		if (ev->marks & (MARK_USER | MARK_PANEL))
			continue;
		pl->zone_used = true;
		if (pl->first_bind == NO_TIME && (binds(ev->word) || ev->word == W_UNLEARN))
			pl->first_bind = ev->at;
	}
}

static int32_t
zone_get(struct view *v, const char *number, const char *partition, const char *text,
    const char *partition_text)
{
	struct view_index *x = v->index;
	struct names_slot *s = names_slot(&x->zones, number, partition), *n;

	if (s->key)
		return s->value;
	n = names_slot(&x->numbers, number, "");
	if (!n->key)
		*n = (struct names_slot){ number, "", -1 };
	*s = (struct names_slot){ n->key, partition, (int32_t)x->n_zone };
	if (*partition)
		n->value = n->value == -1 ? s->value : -2;
	x->zone[x->n_zone] = (struct zone){ .number = n->key, .partition = partition,
		.text = text, .partition_text = partition_text, .area = area_of(v, partition),
		.current = -1, .first = -1, .first_at = NO_TIME };
	return (int32_t)x->n_zone++;
}

/* The zone that a cell names: with a blank partition, the only one of that number. */
static int32_t
zone_named(struct view *v, const char *number, const char *partition, const char *text,
    const char *partition_text)
{
	int32_t only = *partition ? -1 : names_find(&v->index->numbers, number, "");

	return only >= 0 ? only : zone_get(v, number, partition, text, partition_text);
}

static int32_t
device_new(struct view *v, const char *serial, const char *key)
{
	struct view_index *x = v->index;
	struct device *d = &v->device[v->n_device];

	*d = (struct device){ .zone = "", .partition = "", .serial = serial, .zone_key = "",
		.serial_key = key, .name = "", .cell = "", .installed = NO_TIME,
		.wireless = *key != '\0', .learned = NO_TIME, .unlearned = NO_TIME,
		.first_heard = NO_TIME, .last_heard = NO_TIME };
	x->more[v->n_device] = (struct more){ .home = -1, .replaced = NO_TIME };
	return (int32_t)v->n_device++;
}

static int32_t
device_of_serial(struct view *v, const char *serial, const char *key, uint32_t zeros)
{
	struct names_slot *s = names_slot(&v->index->serials, key, "");
	struct more *m;

	if (!s->key)
		*s = (struct names_slot){ key, "", device_new(v, serial, key) };
	m = &v->index->more[s->value];
	if (m->zeros && m->zeros != zeros + 1)
		v->device[s->value].leading_zeros = true;
	m->zeros = zeros + 1;
	return s->value;
}

static void
give_home(struct view *v, int32_t device, int32_t zone)
{
	const struct zone *z = &v->index->zone[zone];
	struct device *d = &v->device[device];

	v->index->more[device].home = zone;
	d->zone = z->text;
	d->zone_key = z->number;
	d->partition = z->partition_text;
	d->area = z->area;
}

/* From now on the zone's reports are this device's. `fresh` is a learn: even a serial
 * that was here before takes the place of the other. `version` is 0 for an event. */
static void
bind(struct view *v, int32_t zone, int32_t device, int64_t at, bool fresh, uint32_t version)
{
	struct view_index *x = v->index;
	struct zone *z = &x->zone[zone];
	struct more *m = &x->more[device];
	int32_t old = z->current;

	fresh |= m->home != zone;
	if (old >= 0 && old != device && fresh && x->more[old].home == zone &&
	    !(version && x->more[old].version == version))
		x->more[old].replaced = at;
	if (m->home != zone)
		give_home(v, device, zone);
	if (version)
		m->version = version;
	m->replaced = NO_TIME;
	if (old == device && z->binding)
		return;
	x->binding = x_grow(x->binding, &x->cap_binding, x->n_binding + 2, sizeof *x->binding);
	x->binding[++x->n_binding] = (struct binding){ at, device, 0 };
	if (z->binding)
		x->binding[z->last_binding].next = (uint32_t)x->n_binding;
	else
		z->binding = (uint32_t)x->n_binding;
	z->last_binding = (uint32_t)x->n_binding;
	z->current = device;
}

/* A roster row, resolved. */
struct listed {
	const struct roster_row *row;
	int32_t zone, device;		/* -1 = not named */
};

static int
listed_order(const void *a, const void *b)
{
	const struct roster_row *x = ((const struct listed *)a)->row;
	const struct roster_row *y = ((const struct listed *)b)->row;

	if (x->as_of != y->as_of)
		return x->as_of < y->as_of ? -1 : 1;
	return x < y ? -1 : x > y;
}

static void
first_binding(struct zone *z, int32_t device, int64_t at)
{
	if (z->first < 0 || at < z->first_at) {
		z->first = device;
		z->first_at = at;
	}
}

/* Zones and serial devices of all points and roster rows. Named partitions come
 * first: a blank one then finds out whether its number is used by only one. */
static void
form_places(struct view *v, struct place *place, struct listed *listed)
{
	struct view_index *x = v->index;
	struct arena *a = &v->arena;

	for (int blank = 0; blank < 2; blank++) {
		for (size_t i = 0; i < v->n_point; i++) {
			struct point *p = &v->point[i];

			if (place[i].zone_used && *p->zone_key && (blank != 0) == !*p->partition_key)
				place[i].zone = zone_named(v, p->zone_key, p->partition_key,
				    p->zone, p->partition);
		}
		for (size_t i = 0; i < v->n_roster; i++) {
			const struct roster_row *r = &v->roster[i];
			const char *number = number_key(a, span_of(r->zone));
			const char *partition = number_key(a, span_of(r->partition));

			if (*number && (blank != 0) == !*partition)
				listed[i].zone = zone_named(v, number, partition, r->zone,
				    r->partition);
		}
	}
	for (size_t i = 0; i < v->n_point; i++) {
		struct point *p = &v->point[i];

		if (place[i].zone >= 0)
			p->zone_key = x->zone[place[i].zone].number;
		if (place[i].serial_used && *p->serial_key)
			place[i].device = device_of_serial(v, p->serial, p->serial_key,
			    place[i].zeros);
		if (place[i].zone >= 0 && place[i].device >= 0 && place[i].first_bind != NO_TIME)
			first_binding(&x->zone[place[i].zone], place[i].device,
			    place[i].first_bind);
	}
	for (size_t i = 0; i < v->n_roster; i++) {
		const struct roster_row *r = listed[i].row;
		enum serial_fault fault;
		const char *plain = serial_plain(a, span_of(r->serial), &fault);
		size_t zeros = strspn(plain, "0");

		if (!*plain)
			continue;
		listed[i].device = device_of_serial(v, r->serial, plain + zeros, (uint32_t)zeros);
		if (listed[i].zone >= 0)
			first_binding(&x->zone[listed[i].zone], listed[i].device, r->as_of);
	}
	for (size_t i = 0; i < x->n_zone; i++)
		x->zone[i].current = x->zone[i].first;
}

static int32_t
device_of_event(struct view *v, const struct event *ev, const struct place *pl)
{
	const struct point *p = &v->point[ev->point];
	struct zone *z;

	if (ev->marks & (MARK_USER | MARK_PANEL))
		return *p->serial_key ? names_find(&v->index->serials, p->serial_key, "") : -1;
	if (pl->device >= 0) {
		if (pl->zone >= 0 && binds(ev->word))
			bind(v, pl->zone, pl->device, ev->at, ev->word == W_LEARN, 0);
		else if (pl->zone >= 0 && ev->word == W_UNLEARN &&
		    v->index->more[pl->device].home < 0)
			give_home(v, pl->device, pl->zone);
		return pl->device;
	}
	if (pl->zone < 0)
		return -1;
	z = &v->index->zone[pl->zone];
	if (z->current < 0) {
		z->current = device_new(v, "", "");
		give_home(v, z->current, pl->zone);
	}
	return z->current;
}

/* What one event says of its device. */
static void
note_event(struct view *v, const struct event *ev, int32_t zone)
{
	struct device *d = &v->device[ev->device];
	struct more *m = &v->index->more[ev->device];
	bool life = (ev->marks & MARK_LIFE_CODE) || (word_properties(ev->word) & WP_LIFE) ||
	    kind_is_life(ev->hint);
	enum kind hint = ev->hint != KIND_UNKNOWN ? (enum kind)ev->hint : word_kind(ev->word);

	d->n_event++;
	d->life |= life;
	if (zone >= 0)
		v->index->zone[zone].life |= life;
	if (hint != KIND_UNKNOWN && (m->hint == KIND_UNKNOWN ||
	    (kind_is_life(hint) && !kind_is_life(m->hint))))
		m->hint = (uint8_t)hint;
	switch (ev->word) {
	case W_LOW_BATTERY:
	case W_BATTERY_RESTORE:
	case W_CELL_REPLACED:
	case W_SUPERVISION_LOSS:
	case W_SUPERVISION_RESTORE:
	case W_CHECK_IN:
		d->wireless = true;
		break;
	case W_LEARN:
		d->learned = ev->at;
		d->unlearned = NO_TIME;
		m->replaced = NO_TIME;
		break;
	case W_UNLEARN:
		d->unlearned = ev->at;
		break;
	default:
		break;
	}
	if (d->unlearned != NO_TIME && zone >= 0 && binds(ev->word) && *d->serial_key &&
	    *v->point[ev->point].serial_key)
		d->unlearned = NO_TIME;
	if (event_is_heard(v, ev)) {
		if (d->first_heard == NO_TIME)
			d->first_heard = ev->at;
		d->last_heard = ev->at;
	}
}

/* Second look at the events, in time order: marks, devices, what they say. */
static void
follow_events(struct view *v, const struct place *place, const struct listed *by_time,
    size_t n_bound)
{
	int64_t emptied = NO_TIME, quiet = NO_TIME;
	size_t next = 0;

	for (size_t i = 0; i < v->n_event; i++) {
		struct event *ev = &v->event[i];
		enum word w = ev->word;

		for (; next < n_bound && by_time[next].row->as_of <= ev->at; next++)
			bind(v, by_time[next].zone, by_time[next].device,
			    by_time[next].row->as_of, false, by_time[next].row->version);
		if (emptied != NO_TIME && ev->at - emptied <= BUFFER_TIME)
			ev->marks |= MARK_BUFFERED;
		if (quiet != NO_TIME && ev->at - quiet <= HEARD_QUIET &&
		    (w == W_SUPERVISION_RESTORE || (word_properties(w) & WP_RETURN)))
			ev->marks |= MARK_WRITTEN;
		if (!(ev->marks & MARK_STILL)) {
			if (w == W_COMM_RESTORE || w == W_RESTART)
				emptied = ev->at;
			if (w == W_RESTART || w == W_DISARM || w == W_PROGRAM_EXIT)
				quiet = ev->at;
		}
		ev->device = device_of_event(v, ev, &place[ev->point]);
		if (ev->device >= 0)
			note_event(v, ev, ev->marks & (MARK_USER | MARK_PANEL) ? -1 :
			    place[ev->point].zone);
	}
	for (; next < n_bound; next++)
		bind(v, by_time[next].zone, by_time[next].device, by_time[next].row->as_of, false,
		    by_time[next].row->version);
}

static void
apply_row(struct device *d, const struct roster_row *r, uint32_t newest)
{
	d->name = r->name;
	d->kind = r->kind != KIND_UNKNOWN ? r->kind : d->kind;
	d->cell = r->cell;
	d->cells = r->cells;
	d->installed = r->installed;
	d->checkin = r->checkin;
	d->life |= kind_is_life(r->kind);
	d->rostered |= r->version == newest;
}

/* Names, kinds and cells: the newest row that matches wins; life safety by any row. */
static void
apply_rows(struct view *v, const struct listed *listed)
{
	struct view_index *x = v->index;
	uint32_t newest = v->n_roster ? v->roster[v->n_roster - 1].version : 0;

	for (size_t i = 0; i < v->n_roster; i++) {
		const struct roster_row *r = listed[i].row;
		struct zone *z = listed[i].zone >= 0 ? &x->zone[listed[i].zone] : NULL;
		int32_t device = listed[i].device;

		if (z) {
			z->row = r;
			z->life |= kind_is_life(r->kind);
			if (device < 0) {
				if (z->current < 0) {
					z->current = device_new(v, "", "");
					give_home(v, z->current, listed[i].zone);
				}
				device = z->current;
			}
		}
		if (device >= 0)
			apply_row(&v->device[device], r, newest);
	}
	for (size_t i = 0; i < v->n_plan; i++) {
		const char *key = serial_key(&v->arena, span_of(v->plan[i].serial));
		int32_t device = *key ? names_find(&x->serials, key, "") : -1;
		struct device *d = device < 0 ? NULL : &v->device[device];

		if (!d)
			continue;
		d->life |= kind_is_life(v->plan[i].kind);
		if (d->kind == KIND_UNKNOWN)
			d->kind = v->plan[i].kind;
		if (!*d->name)
			d->name = v->plan[i].name;
	}
}

static void
settle_devices(struct view *v)
{
	uint32_t *at = arena_take(&v->arena, v->n_event * sizeof *at);

	for (size_t i = 0; i < v->n_device; i++) {
		struct device *d = &v->device[i];
		const struct more *m = &v->index->more[i];
		const struct zone *z = m->home < 0 ? NULL : &v->index->zone[m->home];

		if (z) {
			d->life |= z->life;
			if (d->kind == KIND_UNKNOWN && z->row)
				d->kind = z->row->kind;
			if (!*d->name && z->row)
				d->name = z->row->name;
		}
		if (d->kind == KIND_UNKNOWN)
			d->kind = m->hint;
		d->maybe_life = d->kind == KIND_UNKNOWN && !d->life;
		d->wireless |= *d->cell || d->checkin > 0;
		if (d->unlearned == NO_TIME)
			d->unlearned = m->replaced;
		d->event = at;
		at += d->n_event;
		d->n_event = 0;
	}
	for (size_t i = 0; i < v->n_event; i++) {
		struct device *d = v->event[i].device < 0 ? NULL : &v->device[v->event[i].device];

		if (d)
			d->event[d->n_event++] = (uint32_t)i;
	}
}

static void
drop_former(struct view *v)
{
	size_t first = 0;

	/* NO_TIME is before all of them. */
	while (first < v->n_event && v->event[first].at < v->since)
		first++;
	v->event += first;
	v->n_event -= first;
}

void
view_finish(struct view *v)
{
	struct arena *a = &v->arena;
	size_t most = v->n_point + v->n_roster, n_bound = 0;
	struct place *place = arena_take(a, v->n_point * sizeof *place);
	struct listed *listed = arena_take(a, v->n_roster * sizeof *listed);
	struct listed *bound = arena_take(a, v->n_roster * sizeof *bound);
	struct view_index *x = v->index = arena_take(a, sizeof *x);

	sort_events(v);
	drop_former(v);
	/* Each point and roster row names at most one zone and one serial. */
	names_init(&x->numbers, a, most);
	names_init(&x->zones, a, most);
	names_init(&x->serials, a, most);
	names_init(&x->areas, a, most);
	v->n_area = 0;
	x->zone = arena_take(a, most * sizeof *x->zone);
	x->cap_device = 2 * most;
	x->more = arena_take(a, x->cap_device * sizeof *x->more);
	v->device = arena_take(a, x->cap_device * sizeof *v->device);
	v->n_device = 0;
	for (size_t i = 0; i < v->n_roster; i++)
		listed[i] = (struct listed){ &v->roster[i], -1, -1 };

	keys_of_points(v, place);
	use_of_points(v, place);
	form_places(v, place, listed);
	for (size_t i = 0; i < v->n_roster; i++)
		if (listed[i].zone >= 0 && listed[i].device >= 0)
			bound[n_bound++] = listed[i];
	if (n_bound)
		qsort(bound, n_bound, sizeof *bound, listed_order);
	follow_events(v, place, bound, n_bound);
	apply_rows(v, listed);
	settle_devices(v);
}
