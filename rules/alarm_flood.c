/* Many alarms of one account in a few minutes: the one that matters drowns.
 *
 * The figure (more than 10 in 10 min, until fewer than 5 in 10 min) is that of process
 * plants and is meant for one operator, whatever the number of plants. For alarm
 * stations only the idea carries over: what one account sends is less than what its
 * operator gets from all, so an account that reaches the figure alone is a flood.
 *
 * Beside chatter: when one device makes the flood and chatter speaks of it, chatter
 * has said it. Beside life-alarm: the life-safety alarms of a flood stand there, each at
 * `now`; here they are counted and named first, and the flood itself is `soon`.
 *
 * A flood stands for `lookback` after it began. One that begins while another stands goes on
 * with its case, whose onset stays where the first began. */
#include <stdlib.h>

#include "rules/activation.h"
#include "rules/arming.h"
#include "rules/care.h"
#include "rules/chatter.h"
#include "rules/held.h"
#include "rules/rule.h"
#include "rules/when.h"

#define ISA "ISA-18.2 and IEC 62682, per operator of a process plant (summaries of the text)"

static const struct setting settings[] = {
	{ "alarms", 10, 3, 1000, "", ISA },
	{ "window", 10, 10, 60, "min", ISA },
	{ "ends", 5, 1, 1000, "", "ISA-18.2, from memory" },
	{ "lookback", 30, 30, 366, "d", "common practice, no source" },
	{ "test", 4, 1, 4, "h", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

enum { LOOSE = MARK_STILL | MARK_RESET | MARK_BUFFERED };

struct judging {
	struct view *v;
	uint32_t    *alarm;	/* events, ascending; each activation once */
	size_t       n;
	size_t       limit, ends;
	int64_t      window, lookback;
};

/* One flood: alarm[lo..hi). */
struct flood {
	size_t lo, hi;
};

static bool
is_alarm(const struct judging *j, size_t i)
{
	const struct event *ev = &j->v->event[i];

	return (word_properties(ev->word) & WP_ALARM) && !(ev->marks & LOOSE);
}

static int64_t
at(const struct judging *j, size_t i)
{
	return j->v->event[j->alarm[i]].at;
}

/* More than the limit within the window, repeats and tests still among them? One look at
 * the look-back, which nearly always says no. */
static bool
any_crowd(const struct judging *j)
{
	const struct view *v = j->v;
	size_t first = v->n_event, n = 0;

	while (first > 0 && v->event[first - 1].at >= v->now - j->lookback)
		first--;
	for (size_t i = first; i < v->n_event; i++) {
		n += is_alarm(j, i);
		for (; v->event[i].at - v->event[first].at > j->window; first++)
			n -= is_alarm(j, first);
		if (n > j->limit)
			return true;
	}
	return false;
}

static void
add_alarm(struct judging *j, uint32_t event, const struct arming *arming)
{
	if (!arming->of[event].test && !arming->of[event].session)
		j->alarm[j->n++] = event;
}

static int
by_number(const void *a, const void *b)
{
	uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;

	return x < y ? -1 : x > y;
}

/* The first alarm of each activation, outside tests and sessions. */
static void
fold(struct judging *j, struct arena *scratch)
{
	struct view *v = j->v;
	struct activations list = { 0 };
	struct arming arming;

	arming_of(v, scratch, setting_ms(v, &rule_alarm_flood, "test", -1), ARMING_SESSION_MAX,
	    &arming);
	j->alarm = arena_take(scratch, v->n_event * sizeof *j->alarm);
	for (size_t i = 0; i < v->n_event; i++)
		if (v->event[i].device < 0 && is_alarm(j, i))
			add_alarm(j, (uint32_t)i, &arming);
	for (size_t d = 0; d < v->n_device; d++) {
		const struct device *device = &v->device[d];
		size_t k = 0;

		activations_of(v, (int32_t)d, NO_TIME, &list);
		for (size_t i = 0; i < list.n; i++) {
			uint32_t next = i + 1 < list.n ? list.one[i + 1].event : UINT32_MAX;

			while (k < device->n_event && (device->event[k] < list.one[i].event ||
			    (device->event[k] < next && !is_alarm(j, device->event[k]))))
				k++;
			if (k < device->n_event && device->event[k] < next)
				add_alarm(j, device->event[k], &arming);
		}
	}
	activations_release(&list);
	qsort(j->alarm, j->n, sizeof *j->alarm, by_number);
}

/* The next flood from alarm `lo` on; false: there is none. */
static bool
next_flood(const struct judging *j, size_t lo, struct flood *out)
{
	size_t hi, left;

	while (lo + j->limit < j->n && at(j, lo + j->limit) - at(j, lo) > j->window)
		lo++;
	if (lo + j->limit >= j->n)
		return false;
	/* It goes on while each window that ends with an alarm holds `ends` of them. */
	for (hi = lo + j->limit + 1, left = lo; hi < j->n; hi++) {
		while (at(j, hi) - at(j, left) > j->window)
			left++;
		if (hi - left + 1 < j->ends)
			break;
	}
	*out = (struct flood){ lo, hi };
	return true;
}

/* Is it but one device, of which chatter speaks? */
static bool
is_chatter(const struct judging *j, const struct flood *fl, struct arena *scratch)
{
	size_t *n = arena_take(scratch, (j->v->n_device + 1) * sizeof *n), most = 0;
	int32_t device = -1;

	for (size_t i = fl->lo; i < fl->hi; i++) {
		int32_t d = j->v->event[j->alarm[i]].device;

		if (d >= 0 && ++n[d] > most) {
			most = n[d];
			device = d;
		}
	}
	return fl->hi - fl->lo - most < j->limit && device >= 0 && chatter_tells(j->v, device);
}

static bool
is_life(const struct view *v, const struct event *ev)
{
	return (word_properties(ev->word) & WP_LIFE) || (ev->marks & MARK_LIFE_CODE) ||
	    kind_is_life(ev->hint) || (ev->device >= 0 && v->device[ev->device].life);
}

/* Told by these words, for by them a sheet that is left in a house knows what to hide. */
static bool
is_silent(const struct view *v, const struct event *ev)
{
	enum kind k = ev->device >= 0 ? v->device[ev->device].kind : KIND_UNKNOWN;

	return (word_properties(ev->word) & WP_SILENT) || ev->hint == KIND_PANIC ||
	    ev->hint == KIND_HOLD_UP || k == KIND_PANIC || k == KIND_HOLD_UP;
}

static void
add_flood(struct judging *j, struct findings *out, struct finding *f, const struct flood *fl,
    size_t *life, size_t *silent)
{
	struct view *v = j->v;

	f->last = at(j, fl->hi - 1);
	f->count += (long)(fl->hi - fl->lo);
	for (size_t i = fl->lo; i < fl->hi; i++) {
		const struct event *ev = &v->event[j->alarm[i]];

		finding_evidence(out, f, j->alarm[i]);
		*life += is_life(v, ev);
		*silent += is_silent(v, ev);
		if (ev->device >= 0 && v->device[ev->device].maybe_life)
			finding_caution(out, f, CARE_MAYBE_LIFE);
	}
}

static size_t
devices_in(const struct judging *j, const struct flood *fl, struct arena *scratch)
{
	bool *met = arena_take(scratch, (j->v->n_device + 1) * sizeof *met);
	size_t n = 0;

	for (size_t i = fl->lo; i < fl->hi; i++) {
		bool *m = &met[j->v->event[j->alarm[i]].device + 1];

		n += !*m;
		*m = true;
	}
	return n;
}

static void
report(struct judging *j, struct findings *out, struct arena *scratch)
{
	struct arena *a = &out->arena;
	struct finding *f = NULL;
	struct flood fl, largest = { 0, 0 };
	size_t floods = 0, life = 0, silent = 0, devices, lo = 0;
	int64_t onset = NO_TIME, began = NO_TIME;

	for (; next_flood(j, lo, &fl); lo = fl.hi) {
		if (is_chatter(j, &fl, scratch))
			continue;
		if (onset == NO_TIME || at(j, fl.lo) - began > j->lookback)
			onset = at(j, fl.lo);
		began = at(j, fl.lo);
		if (began < j->v->now - j->lookback)
			continue;
		if (!f)
			f = finding_add(out, j->v, &rule_alarm_flood, -1, "site");
		f->onset = onset;
		add_flood(j, out, f, &fl, &life, &silent);
		if (fl.hi - fl.lo > largest.hi - largest.lo)
			largest = fl;
		floods++;
	}
	if (!f)
		return;
	devices = devices_in(j, &largest, scratch);
	f->level = LEVEL_SOON;
	f->life = life > 0;
	finding_summary(out, f, "%zu alarms of %zu device%s within %s, from %s%s%s.",
	    largest.hi - largest.lo, devices, devices == 1 ? "" : "s",
	    rule_span_text(a, at(j, largest.hi - 1) - at(j, largest.lo)),
	    when_local(j->v, a, at(j, largest.lo)),
	    life ? arena_fmt(a, "; %zu of life safety%s: those first", life, silent ?
	    " (hold-up, panic or duress among them)" : "") : "",
	    floods > 1 ? arena_fmt(a, "; %zu such floods within %s", floods,
	    rule_span_text(a, j->lookback)) : "");
	finding_measure(out, f, "floods", (double)floods, "");
	finding_measure(out, f, "largest", (double)(largest.hi - largest.lo), "alarms");
	finding_measure(out, f, "devices", (double)devices, "");
	finding_measure(out, f, "life_safety", (double)life, "alarms");
	if (life)
		finding_check(out, f, "The life-safety alarms among them first: each is real "
		    "until the fire service or a qualified person says otherwise");
	finding_check(out, f, "Was anybody there, and what was found? Many devices one after "
	    "another are people or fire until somebody has looked");
	finding_check(out, f, "All within seconds: supply, bus, receiver or lightning before "
	    "each device");
	finding_check(out, f, "Work or a test that nobody announced: put the account on test "
	    "next time");
	finding_caution(out, f, CARE_SITE_TEST);
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *r = &rule_alarm_flood;
	struct held h = { .v = v, .rule = r };
	struct judging j = { .v = v, .limit = (size_t)held_limit(&h, "alarms", -1),
		.ends = (size_t)setting_value(v, r, "ends", -1),
		.window = setting_ms(v, r, "window", -1), .lookback = setting_ms(v, r, "lookback", -1) };
	struct arena scratch = { 0 };

	if (any_crowd(&j)) {
		fold(&j, &scratch);
		report(&j, out, &scratch);
	}
	arena_release(&scratch);
}

const struct rule rule_alarm_flood = {
	.id = "alarm-flood",
	.title = "More alarms at once than a person can handle",
	.why = "In a flood the one alarm that matters drowns. It is also the sign of something "
	    "that befell the whole site.",
	.quiet_on = "Tests and learn sessions; repeats of one activation; one device that "
	    "chatter speaks of; what came at once because a buffer was emptied.",
	.limits = "The figure is one for the operator of a plant, here taken for one account. "
	    "The export does not show what the station's operator saw.",
	.setting = settings,
	.judge = judge,
};
