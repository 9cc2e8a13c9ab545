/* loss_checks.c - weak cell, weak signal, or taken off: the signs for each. */
#include "rules/loss_checks.h"

#include "rules/radio.h"
#include "rules/when.h"

static const char *
plural(size_t n)
{
	return n == 1 ? "" : "s";
}

struct signs {
	int64_t low;		/* newest low-battery report before it went, with the cell that
				 * is in it; NO_TIME */
	bool    low_back;	/* it was taken back since */
	int64_t tamper;		/* shortly before it went; NO_TIME */
	uint32_t low_event, tamper_event;
	size_t  came_back;	/* losses of the last weeks that ended */
	size_t  neighbours;	/* other devices here that were lost in the same days */
	const char *company;	/* names of those that went within one check-in of it and are lost
				 * still, or went with it each time */
	size_t  n_company;
	int32_t repeater;	/* one of these that is a repeater; -1 */
	struct radio radio;
	bool    often;		/* more check-ins did not come than do with a good path */
	int32_t former;		/* the device that it replaced on its zone; -1 */
	int32_t heir;		/* one that may have replaced it elsewhere; -1 */
};

enum { COMPANY_SHOWN = 6 };

/* A device of the same zone that was there before it; the newest of these. */
static int32_t
find_former(const struct view *v, const struct device *d)
{
	int32_t best = -1;

	for (size_t i = 0; *d->zone_key && i < v->n_device; i++) {
		const struct device *o = &v->device[i];

		if (o != d && o->zone_key == d->zone_key && o->area == d->area && *o->serial_key &&
		    o->unlearned != NO_TIME && d->learned != NO_TIME && o->unlearned <= d->learned &&
		    (best < 0 || o->unlearned > v->device[best].unlearned))
			best = (int32_t)i;
	}
	return best;
}

/* One of the same kind that was learned on another zone after this one was last heard, and
 * is heard: people replace a device and forget to take the old one out. */
static int32_t
find_heir(const struct view *v, const struct device *d, int64_t gone)
{
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *o = &v->device[i];

		if (o != d && o->kind == d->kind && d->kind != KIND_UNKNOWN && *o->serial_key &&
		    o->unlearned == NO_TIME && o->learned != NO_TIME && o->learned >= gone &&
		    o->last_heard != NO_TIME && o->last_heard >= o->learned)
			return (int32_t)i;
	}
	return -1;
}

/* Did the other device go whenever this one went, or nearly, and more than once? */
static bool
in_step(const struct view *v, const struct losses *l, int32_t device, int32_t other)
{
	int64_t from = v->now - losses_limit_ms(v, "lookback", device);
	double share = losses_limit(v, "together_share", device) / 100;
	size_t times = 0, with = 0;

	for (size_t k = l->first[device]; k < l->first[device + 1]; k++) {
		const struct loss *loss = &l->loss[k];
		bool along = false;

		if (loss->sort != LOSS_TOLD || loss->at < from)
			continue;
		for (size_t i = l->first[other]; i < l->first[other + 1] && !along; i++)
			along = l->loss[i].sort == LOSS_TOLD && l->loss[i].at >= loss->at - l->window &&
			    l->loss[i].at <= loss->at + l->window;
		times++;
		with += along;
	}
	return with >= 2 && (double)with >= share * (double)times;
}

static struct signs
signs_of(struct view *v, const struct losses *l, const struct loss *of, struct arena *a)
{
	int32_t device = of->device;
	struct signs s = { .low = NO_TIME, .tamper = NO_TIME, .company = "",
		.repeater = -1 };
	int64_t gone = of->gone != NO_TIME ? of->gone : of->at;
	int64_t cell = of->at - losses_limit_ms(v, "cell_sign", device);
	int64_t tamper = losses_limit_ms(v, "tamper_sign", device);
	int64_t told = of->at - losses_limit_ms(v, "declares", device);
	int64_t lookback = losses_limit_ms(v, "lookback", device);
	int64_t days = losses_limit_ms(v, "losses_within", device);
	const struct device *d = &v->device[device];

	for (size_t k = 0; k < d->n_event; k++) {
		const struct event *ev = &v->event[d->event[k]];

		switch (ev->word) {
		case W_LOW_BATTERY:
			if (ev->at >= cell) {
				s.low = ev->at;
				s.low_event = d->event[k];
				s.low_back = false;
			}
			break;
		case W_BATTERY_RESTORE:
			s.low_back = true;
			break;
		case W_CELL_REPLACED:
			s.low = NO_TIME;
			break;
		case W_TAMPER:
			if (ev->at >= gone - tamper && ev->at >= told - tamper) {
				s.tamper = ev->at;
				s.tamper_event = d->event[k];
			}
			break;
		default:
			break;
		}
	}
	s.radio = radio_find(v, l, device, gone);
	s.former = find_former(v, d);
	s.heir = find_heir(v, d, gone);
	for (size_t i = 0; i < v->n_device; i++) {
		bool along = false, with = false;

		for (size_t k = l->first[i]; k < l->first[i + 1]; k++) {
			const struct loss *loss = &l->loss[k];

			if ((int32_t)i == device)
				s.came_back += loss->end != NO_TIME && loss->at > v->now - lookback;
			else
				along |= loss->sort == LOSS_TOLD && loss->at >= of->at - days &&
				    loss->at <= of->at + days;
			with |= (int32_t)i != device && loss->end == NO_TIME && of->end == NO_TIME &&
			    loss->sort == of->sort && loss->at >= of->at - l->window &&
			    loss->at <= of->at + l->window;
		}
		s.neighbours += along;
		with |= (int32_t)i != device && in_step(v, l, device, (int32_t)i);
		if (with && v->device[i].kind == KIND_REPEATER)
			s.repeater = (int32_t)i;
		if (with && s.n_company++ < COMPANY_SHOWN)
			s.company = arena_fmt(a, "%s%s%s", s.company, *s.company ? "; " : "",
			    device_label(v, (int32_t)i));
	}
	return s;
}

static void
check_removed(const struct view *v, struct findings *out, struct finding *f, const struct signs *s)
{
	struct arena *a = &out->arena;

	if (s->tamper == NO_TIME) {
		finding_check(out, f, "Is it in its place, closed and undamaged?");
		return;
	}
	finding_evidence(out, f, s->tamper_event);
	finding_check(out, f, arena_fmt(a, "Place and cover: tamper was reported at %s, close to "
	    "when it went. Was it taken off, opened or damaged?", when_local(v, a, s->tamper)));
}

static void
check_cell(const struct view *v, struct findings *out, struct finding *f, const struct signs *s)
{
	struct arena *a = &out->arena;

	if (s->low == NO_TIME) {
		finding_check(out, f, "Weak cell: no low-battery report came before, so it is "
		    "the less likely. Measure it, or fit a fresh one of the type on the device's "
		    "label.");
		return;
	}
	finding_evidence(out, f, s->low_event);
	finding_check(out, f, arena_fmt(a, "Weak cell: low battery was reported at %s%s. Fit a "
	    "fresh cell of the type on the device's label.", when_local(v, a, s->low),
	    s->low_back ? ", and taken back since, as a marginal cell does" : ""));
}

static void
check_path(struct findings *out, struct finding *f, const struct signs *s)
{
	struct arena *a = &out->arena;
	const struct radio *r = &s->radio;
	const char *text = "";

	if (s->came_back)
		text = arena_fmt(a, "%s It was lost and came back %zu time%s lately.", text,
		    s->came_back, plural(s->came_back));
	if (s->neighbours)
		text = arena_fmt(a, "%s %zu other device%s here %s lost in the same days.", text,
		    s->neighbours, plural(s->neighbours), s->neighbours == 1 ? "was" : "were");
	if (r->falls)
		text = arena_fmt(a, "%s Its signal fell from %g to %g %s before (%.2g %s a week).", text,
		    r->first, r->last, strength_text(r->unit), r->week, r->unit == STRENGTH_DBM ? "dB" :
		    strength_text(r->unit));
	else if (r->signals)
		text = arena_fmt(a, "%s Its signal was %g %s, without a fall that would matter.", text,
		    r->last, strength_text(r->unit));
	if (r->missed && s->often)
		text = arena_fmt(a, "%s In the days before it went, %ld of %ld check-ins did not come, up to "
		    "%ld in a row.", text, r->missed, r->missed + r->came, r->worst);
	if (r->hour >= 0)
		text = arena_fmt(a, "%s %zu of %zu times it went between %d and %d o'clock: what is "
		    "switched on, closed or parked then?", text, r->within, r->begins, r->hour,
		    (r->hour + 6) % 24);
	finding_check(out, f, arena_fmt(a, "Weak signal:%s Read its signal at the panel; look for "
	    "metal, water, a new appliance, or a moved panel or repeater between the two.", text));
}

/* How much speaks for each cause. A falling signal and a low cell say most; what else is
 * seen adds to it. Common practice, no source. */
static int
weight_path(const struct signs *s)
{
	return (s->came_back >= 2 || (s->came_back && s->neighbours) || s->neighbours >= 2) +
	    2 * s->radio.falls + s->often + (s->radio.hour >= 0);
}

static int
weight_cell(const struct signs *s)
{
	return s->low == NO_TIME ? 0 : 2;
}

static void
measure_signs(struct findings *out, struct finding *f, const struct signs *s)
{
	const struct radio *r = &s->radio;
	int path = weight_path(s), cell = weight_cell(s);

	if (s->tamper != NO_TIME)
		finding_measure_text(out, f, "likely", "taken off, opened or damaged");
	else if (path || cell)
		finding_measure_text(out, f, "likely", cell >= path ? "weak cell" : "weak signal");
	if (r->came + r->missed)
		finding_measure(out, f, "missed_before", 100.0 * (double)r->missed /
		    (double)(r->came + r->missed), "%");
	if (r->missed)
		finding_measure(out, f, "missed_in_a_row_before", (double)r->worst, "check-ins");
	if (r->signals) {
		finding_measure(out, f, "signal", r->last, strength_text(r->unit));
		finding_measure(out, f, "signal_a_week", r->week, r->unit == STRENGTH_DBM ? "dB" :
		    strength_text(r->unit));
		finding_measure(out, f, "signal_p", r->p, "");
	}
}

/* The last step, once it is heard again. */
static const char *
proof_for(enum kind k)
{
	switch (k) {
	case KIND_CONTACT:
		return "When it is heard again: open and close it, and see both in the log.";
	case KIND_MOTION:
	case KIND_GLASS_BREAK:
	case KIND_SHOCK:
		return "When it is heard again: walk test it, and see it in the log.";
	case KIND_REPEATER:
		return "When it is heard again: see that the devices behind it are heard, too.";
	case KIND_KEYPAD:
	case KIND_SIREN:
	case KIND_PANEL:
	case KIND_TEMPERATURE:
	case KIND_WATER:
	case KIND_DEVICE_OTHER:
		return "When it is heard again: test it, and see it in the log.";
	default:
		return "When it is heard again: with the account on test, test it as its maker "
		    "says, and have the signal confirmed by those who monitor it.";
	}
}

static void
check_replaced(struct view *v, struct findings *out, struct finding *f, const struct signs *s)
{
	struct arena *a = &out->arena;

	if (s->former >= 0) {
		const struct device *o = &v->device[s->former];

		finding_measure_text(out, f, "replaced_serial", o->serial);
		finding_check(out, f, arena_fmt(a, "It took the place of serial %s at %s: if that one is "
		    "still there, was the new one fitted at all?", o->serial,
		    when_local(v, a, o->unlearned)));
	}
	if (s->heir >= 0) {
		const struct device *o = &v->device[s->heir];

		finding_measure_text(out, f, "maybe_now_serial", o->serial);
		finding_check(out, f, arena_fmt(a, "Was it replaced? %s was learned at %s, after this one "
		    "was last heard, and is heard: if it is its successor, the old serial only has to be "
		    "taken out of the panel. See both before that.", device_label(v, s->heir),
		    when_local(v, a, o->learned)));
	}
}

/* One device, or a part of the site that shares a repeater or a wall: each that is lost has a
 * finding of its own, and says with whom it went. */
static void
check_company(struct view *v, struct findings *out, struct finding *f, const struct signs *s,
    const struct loss *loss)
{
	struct arena *a = &out->arena;
	const char *more = s->n_company > COMPANY_SHOWN ? "; and more" : "";

	finding_measure(out, f, "together", (double)s->n_company + 1, "devices");
	if (v->device[loss->device].kind == KIND_REPEATER)
		finding_check(out, f, arena_fmt(a, "It is a repeater, and these went with it: %s%s. See "
		    "its supply and its place first.", s->company, more));
	else if (s->repeater >= 0)
		finding_check(out, f, arena_fmt(a, "A repeater went with it: %s. See that one's supply "
		    "first. Went together: %s%s.", device_label(v, s->repeater), s->company, more));
	else
		finding_check(out, f, arena_fmt(a, "Not alone: %s%s went with it. Is there one repeater, or "
		    "one part of the building, that they share? See its supply first.", s->company, more));
}

void
loss_checks(struct view *v, const struct losses *l, const struct loss *loss,
    struct findings *out, struct finding *f)
{
	const struct device *d = &v->device[loss->device];
	struct signs s = signs_of(v, l, loss, &out->arena);
	int path, cell;

	s.often = s.radio.missed && 100.0 * (double)s.radio.missed >= losses_limit(v, "missed_sign",
	    loss->device) * (double)(s.radio.missed + s.radio.came);
	path = weight_path(&s);
	cell = weight_cell(&s);
	measure_signs(out, f, &s);
	if (loss->end == NO_TIME && (d->life || d->maybe_life))
		finding_check(out, f, "Tell the people on the site that this device may not "
		    "report until it is heard again; ask what local codes require until then.");
	if (loss->sort == LOSS_NEVER) {
		finding_check(out, f, "Was it fitted, and is its cell in and switched on?");
		finding_check(out, f, "Compare the serial on its sticker with the one the panel "
		    "learned.");
	}
	check_replaced(v, out, f, &s);
	if (loss->doubtful)
		finding_check(out, f, "The restore in the log was written by the panel itself, "
		    "after a restart, a disarming or programming: it does not show that the device "
		    "is back.");
	/* Who went with the whole site stands in the site's finding. */
	if (s.n_company && (loss->group < 0 || !l->group[loss->group].open))
		check_company(v, out, f, &s, loss);
	if (s.tamper != NO_TIME)
		check_removed(v, out, f, &s);
	if (cell >= path && cell)
		check_cell(v, out, f, &s);
	if (path)
		check_path(out, f, &s);
	if (cell && cell < path)
		check_cell(v, out, f, &s);
	if (s.tamper == NO_TIME)
		check_removed(v, out, f, &s);
	if (!cell)
		check_cell(v, out, f, &s);
	if (!path)
		check_path(out, f, &s);
	finding_check(out, f, proof_for(d->kind));
}
