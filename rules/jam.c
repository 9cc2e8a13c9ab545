/* Radio interference that stays, or comes back.
 *
 * Beside supervision-loss: that one says which devices are not heard, this one what the
 * panel itself says about the air. Where both speak they are the cause and its effect, and
 * neither takes the other's place, for a jammed receiver may have lost nothing so far. */
#include "rules/care.h"
#include "rules/rule.h"
#include "rules/spells.h"
#include "rules/when.h"

#define USUAL "common practice, no source"

enum { OPEN, TIMES, WITHIN };

static const struct setting settings[] = {
	[OPEN] = { "open", 10, 0, 1440, "min",
	  "common practice, no source; fire radio tells interference after 20 s (NFPA 72, from "
	  "memory)" },
	[TIMES] = { "times", 3, 2, 100, "", USUAL },
	[WITHIN] = { "within", 7, 1, 90, "d", USUAL },
	{ NULL, 0, 0, 0, NULL, NULL }
};

/* Devices that life safety hangs on, and those that may be such, on the radio. */
struct radio {
	size_t devices, life, maybe;
};

static struct radio
radio_of(const struct view *v)
{
	struct radio r = { 0 };

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];
		bool here = d->wireless && d->unlearned == NO_TIME;

		r.devices += here;
		r.life += here && d->life;
		r.maybe += here && d->maybe_life;
	}
	return r;
}

/* With life safety on the radio a setting can make the rule stricter, never laxer. */
static double
limit(const struct view *v, int which, const struct radio *r)
{
	double value = setting_value(v, &rule_jam, settings[which].name, -1);
	double usual = settings[which].value;

	if (!r->life && !r->maybe)
		return value;
	return (which == WITHIN ? value < usual : value > usual) ? usual : value;
}

static void
judge(struct view *v, struct findings *out)
{
	struct spells all;
	struct radio radio;
	const struct spell *open = NULL;
	struct arena *a = &out->arena;
	struct finding *f;
	int64_t within;
	size_t n, often, first = 0, last = 0;

	spells_find(v, W_JAM, W_JAM_CLEAR, &all);
	if (!all.n)
		return;
	radio = radio_of(v);
	within = (int64_t)(limit(v, WITHIN, &radio) * DAY);
	n = spells_newest(&all, within, &first, &last);	/* 0: all are of devices */
	for (size_t i = all.n; i-- > 0;)
		if (all.spell[i].to == NO_TIME)
			open = &all.spell[i];
	if (open && (double)view_cover_within(v, open->from, v->now) <
	    limit(v, OPEN, &radio) * MINUTE)
		open = NULL;
	often = spells_due(v, &all, (size_t)limit(v, TIMES, &radio), within, &first, &last);
	n = often ? often : n ? n : 1;
	if (!open && !often)
		return;
	if (open && (!often || open < &all.spell[first]))
		first = (size_t)(open - all.spell);
	f = finding_add(out, v, &rule_jam, -1, "site");
	f->level = radio.life ? LEVEL_NOW : LEVEL_SOON;
	f->life = radio.life > 0;
	f->onset = all.spell[first].from;
	for (size_t i = first; i < all.n; i++) {
		const struct spell *s = &all.spell[i];

		f->count++;
		f->last = s->from;
		finding_evidence(out, f, s->event);
		if (s->to != NO_TIME)
			finding_evidence(out, f, s->end_event);
	}
	finding_summary(out, f, "Radio interference %s%s%s; %zu wireless device%s%s.",
	    open ? arena_fmt(a, "since %s without an end in the log",
	    when_local(v, a, open->from)) : "",
	    open && often ? ", " : "", often ? arena_fmt(a, "%zu times within %s", n,
	    rule_span_text(a, within)) : "", radio.devices, radio.devices == 1 ? "" : "s",
	    radio.life ? arena_fmt(a, ", %zu of life safety", radio.life) : "");
	finding_measure(out, f, "times", (double)n, "");
	if (open)
		finding_measure(out, f, "open", (double)(v->now - open->from) / HOUR, "h");
	finding_measure(out, f, "wireless", (double)radio.devices, "devices");
	finding_measure(out, f, "life_safety", (double)radio.life, "devices");
	if (radio.life)
		finding_check(out, f, "Until the air is clear nobody may rely on the wireless "
		    "fire, gas and emergency devices: tell the people there, and follow the "
		    "local fire instruction for a system that is impaired");
	finding_check(out, f, "Ask the station, then test that each device is received from its "
	    "place, life safety first");
	finding_check(out, f, "What transmits near the receiver: new radio gear, cordless "
	    "equipment, lamp or power supply that disturbs, a transmitter that sends without a "
	    "pause");
	finding_check(out, f, "Receiver: place, antenna, distance from metal, its supply");
	finding_check(out, f, "Was it in the night, or while the place was empty? Somebody may "
	    "do it on purpose");
	finding_caution(out, f, CARE_SITE_TEST);
	if (radio.maybe)
		finding_caution(out, f, CARE_MAYBE_LIFE);
}

const struct rule rule_jam = {
	.id = "jam",
	.title = "Radio interference that stays or comes back",
	.why = "While the receiver is jammed, no wireless device can report: nor smoke, nor a "
	    "door.",
	.quiet_on = "One or two short spells of interference that ended; time that no export "
	    "covers.",
	.limits = "The panel judges the air at its receiver, not at each device. An end that the "
	    "panel did not report looks like interference that stays.",
	.setting = settings,
	.judge = judge,
};
