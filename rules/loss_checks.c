/* loss_checks.c - weak cell, weak signal, or taken off: the signs for each. */
#include "rules/loss_checks.h"

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
};

static struct signs
signs_of(const struct view *v, const struct losses *l, const struct loss *of)
{
	int32_t device = of->device;
	struct signs s = { .low = NO_TIME, .tamper = NO_TIME };
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
	for (size_t i = 0; i < v->n_device; i++) {
		bool along = false;

		for (size_t k = l->first[i]; k < l->first[i + 1]; k++) {
			const struct loss *loss = &l->loss[k];

			if ((int32_t)i == device)
				s.came_back += loss->end != NO_TIME && loss->at > v->now - lookback;
			else
				along |= loss->sort == LOSS_TOLD && loss->at >= of->at - days &&
				    loss->at <= of->at + days;
		}
		s.neighbours += along;
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
	const char *here = "", *back = "";

	if (s->neighbours)
		here = arena_fmt(a, " %zu other device%s here %s lost in the same days.",
		    s->neighbours, plural(s->neighbours), s->neighbours == 1 ? "was" : "were");
	if (s->came_back)
		back = arena_fmt(a, " It was lost and came back %zu time%s lately.",
		    s->came_back, plural(s->came_back));

	finding_check(out, f, arena_fmt(a, "Weak signal:%s%s Read its signal at the panel; look "
	    "for metal, water, a new appliance, or a moved panel or repeater between the two.", back,
	    here));
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

void
loss_checks(const struct view *v, const struct losses *l, const struct loss *loss,
    struct findings *out, struct finding *f)
{
	const struct device *d = &v->device[loss->device];
	struct signs s = signs_of(v, l, loss);
	bool path = s.came_back >= 2 || (s.came_back && s.neighbours) || s.neighbours >= 2;

	if (loss->end == NO_TIME && (d->life || d->maybe_life))
		finding_check(out, f, "Tell the people on the site that this device may not "
		    "report until it is heard again; ask what local codes require until then.");
	if (loss->sort == LOSS_NEVER) {
		finding_check(out, f, "Was it fitted, and is its cell in and switched on?");
		finding_check(out, f, "Compare the serial on its sticker with the one the panel "
		    "learned.");
	}
	if (loss->doubtful)
		finding_check(out, f, "The restore in the log was written by the panel itself, "
		    "after a restart, a disarming or programming: it does not show that the device "
		    "is back.");
	if (s.tamper != NO_TIME)
		check_removed(v, out, f, &s);
	if (s.low != NO_TIME)
		check_cell(v, out, f, &s);
	if (path)
		check_path(out, f, &s);
	if (s.tamper == NO_TIME)
		check_removed(v, out, f, &s);
	if (s.low == NO_TIME)
		check_cell(v, out, f, &s);
	if (!path)
		check_path(out, f, &s);
	finding_check(out, f, proof_for(d->kind));
}
