/* low_battery.c - one device whose cell is low.
 *
 * Where battery-cluster fires, its list holds every cell that is due at the site; then a
 * device that is not known to be life safety has no finding of its own here (decided in
 * the fleet pass, when it is known which sites fire). Nor has one of which supervision-loss
 * speaks: a weak cell is the first thing looked at there. Where chatter speaks of it, which
 * names the weak cell as a cause, this finding stays `later`. Life safety always has its own.
 */
#include <string.h>

#include "rules/battery.h"
#include "rules/care.h"
#include "rules/cells.h"
#include "rules/chatter.h"
#include "rules/held.h"
#include "rules/when.h"

extern const struct rule rule_low_battery;

static const struct setting settings[] = {
	{ "life_after", 3, 0, 7, "d", "common practice, no source; under half of the 7 days' lead "
	    "of such a warning (NFPA 72, second hand)" },
	{ "lead", 7, 1, 90, "d", "7 days of lead (NFPA 72, second hand; 30 days in BS 5839-1)" },
	{ "good", 30, 30, 365, "d", "common practice, no source; 30 days of lead (BS 5839-1): a "
	    "cell that was low and lasts longer was changed" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

/* Since when the cell of this life has been low, as a condition that holds. */
static struct holding
holding_of(const struct held *h, const struct battery *b, int32_t device)
{
	const struct holding *told = &h->state->device[device].cond[COND_BATTERY];

	if (b->onset != NO_TIME)
		return (struct holding){ .since = b->onset, .event = b->onset_event };
	if (b->state == CELL_LOW)
		return *told;
	return (struct holding){ .since = b->last_low, .event = b->last_event, .before = true };
}

/* By how long it has been low. A flag that flips keeps the level of its last low for `lead` of
 * covered time, or it would fall each morning and rise each night. */
static enum level
level_of(struct held *h, const struct battery *b, int64_t since, int32_t device)
{
	int64_t age = h->v->now - since;

	if (b->state != CELL_LOW)
		age = view_cover_within(h->v, b->restored, h->v->now) < setting_ms(h->v, h->rule,
		    "lead", device) ? b->last_low - since : -1;

	if (h->v->device[device].life)
		return age >= held_limit_ms(h, "life_after", device) ? LEVEL_NOW : LEVEL_SOON;
	return age >= held_limit_ms(h, "lead", device) && !chatter_tells(h->v, device) ? LEVEL_SOON :
	    LEVEL_LATER;
}

static const char *
bring(struct held *h, int32_t device)
{
	const struct device *d = &h->v->device[device];
	struct cell cell = cell_fold(&h->out->arena, d->cell);
	int each = d->cells ? d->cells : cell.count;

	if (!*cell.label)
		return "Bring a new cell: the roster does not say which, see the label in the "
		    "device.";
	return arena_fmt(&h->out->arena, "Bring %s%d x %s.", each ? "" : "at least ", each ? each : 1,
	    cell.label);
}

static void
report(struct held *h, const struct battery *b, int32_t device)
{
	const struct device *d = &h->v->device[device];
	struct holding x = holding_of(h, b, device);
	struct findings *out = h->out;
	struct arena *a = &out->arena;
	struct finding *f = held_add(h, device, NULL, &x);
	const char *flips = "", *good = "";

	f->level = level_of(h, b, x.since, device);
	f->pending = !d->life;
	f->count = 1 + (long)b->flips;
	finding_evidence(out, f, b->last_event);
	finding_measure(out, f, "flips", b->flips, "");
	finding_measure_text(out, f, "last_word", b->state == CELL_LOW ? "low" : "good");
	if (b->flips)
		flips = arena_fmt(a, ", good and low again %u time%s since", b->flips,
		    b->flips == 1 ? "" : "s");
	if (b->state == CELL_MARGINAL)
		good = arena_fmt(a, "; good again at %s, with no sign of a new cell: still to be "
		    "changed",
		    when_local(h->v, a, b->restored));
	finding_summary(out, f, "%s: battery low %s%s%s.", device_label(h->v, device),
	    held_since(h, &x), flips, good);
	finding_check(out, f, bring(h, device));
	if (b->night)
		finding_check(out, f, "Low by night and good again by day: cold brings out a weak "
		    "cell. It is not fixed.");
	finding_check(out, f, "After the change: the low battery is restored in the log, and the "
	    "device is tested in its place. Look again in two weeks.");
	if (d->kind == KIND_SMOKE || d->kind == KIND_CO || d->kind == KIND_GAS || d->kind == KIND_HEAT)
		finding_check(out, f, "If it still sounds with a new cell, that is no cell: treat "
		    "it as an alarm.");
	finding_caution(out, f, CARE_SITE_TEST);
}

static void
judge(struct view *v, struct findings *out)
{
	struct batteries cells;
	struct held h;
	bool any = false;

	for (size_t i = 0; i < v->n_event && !any; i++)
		any = v->event[i].word == W_LOW_BATTERY;
	if (!any)
		return;
	h = held_begin(v, out, &rule_low_battery);
	batteries_find(v, &cells);
	for (size_t i = 0; i < v->n_device; i++) {
		const struct battery *b = &cells.device[i];
		int32_t device = (int32_t)i;

		if (b->former || (b->state != CELL_LOW && b->state != CELL_MARGINAL) ||
		    (v->device[i].kind != KIND_PANEL && !battery_counts(v, device)))
			continue;
		if (b->state == CELL_MARGINAL && view_cover_within(v, b->restored, v->now) >=
		    setting_ms(v, &rule_low_battery, "good", device))
			continue;
		if (v->device[i].life || !held_lost_alone(&h, device))
			report(&h, b, device);
	}
}

static void
fleet(struct fleet *f, struct findings *out)
{
	(void)out;
	for (size_t i = 0; i < f->n_candidate; i++) {
		struct candidate *c = &f->candidate[i];

		c->fires = true;
		for (size_t k = 0; k < f->n_fired && c->fires; k++)
			c->fires = strcmp(f->fired[k].rule, "battery-cluster") != 0 ||
			    strcmp(f->fired[k].account, c->account) != 0;
	}
}

const struct rule rule_low_battery = {
	.id = "low-battery",
	.title = "Cell of one device is low",
	.why = "A device that says that its cell is low has days left, seldom weeks. A detector of "
	    "fire or gas must not run out.",
	.quiet_on = "Cells that were changed; a device that was good again for 30 days; devices "
	    "taken out or only heard by chance; repeats of one low battery. Where battery-cluster "
	    "lists all cells of a site, or supervision-loss speaks of the device, only life safety "
	    "is told again.",
	.limits = "A log without a word for a changed cell leaves a changed cell on the list until "
	    "it was good for 30 days.",
	.setting = settings,
	.judge = judge,
	.fleet = fleet,
};
