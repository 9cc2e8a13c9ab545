/* Every alarm of a life-safety point is shown, and nothing that the log says takes it
 * away: only a person can say that it was nothing. */
#include "rules/arming.h"
#include "rules/checks.h"
#include "rules/rule.h"

static const struct setting settings[] = {
	{ "join", 24, 1, 168, "h", "common practice, no source" },
	{ "comings", 2, 2, 10, "", "common practice, no source" },
	{ "test", 4, 1, 4, "h", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

/* The alarms of one point that belong together, while the events are followed. */
struct episode {
	struct finding *f;	/* NULL = none yet */
	int64_t  last;
	int64_t  restored;	/* after the newest alarm; NO_TIME = not yet */
	uint32_t comings;	/* alarms that began anew after a return */
	uint32_t still;		/* reports that it is still in alarm */
	uint32_t in_test;
	uint32_t said[WORD_COUNT];
};

struct judging {
	struct view     *v;
	struct findings *out;
	struct arming    arming;
	struct episode  *episode;	/* [0] the panel, then one for each device */
	int64_t          join;
};

static bool
is_life_alarm(const struct view *v, const struct event *ev)
{
	const struct device *d = ev->device < 0 ? NULL : &v->device[ev->device];
	unsigned p = word_properties(ev->word);
	bool life = (p & WP_LIFE) || (ev->marks & MARK_LIFE_CODE) || kind_is_life(ev->hint) ||
	    (d && d->life);

	switch (ev->word) {
	case W_NEAR_ALARM:		/* a fire detector close to its alarm */
	case W_ALARM_VERIFIED:
	case W_SWINGER:			/* went off so often that the panel shut it out */
	case W_FIRE_SUPERVISORY:
		return life;
	case W_ZONE_OPEN:
	case W_TRIP:			/* some logs have no other word for it */
		return d && kind_is_life(d->kind);
	default:
		return life && (p & WP_ALARM);
	}
}

static bool
is_return(enum word w)
{
	return (word_properties(w) & WP_RETURN) || w == W_RESTORE || w == W_FIRE_SUPERVISORY_RESTORE;
}

static const char *
said_text(enum word w)
{
	switch (w) {
	case W_FIRE_ALARM:       return "fire alarm";
	case W_HEAT_ALARM:       return "heat alarm";
	case W_CO_ALARM:         return "carbon monoxide alarm";
	case W_GAS_ALARM:        return "gas alarm (may be carbon monoxide)";
	case W_WATER_ALARM:      return "water alarm";
	case W_MEDICAL_ALARM:    return "medical alarm";
	case W_PANIC_ALARM:      return "panic alarm";
	case W_HOLD_UP_ALARM:    return "hold-up alarm";
	case W_DURESS_ALARM:     return "duress alarm";
	case W_BURGLARY_ALARM:   return "burglar alarm of a life-safety point";
	case W_NEAR_ALARM:       return "near alarm";
	case W_ALARM_VERIFIED:   return "verified alarm";
	case W_SWINGER:          return "shut out by the panel after going off repeatedly";
	case W_FIRE_SUPERVISORY: return "fire supervisory signal";
	case W_ZONE_OPEN:
	case W_TRIP:             return "set off";
	default:                 return "alarm";
	}
}

/* What the panel's own alarms speak of, by urgency of what to do first. */
static enum kind
kind_said(const struct episode *e)
{
	if (e->said[W_CO_ALARM])
		return KIND_CO;
	if (e->said[W_GAS_ALARM])
		return KIND_GAS;
	if (e->said[W_FIRE_ALARM] || e->said[W_HEAT_ALARM] || e->said[W_FIRE_SUPERVISORY])
		return KIND_SMOKE;
	if (e->said[W_HOLD_UP_ALARM] || e->said[W_DURESS_ALARM] || e->said[W_PANIC_ALARM])
		return KIND_PANIC;
	return e->said[W_MEDICAL_ALARM] ? KIND_MEDICAL : KIND_UNKNOWN;
}

/* "fire alarm 3 times, heat alarm" */
static const char *
all_said(struct arena *a, const struct episode *e)
{
	const char *text = "";

	for (enum word w = 0; w < WORD_COUNT; w++) {
		if (!e->said[w])
			continue;
		text = arena_fmt(a, "%s%s%s", text, *text ? ", " : "", said_text(w));
		if (e->said[w] > 1)
			text = arena_fmt(a, "%s %u times", text, e->said[w]);
	}
	return text;
}

static void
finish(struct judging *j, struct episode *e)
{
	struct finding *f = e->f;
	struct findings *out = j->out;
	struct arena *a = &out->arena;
	const struct rule *r = f->rule;
	int64_t reports = f->count;
	enum kind k = f->device < 0 ? KIND_UNKNOWN : j->v->device[f->device].kind;
	enum kind said = kind_said(e);
	const char *within = "", *comes = "", *test = "";
	char when[CIVIL_TEXT];
	bool goes = e->comings >= (uint32_t)setting_value(j->v, r, "comings", f->device);

	if (k == KIND_UNKNOWN || !kind_is_life(k) || said == KIND_CO)
		k = said == KIND_UNKNOWN ? k : said;
	if (reports > 1)
		within = arena_fmt(a, " within %s", rule_span_text(a, f->last - f->onset));
	if (goes && (k == KIND_CO || k == KIND_GAS))
		comes = arena_fmt(a, "; it came and went %u times: a possible exposure to carbon "
		    "monoxide or gas", e->comings);
	else if (goes && k != KIND_MEDICAL && k != KIND_PANIC && k != KIND_HOLD_UP)
		comes = arena_fmt(a, "; it came and went %u times: a possible fire", e->comings);
	else if (goes)
		comes = arena_fmt(a, "; it came and went %u times", e->comings);
	if (e->in_test)
		test = e->in_test == reports ? "; in test" :
		    arena_fmt(a, "; %u of them in test", e->in_test);
	finding_summary(out, f, "%s: %s%s%s%s%s; %s.", device_label(j->v, f->device),
	    all_said(a, e), within, e->still && e->still == reports ?
	    ", reported as still present; its beginning is not in the log" : "", comes, test,
	    e->restored == NO_TIME ? "no restore in the log" : "restored by the log");
	finding_measure(out, f, "alarms", (double)reports, "");
	finding_measure(out, f, "comings", e->comings, "");
	finding_measure(out, f, "in_test", e->in_test, "");
	finding_measure_text(out, f, "restored", e->restored == NO_TIME ? "no" :
	    arena_text(a, span_of(civil_rfc3339(e->restored, when))));
	if (e->in_test)
		finding_check(out, f, "Who ran the test, and was this alarm expected then? Until "
		    "that is answered it is real.");
	checks_life(out, f, k);
}

static void
alarm(struct judging *j, uint32_t index, const struct rule *r)
{
	const struct event *ev = &j->v->event[index];
	struct episode *e = &j->episode[ev->device + 1];

	if (e->f && ev->at - e->last > j->join)
		finish(j, e);
	if (!e->f || ev->at - e->last > j->join) {
		*e = (struct episode){ .f = finding_add(j->out, j->v, r, ev->device, NULL),
			.restored = NO_TIME, .comings = 1 };
		e->f->level = LEVEL_NOW;
		e->f->life = true;
		e->f->onset = ev->at;
	} else if (e->restored != NO_TIME) {
		e->comings++;
	}
	e->restored = NO_TIME;
	e->last = e->f->last = ev->at;
	e->f->count++;
	e->said[ev->word]++;
	e->still += (ev->marks & MARK_STILL) != 0;
	e->in_test += j->arming.of[index].test;
	finding_evidence(j->out, e->f, index);
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *r = &rule_life_alarm;
	struct judging j = { .v = v, .out = out, .join = setting_ms(v, r, "join", -1) };

	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (is_life_alarm(v, ev)) {
			if (!j.episode) {
				j.episode = arena_take(&out->arena,
				    (v->n_device + 1) * sizeof *j.episode);
				arming_of(v, &out->arena, setting_ms(v, r, "test", -1),
				    ARMING_SESSION_MAX, &j.arming);
			}
			alarm(&j, (uint32_t)i, r);
		} else if (j.episode && is_return(ev->word) && !(ev->marks & MARK_STILL)) {
			struct episode *e = &j.episode[ev->device + 1];

			if (e->f && e->restored == NO_TIME) {
				e->restored = ev->at;
				finding_evidence(out, e->f, (uint32_t)i);
			}
		}
	}
	for (size_t i = 0; j.episode && i <= v->n_device; i++)
		if (j.episode[i].f)
			finish(&j, &j.episode[i]);
}

const struct rule rule_life_alarm = {
	.id = "life-alarm",
	.title = "Alarm of a life-safety point",
	.why = "A fire, gas, medical, panic, hold-up or duress alarm was raised. It is real until "
	    "the fire service or a qualified person says otherwise; a carbon monoxide or smoke "
	    "detector that comes and goes is a possible exposure or fire.",
	.quiet_on = "Nothing. An alarm inside a test of its partition and kind is listed as in test.",
	.limits = "The log does not say what was found on the spot. Only a person's decision "
	    "closes a case; a restore is noted and closes nothing.",
	.setting = settings,
	.by_decision = true,
	.judge = judge,
};
