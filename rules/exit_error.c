/* exit_error.c - people who leave and set it off, again and again.
 *
 * One error is told by several rows (the door's zone, the user, the alarm that follows), so
 * rows within `same` are one. It is the account's habit, whatever zone or user stands in
 * the row: one finding a site. No other rule speaks of these rows.
 */
#include <string.h>

#include "rules/arming.h"
#include "rules/repeats.h"
#include "rules/when.h"

extern const struct rule rule_exit_error;

static const struct setting settings[] = {
	{ "errors", 3, 2, 100, "", "common practice, no source" },
	{ "within", 30, 1, 366, "d", "common practice, no source" },
	{ "same", 10, 1, 60, "min", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

/* The device that most of the errors name; -1 = none is named twice. */
static int32_t
usual_door(const struct view *v, const struct repeats *r, size_t first, size_t past)
{
	int32_t best = -1;
	size_t most = 1;

	for (size_t i = first; i < past; i++) {
		int32_t device = v->event[r->event[i]].device;
		size_t n = 0;

		for (size_t k = first; device >= 0 && k < past; k++)
			n += v->event[r->event[k]].device == device;
		if (n > most) {
			most = n;
			best = device;
		}
	}
	return best;
}

static void
report(struct view *v, struct findings *out, const struct repeats *r, size_t first, size_t past)
{
	struct finding *f = finding_add(out, v, &rule_exit_error, -1, "site");
	int32_t door = usual_door(v, r, first, past);
	struct arena *a = &out->arena;

	f->level = LEVEL_LATER;
	f->onset = v->event[r->event[first]].at;
	f->last = v->event[r->event[past - 1]].at;
	f->count = (long)(past - first);
	for (size_t i = first; i < past; i++)
		finding_evidence(out, f, r->event[i]);
	finding_summary(out, f, "%ld exit errors in %s, the last at %s%s%s.", f->count,
	    rule_span_text(a, f->last - f->onset), when_local(v, a, f->last),
	    door >= 0 ? "; most often " : "", door >= 0 ? device_label(v, door) : "");
	finding_check(out, f, "Walk the way out with those who arm: which door do they use, does "
	    "it latch, is the exit time long enough for them?");
	finding_check(out, f, "Door contact on the way out: does it close in time, or does the "
	    "door spring open again?");
	finding_check(out, f, "Show the users once more how to arm, and whom to call after an "
	    "error.");
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *rule = &rule_exit_error;
	size_t least = (size_t)setting_value(v, rule, "errors", -1), rows = 0, first, past;
	int64_t same = setting_ms(v, rule, "same", -1);
	struct repeats r = { .last = NO_TIME };
	struct arming arming;

	for (size_t i = 0; i < v->n_event; i++)
		rows += v->event[i].word == W_EXIT_ERROR;
	if (rows < least)
		return;
	arming_of(v, &out->arena, ARMING_TEST_MAX, ARMING_SESSION_MAX, &arming);
	for (size_t i = 0; i < v->n_event; i++)
		if (v->event[i].word == W_EXIT_ERROR && !(v->event[i].marks & MARK_STILL) &&
		    !arming.of[i].test && !arming.of[i].session)
			repeats_add(v, &r, (uint32_t)i, same);
	if (repeats_due(v, &r, least, setting_ms(v, rule, "within", -1), &first, &past))
		report(v, out, &r, first, past);
	repeats_release(&r);
}

const struct rule rule_exit_error = {
	.id = "exit-error",
	.title = "Exit errors again and again",
	.why = "An exit that goes wrong is a false alarm at the door. Most come from the same few "
	    "people and the same door, and stop when somebody shows them.",
	.quiet_on = "Several rows of one error; errors while on test or in a learn session.",
	.limits = "A panel that does not write exit errors shows them as alarms only.",
	.setting = settings,
	.judge = judge,
};
