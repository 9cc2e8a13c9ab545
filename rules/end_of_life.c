/* end_of_life.c - a detector that says itself that it must be replaced.
 *
 * It holds until the device is taken out or replaced on its zone (rules/state.h), or a
 * roster gives a newer `installed`. No other rule speaks of it.
 */
#include "rules/care.h"
#include "rules/held.h"

extern const struct rule rule_end_of_life;

static const struct setting settings[] = {
	{ "life_after", 7, 0, 30, "d", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

static void
report(struct held *h, int32_t device, const struct holding *x)
{
	const struct device *d = &h->v->device[device];
	struct finding *f = held_add(h, device, NULL, x);

	f->level = LEVEL_LATER;
	if (d->life)
		f->level = h->v->now - x->since >= held_limit_ms(h, "life_after", device) ? LEVEL_NOW :
		    LEVEL_SOON;
	finding_summary(h->out, f, "%s: at its end of life %s, and not replaced by the log.",
	    device_label(h->v, device), held_since(h, x));
	finding_check(h->out, f, "Replace the device, not its cell: read the date on it, and bring "
	    "one that this panel takes.");
	finding_check(h->out, f, "Look at the others of its age at this site: they are due as "
	    "well.");
	finding_check(h->out, f, "After the work: the old serial is unlearned, the new one "
	    "learned, heard and tested in its place.");
	finding_caution(h->out, f, CARE_SITE_TEST);
	held_unclear(h, f);
}

static void
judge(struct view *v, struct findings *out)
{
	struct held h = held_begin(v, out, &rule_end_of_life);

	for (size_t i = 0; i < v->n_device; i++) {
		const struct holding *x = &h.state->device[i].cond[COND_END_OF_LIFE];
		const struct device *d = &v->device[i];

		if (x->since != NO_TIME && d->unlearned == NO_TIME &&
		    (d->installed == NO_TIME || d->installed <= x->since))
			report(&h, (int32_t)i, x);
	}
	for (size_t i = 0; i < h.state->n_open; i++) {
		const struct panel_holding *p = &h.state->open[i];
		struct finding *f;

		if (p->what != COND_END_OF_LIFE)
			continue;
		f = held_add(&h, -1, "panel:end-of-life", &p->holding);
		f->level = LEVEL_SOON;
		finding_summary(out, f, "Something is at its end of life %s; the log does not say "
		    "what.",
		    held_since(&h, &p->holding));
		finding_check(out, f, "Read at the panel which device is meant: it may be life "
		    "safety.");
		finding_caution(out, f, CARE_MAYBE_LIFE);
	}
}

const struct rule rule_end_of_life = {
	.id = "end-of-life",
	.title = "Detector at its end of life",
	.why = "A detector past its end of life may stay silent in a fire, or with carbon "
	    "monoxide.",
	.quiet_on = "Detectors that were taken out or replaced on their zone, or that the roster "
	    "gives as installed since.",
	.limits = "Only detectors that tell it are seen. A replacement under the same zone that no "
	    "row tells of stays on the list.",
	.setting = settings,
	.judge = judge,
};
