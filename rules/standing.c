/* standing.c - an input that went off and did not come back.
 *
 * Alarms of life safety are life-alarm's, whatever their age, and so is being set off where
 * the log has no other word; what is left of life safety here is a zone of that class that
 * is merely open. Where bypass-left or supervision-loss speaks of the device this rule is
 * silent: the bypass covers the opening, and of a lost device the last word is old.
 *
 * An input that reports no return in this log has no end to wait for. It counts only if it
 * went off just once and others of its kind here do report one. An alarm counts only where
 * the log shows the end of some alarm: many panels write none.
 */
#include "rules/arming.h"
#include "rules/care.h"
#include "rules/checks.h"
#include "rules/held.h"

extern const struct rule rule_standing;

static const struct setting settings[] = {
	{ "age", 24, 1, 720, "h", "usual rule in alarm-management texts (standing: over 24 h)" },
	{ "bypassed", 24, 1, 720, "h", "common practice, no source; as bypass-left" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

static bool
is_return(const struct event *ev)
{
	return (word_properties(ev->word) & WP_RETURN) || ev->word == W_RESTORE;
}

static bool
is_onset(const struct event *ev)
{
	return (word_properties(ev->word) & WP_ACTIVE) && !(ev->marks & MARK_STILL);
}

static bool
reports_returns(const struct view *v, const struct device *d)
{
	for (size_t i = 0; i < d->n_event; i++)
		if (is_return(&v->event[d->event[i]]))
			return true;
	return false;
}

static bool
has_an_end(const struct view *v, const struct device *d)
{
	size_t onsets = 0;

	if (reports_returns(v, d))
		return true;
	for (size_t i = 0; i < d->n_event; i++)
		onsets += is_onset(&v->event[d->event[i]]);
	for (size_t i = 0; onsets <= 1 && i < v->n_device; i++)
		if (v->device[i].kind == d->kind && reports_returns(v, &v->device[i]))
			return true;
	return false;
}

static bool
alarms_end(const struct held *h)
{
	for (size_t i = 0; i < h->v->n_event; i++)
		if (h->state->meant[i] == W_ALARM_RESTORE)
			return true;
	return false;
}

/* A return may lie in a gap of the export: an opening after it counts from there. */
static struct holding
after_gaps(const struct view *v, const struct device *d, struct holding x)
{
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &v->event[d->event[i]];

		if (ev->at > x.since && is_onset(ev) && !view_covered(v, x.since, ev->at))
			x = (struct holding){ .since = ev->at, .event = d->event[i] };
	}
	return x;
}

static bool
is_armed(struct held *h, int32_t device)
{
	struct arming arming;
	enum arm state;

	arming_of(h->v, &h->out->arena, ARMING_TEST_MAX, ARMING_SESSION_MAX, &arming);
	state = arming.end[h->v->device[device].area].state;
	return state == ARM_STAY || state == ARM_AWAY;
}

static void
judge_device(struct held *h, int32_t device)
{
	static const enum word ends[] = { W_ZONE_CLOSE, W_CLEAR, W_ALARM_RESTORE, W_OTHER };
	const struct device *d = &h->v->device[device];
	const struct holding *cond = h->state->device[device].cond;
	bool alarm = cond[COND_ALARM].since != NO_TIME, armed;
	struct finding *f;
	struct holding x;

	if (d->unlearned != NO_TIME || d->kind == KIND_KEYFOB || kind_is_life(d->kind) ||
	    (alarm && d->life))
		return;
	alarm = alarm && alarms_end(h);
	x = cond[alarm ? COND_ALARM : COND_OPEN];
	if (x.since == NO_TIME)
		return;
	x = after_gaps(h->v, d, x);
	if (h->v->now - x.since <= held_limit_ms(h, "age", device) || !has_an_end(h->v, d) ||
	    held_blurred(h, device, &x, ends))
		return;
	if (!d->life && cond[COND_BYPASS].since != NO_TIME &&
	    h->v->now - cond[COND_BYPASS].since >= setting_ms(h->v, h->rule, "bypassed", device))
		return;
	if (!d->life && held_lost(h, device))
		return;
	f = held_add(h, device, NULL, &x);
	armed = is_armed(h, device);
	f->level = d->life ? LEVEL_NOW : alarm || armed ? LEVEL_SOON : LEVEL_LATER;
	finding_measure_text(h->out, f, "armed", armed ? "yes" : "no");
	finding_summary(h->out, f, "%s: %s %s%s.", device_label(h->v, device),
	    condition_text(alarm ? COND_ALARM : COND_OPEN), held_since(h, &x),
	    armed ? ", and its partition is armed" : "");
	finding_check(h->out, f, alarm ? "Has anybody been there since? Go through the alarm first." :
	    "Ask whether it stands open on purpose; if so, is it left out when they arm?");
	checks_trips(h->out, f, d->kind);
	finding_caution(h->out, f, CARE_SITE_TEST);
	held_unclear(h, f);
}

static void
judge(struct view *v, struct findings *out)
{
	struct held h = held_begin(v, out, &rule_standing);

	for (size_t i = 0; i < v->n_device; i++)
		if (h.state->device[i].cond[COND_OPEN].since != NO_TIME ||
		    h.state->device[i].cond[COND_ALARM].since != NO_TIME)
			judge_device(&h, (int32_t)i);
}

const struct rule rule_standing = {
	.id = "standing",
	.title = "Input that stays open or in alarm",
	.why = "What stands open cannot be watched, and what stands in alarm hides the next one.",
	.quiet_on = "Alarms of life safety, which life-alarm tells; inputs that report no return "
	    "in this log; keyfobs; an end in the same minute of a log that has only minutes; what "
	    "bypass-left or supervision-loss speaks of; an opening before a gap in the export when "
	    "there was another after it.",
	.limits = "A door left open on a warm day looks like a broken contact. An alarm that names "
	    "no zone is not followed.",
	.setting = settings,
	.judge = judge,
};
