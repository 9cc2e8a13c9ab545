#include "rules/battery.h"

#include <string.h>

#include "rules/battery_fleet.h"
#include "rules/rule.h"
#include "rules/state.h"

extern const struct rule rule_battery_cluster;	/* its settings hold for all who ask for cells */

struct reading {
	struct view  *v;
	const struct state *state;	/* for `restore`, which may mean a battery */
	int64_t       sign;	/* ms around a restore within which work shows */
	int64_t       proof;	/* of the device at hand, see terms_for() */
	double        night_from, night_to;
};

bool
battery_counts(const struct view *v, int32_t device)
{
	const struct device *d = &v->device[device];

	if (!d->wireless || d->kind == KIND_PANEL)
		return false;
	if (d->rostered || d->learned != NO_TIME)
		return true;
	for (size_t i = 0; i < d->n_event; i++) {
		enum word w = v->event[d->event[i]].word;

		if (w != W_LEARN_HEARD && w != W_LEARN_REFUSED && w != W_EXTRA_DEVICE)
			return true;
	}
	return false;
}

/* Index of the first event at or after `at`. */
static size_t
event_from(const struct view *v, int64_t at)
{
	size_t lo = 0, hi = v->n_event;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (v->event[mid].at < at)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo;
}

/* Did somebody work on the device around this time? */
static bool
was_worked_on(const struct reading *r, int32_t device, int64_t at)
{
	const struct view *v = r->v;
	const struct device *d = &v->device[device];

	for (size_t i = event_from(v, at - r->sign); i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->at > at + r->sign)
			break;
		if (ev->marks & MARK_STILL)
			continue;
		switch (ev->word) {
		case W_TAMPER:
		case W_TEST:
			if (ev->device == device)
				return true;
			break;
		case W_PROGRAM_ENTRY:
		case W_PROGRAM_EXIT:
		case W_LEARN:
		case W_WALK_TEST_BEGIN:
		case W_WALK_TEST_END:
		case W_FIRE_TEST_BEGIN:
		case W_FIRE_TEST_END:
		case W_ON_TEST_BEGIN:
		case W_ON_TEST_END:
			return true;
		default:
			break;
		}
	}
	for (size_t i = 0; i < v->n_service; i++) {
		const struct service_row *s = &v->service[i];
		int32_t named = *s->zone || *s->serial
		    ? view_device_find(v, s->zone, s->serial, s->at) : -1;

		if (s->at >= at - r->sign && s->at <= at + r->sign
		    && ((!*s->zone && !*s->serial) || named < 0 || &v->device[named] == d))
			return true;
	}
	return false;
}

static bool
in_night(const struct reading *r, const struct event *ev)
{
	double hour = (double)(((ev->at + ev->offset * SECOND) % DAY + DAY) % DAY) / HOUR;

	return r->night_from > r->night_to ? hour >= r->night_from || hour < r->night_to
	    : hour >= r->night_from && hour < r->night_to;
}

static bool
is_proven(const struct reading *r, int64_t changed, int64_t until)
{
	return view_cover_within(r->v, changed, until) >= r->proof;
}

static void
note_low(const struct reading *r, struct battery *b, uint32_t index, struct batteries *out,
    int32_t device)
{
	const struct event *ev = &r->v->event[index];
	bool still = ev->marks & MARK_STILL;

	if (b->changed != NO_TIME) {
		/* Low again so soon: the change did not help, or was none. */
		if (!is_proven(r, b->changed, ev->at))
			b->changed = NO_TIME;
		else
			*b = (struct battery){ .onset = NO_TIME, .restored = NO_TIME,
				.last_low = NO_TIME, .changed = NO_TIME };
	}
	if (b->state == CELL_GOOD && !still) {
		b->onset = ev->at;
		b->onset_event = index;
		out->onset[out->n_onset++] = (struct battery_onset){ ev->at, device };
	} else if (b->state == CELL_MARGINAL && !still) {
		b->flips++;
	}
	b->state = CELL_LOW;
	b->last_low = ev->at;
	b->last_event = index;
}

static void
note_good(const struct reading *r, struct battery *b, uint32_t index, int32_t device, bool replaced)
{
	const struct event *ev = &r->v->event[index];

	if (replaced) {
		b->changed = ev->at;
	} else if (b->state == CELL_GOOD) {
		return;		/* the low was before the log, or there was none */
	} else if (was_worked_on(r, device, ev->at)) {
		b->changed = ev->at;
	} else if (b->state == CELL_LOW) {
		b->night |= in_night(r, &r->v->event[b->last_event]) && !in_night(r, ev)
		    && ev->at - b->last_low < DAY;
	}
	if (b->state != CELL_GOOD) {
		b->restored = ev->at;
		b->state = CELL_MARGINAL;
	}
}

static void
settle(const struct reading *r, const struct device *d, struct battery *b)
{
	if (b->state == CELL_GOOD)
		return;
	if (d->installed != NO_TIME && (d->installed > b->last_low
	    || (b->restored != NO_TIME && b->restored > b->last_low
	    && d->installed + DAY > b->last_low))) {
		if (b->changed == NO_TIME || d->installed > b->changed)
			b->changed = d->installed > b->last_low ? d->installed : b->last_low;
	}
	if (b->changed != NO_TIME)
		b->state = is_proven(r, b->changed, r->v->now) ? CELL_GOOD : CELL_WATCHED;
}

/* No override makes a cell of what is or may be life safety count as changed any sooner. */
static void
terms_for(struct reading *r, int32_t device)
{
	const struct device *d = &r->v->device[device];
	int64_t sign = setting_ms(r->v, &rule_battery_cluster, "sign", device);
	int64_t proof = setting_ms(r->v, &rule_battery_cluster, "proof", device);
	int64_t usual_sign = (int64_t)battery_usual("sign") * MINUTE;
	int64_t usual_proof = (int64_t)battery_usual("proof") * DAY;

	if (d->life || d->maybe_life) {
		sign = sign < usual_sign ? sign : usual_sign;
		proof = proof > usual_proof ? proof : usual_proof;
	}
	r->sign = sign;
	r->proof = proof;
}

void
batteries_find(struct view *v, struct batteries *out)
{
	const struct rule *rule = &rule_battery_cluster;
	struct reading r = { .v = v,
		.night_from = setting_value(v, rule, "night_from", -1),
		.night_to = setting_value(v, rule, "night_to", -1) };
	size_t lows = 0;

	*out = (struct batteries){ 0 };
	out->device = arena_take(&v->arena, v->n_device * sizeof *out->device);
	for (size_t i = 0; i < v->n_device; i++)
		out->device[i] = (struct battery){ .onset = NO_TIME, .last_low = NO_TIME,
			.restored = NO_TIME, .changed = NO_TIME };
	for (size_t i = 0; i < v->n_event; i++)
		lows += v->event[i].word == W_LOW_BATTERY;
	if (!lows)
		return;
	out->onset = arena_take(&v->arena, lows * sizeof *out->onset);
	r.state = view_state(v);
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];
		struct battery *b = &out->device[i];

		if (d->n_event)
			terms_for(&r, (int32_t)i);
		for (size_t k = 0; k < d->n_event; k++) {
			uint32_t index = d->event[k];

			if (r.state->meant[index] == W_LOW_BATTERY)
				note_low(&r, b, index, out, (int32_t)i);
			else if (v->event[index].marks & MARK_STILL)
				continue;
			else if (r.state->meant[index] == W_BATTERY_RESTORE)
				note_good(&r, b, index, (int32_t)i, false);
			else if (r.state->meant[index] == W_CELL_REPLACED)
				note_good(&r, b, index, (int32_t)i, true);
		}
		settle(&r, d, b);
		b->former = d->unlearned != NO_TIME;
	}
}
