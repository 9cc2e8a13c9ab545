/* One device, alone, raises the alarm again and again while the place is armed.
 *
 * Detectors that see people are left out of what is armed while people stay: for them the
 * times that all were out are counted, and, should that be too few, all armed ones, since
 * some of them are armed by night too.
 *
 * What was found once stands until as many armed periods have passed since the last alarm
 * of a run; so it neither comes and goes with the oldest alarm, nor moves its onset.
 *
 * A person who comes in sets off more than one device. What goes off alone in every third
 * night is a fault, a draught, an animal, or a way in that one detector covers.
 *
 * Beside chatter: a device of which chatter speaks goes off in bursts, and is chatter's, at
 * the same level; here it is not told twice. Life safety is never judged here: each of its
 * alarms stands in life-alarm. */
#include <stdlib.h>

#include "rules/arming.h"
#include "rules/chatter.h"
#include "rules/checks.h"
#include "rules/rule.h"

#define USUAL "common practice, no source"

static const struct setting settings[] = {
	{ "times", 3, 2, 100, "armed periods", USUAL },
	{ "of", 10, 2, 1000, "armed periods", USUAL },
	{ "along", 10, 0, 120, "min",
	  "common practice, no source; BS 8243 confirms by a second device within 30 to 60 min "
	  "(from memory), which would take the keyholder who comes for one" },
	{ "cancel", 5, 0, 60, "min", "ANSI/SIA CP-01 cancel window of at least 5 min (from "
	    "memory)" },
	{ "test", 4, 1, 4, "h", USUAL },
	{ NULL, 0, 0, 0, NULL, NULL }
};

struct judging {
	struct view     *v;
	struct findings *out;
	struct arming    arming;
	bool             armed;		/* `arming` is made */
	struct lone {
		uint32_t event, period;
	}               *alarm;		/* those that count, of one device, in time order */
	size_t           n, cap;
};

/* What is due: alarms [first, past) of a device. */
struct due {
	size_t   first, past;
	size_t   with;		/* armed periods with such an alarm */
	uint32_t periods;	/* armed periods from the first of them to now */
	bool     away;		/* only armed away ones were counted */
};

static bool
is_alarm(const struct event *ev)
{
	return (ev->word == W_BURGLARY_ALARM || ev->word == W_ALARM) && ev->device >= 0 &&
	    !(ev->marks & (MARK_STILL | MARK_LIFE_CODE)) && !kind_is_life(ev->hint);
}

/* Did another device go off within `along`, while armed? Only the nearest rows are looked
 * at, so that a flood of rows costs no more than any other. */
static bool
is_alone(const struct judging *j, uint32_t index, int64_t along)
{
	enum { NEAREST = 64 };
	const struct view *v = j->v;
	const struct event *me = &v->event[index];

	for (int step = -1; step <= 1; step += 2) {
		int64_t i = (int64_t)index + step;

		for (int n = 0; n < NEAREST && i >= 0 && i < (int64_t)v->n_event; n++, i += step) {
			const struct event *ev = &v->event[i];
			int64_t apart = ev->at > me->at ? ev->at - me->at : me->at - ev->at;

			if (apart > along)
				break;
			if (ev->device >= 0 && ev->device != me->device &&
			    !(ev->marks & MARK_STILL) && (word_properties(ev->word) & WP_ACTIVE) &&
			    j->arming.of[i].state >= ARM_STAY)
				return false;
		}
	}
	return true;
}

static bool
is_cancelled(const struct view *v, uint32_t index, int64_t within)
{
	enum { NEAREST = 256 };

	for (size_t i = index + 1; i < v->n_event && i <= index + NEAREST; i++) {
		const struct event *ev = &v->event[i];

		if (ev->at - v->event[index].at > within)
			break;
		if (ev->word == W_DISARM || ev->word == W_ALARM_CANCEL)
			return true;
	}
	return false;
}

static uint32_t
area_of(const struct view *v, const struct event *ev, const struct device *d)
{
	uint32_t area = v->point[ev->point].area;

	return area ? area : d->area;
}

/* The device's lone alarms while its partition was armed, or armed away. */
static void
gather(struct judging *j, int32_t device, bool away)
{
	const struct view *v = j->v;
	const struct device *d = &v->device[device];
	int64_t along = setting_ms(v, &rule_repeat_alarm, "along", device);
	uint32_t spoilt = 0;

	j->n = 0;
	for (size_t i = 0; i < d->n_event; i++) {
		uint32_t index = d->event[i];
		const struct arming_of *now = &j->arming.of[index];
		uint32_t period = away ? now->away : now->period;

		if (!is_alarm(&v->event[index]) || now->state < (away ? ARM_AWAY : ARM_STAY) ||
		    now->test || now->session || period == spoilt)
			continue;
		if (!is_alone(j, index, along)) {
			/* Nor does an earlier alarm of this period count any more. */
			while (j->n && j->alarm[j->n - 1].period == period)
				j->n--;
			spoilt = period;
			continue;
		}
		j->alarm = x_grow(j->alarm, &j->cap, j->n + 1, sizeof *j->alarm);
		j->alarm[j->n++] = (struct lone){ index, period };
	}
}

/* The first alarm of the period that is `times` periods with an alarm back from the one of
 * `past` - 1, that included; SIZE_MAX if there are not so many. */
static size_t
run_begin(const struct judging *j, size_t past, size_t times)
{
	size_t n = 0;

	for (size_t i = past; i-- > 0;)
		if (i == 0 || j->alarm[i - 1].period != j->alarm[i].period)
			if (++n == times)
				return i;
	return SIZE_MAX;
}

static size_t
periods_with(const struct judging *j, size_t first, size_t past)
{
	size_t n = first < past;

	for (size_t i = first + 1; i < past; i++)
		n += j->alarm[i].period != j->alarm[i - 1].period;
	return n;
}

/* A run is `times` periods with an alarm among `of`, and stands for `of` more; runs that
 * each began while the one before stood are one. */
static bool
is_due(struct judging *j, int32_t device, bool away, size_t times, double of, struct due *out)
{
	const struct view *v = j->v;
	const struct device *d = &v->device[device];
	const struct arming_of *end;
	uint32_t newest, until;

	*out = (struct due){ .away = away };
	gather(j, device, away);
	if (j->n < times)
		return false;
	end = &j->arming.end[area_of(v, &v->event[j->alarm[j->n - 1].event], d)];
	until = newest = away ? end->away : end->period;
	for (size_t i = j->n, first; i > 0 && (first = run_begin(j, i, times)) != SIZE_MAX; i--) {
		uint32_t period = j->alarm[i - 1].period;

		if (until >= period + of)
			break;
		if (period >= j->alarm[first].period + of)
			continue;
		out->past = out->past ? out->past : i;
		out->first = first;
		until = period;
	}
	if (!out->past)
		return false;
	out->with = periods_with(j, out->first, out->past);
	out->periods = newest - j->alarm[out->first].period + 1;
	return true;
}

static void
report(struct judging *j, int32_t device, const struct due *due)
{
	struct view *v = j->v;
	const struct rule *r = &rule_repeat_alarm;
	struct findings *out = j->out;
	struct arena *a = &out->arena;
	struct finding *f = finding_add(out, v, r, device, NULL);
	size_t cancelled = 0, n = due->past - due->first;

	f->level = LEVEL_SOON;
	f->onset = v->event[j->alarm[due->first].event].at;
	f->last = v->event[j->alarm[due->past - 1].event].at;
	f->count = (long)n;
	for (size_t i = due->first; i < due->past; i++) {
		finding_evidence(out, f, j->alarm[i].event);
		cancelled += is_cancelled(v, j->alarm[i].event, setting_ms(v, r, "cancel", device));
	}
	finding_summary(out, f, "%s: in alarm in %zu of the last %u %s, each time with no second "
	    "device along%s.", device_label(v, device), due->with, due->periods, due->away ?
	    "times that all were out" : "armed periods", cancelled ?
	    arena_fmt(a, "; %zu of %zu alarms were cancelled or followed by a disarming soon "
	        "after", cancelled, n) : "");
	finding_measure(out, f, "periods", (double)due->with, "");
	finding_measure(out, f, "of", (double)due->periods, "");
	finding_measure(out, f, "alarms", (double)n, "");
	finding_measure(out, f, "cancelled", (double)cancelled, "");
	if (2 * cancelled > n)
		finding_check(out, f, "People: who comes in then, by which way, and is the entry "
		    "time long enough? Show the users once more");
	checks_trips(out, f, v->device[device].kind);
	finding_check(out, f, "Could somebody get in by a way that only this device covers? Look "
	    "at the place before the device is called faulty");
}

static void
judge(struct view *v, struct findings *out)
{
	struct judging j = { .v = v, .out = out };
	size_t alarms = 0;
	uint16_t *of;

	for (size_t i = 0; i < v->n_event; i++)
		alarms += is_alarm(&v->event[i]);
	if (alarms < 2)		/* as low as the setting goes */
		return;
	of = arena_take(&v->arena, v->n_device * sizeof *of);
	for (size_t i = 0; i < v->n_event; i++)
		if (is_alarm(&v->event[i]))
			of[v->event[i].device] += of[v->event[i].device] < UINT16_MAX;
	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];
		double times, of_periods;
		struct due due;

		if (of[i] < 2 || d->life || d->kind == KIND_WATER || d->kind == KIND_TEMPERATURE)
			continue;
		times = setting_value(v, &rule_repeat_alarm, "times", (int32_t)i);
		if (!j.armed)
			arming_of(v, &v->arena, setting_ms(v, &rule_repeat_alarm, "test", -1),
			    ARMING_SESSION_MAX, &j.arming);
		j.armed = true;
		of_periods = setting_value(v, &rule_repeat_alarm, "of", (int32_t)i);
		if (((d->kind == KIND_MOTION && is_due(&j, (int32_t)i, true, (size_t)times,
		    of_periods, &due)) || is_due(&j, (int32_t)i, false, (size_t)times, of_periods,
		    &due)) && !chatter_tells(v, (int32_t)i))
			report(&j, (int32_t)i, &due);
	}
	free(j.alarm);
}

const struct rule rule_repeat_alarm = {
	.id = "repeat-alarm",
	.title = "One device alone in alarm again and again",
	.why = "Real visitors set off more than one device. What goes off alone in a third of "
	    "the nights wears out those who have to go, and the next alarm is believed less.",
	.quiet_on = "Life-safety points; alarms with a second device along; disarmed times; "
	    "tests and learn sessions; water and temperature (they are no intruders); devices of "
	    "which chatter speaks already.",
	.limits = "Without arming in the log there are no armed periods. A panel that shuts a "
	    "device out after a few trips hides later ones. One way in that a single detector "
	    "covers looks the same.",
	.setting = settings,
	.judge = judge,
};
