/* bypass_left.c - a zone that is left out, and nobody took it in again.
 *
 * A bypass belongs to the zone: it stays when another serial is learned there, and is told
 * for the device that is on the zone now.
 *
 * Armed periods are arming.h's. A bypass covers the armed periods from the one that it was
 * set in, or the next, to the one in which it was taken off. Set anew for each of the last
 * `periods` armed periods it is the same gap in the watch as one that was never taken off,
 * only less forgotten: `later`, whether it is just set or just taken off, and since the first
 * of them. It becomes a bypass that was left when one of them outlives its armed period for
 * `age`, or covers `periods` by itself.
 *
 * Many panels drop a bypass when they are disarmed and write nothing. Where this log shows
 * no `unbypass` at all, and no row that a bypass still holds after a disarming, one covers
 * one armed period; disarmed since, it may be gone: it stands for `doubt` as `later`, and
 * then not at all. On what is or may be life safety there is no such doubt. Being shut out
 * by the panel after trips (`swinger`) is chatter's.
 */
#include <string.h>

#include "rules/arming.h"
#include "rules/care.h"
#include "rules/held.h"
#include "rules/when.h"

extern const struct rule rule_bypass_left;

static const struct setting settings[] = {
	{ "age", 24, 1, 720, "h", "common practice, no source" },
	{ "periods", 3, 2, 100, "", "common practice, no source" },
	{ "doubt", 30, 1, 366, "d", "common practice, no source" },
	{ NULL, 0, 0, 0, NULL, NULL }
};

struct judging {
	struct held   h;
	struct arming arming;
	bool          ends;	/* the log shows the end of some bypass */
};

/* The armed periods of a device's partition that its bypasses covered. */
struct covered {
	int64_t  first, last;	/* the newest run in a row; last < first = none */
	int64_t  now;		/* the newest period of the partition */
	uint32_t event;		/* the first bypass of the run */
	size_t   times;		/* bypasses in the run */
	int64_t  set_for;	/* the period that the open bypass was set for; -1 = none was seen */
	uint32_t set;		/* its event */
	bool     kept;		/* the panel does not drop it at disarming */
	bool     over;		/* that period has ended */
};

static bool
is_armed(const struct arming_of *of)
{
	return of->state == ARM_STAY || of->state == ARM_AWAY;
}

static void
cover(struct covered *c, int64_t first, int64_t last, uint32_t event)
{
	if (c->last < c->first || first > c->last + 1) {
		c->first = first;
		c->event = event;
		c->times = 0;
		c->last = first - 1;
	}
	if (last > c->last) {
		c->times++;
		c->last = last;
	}
}

static struct covered
periods_of(const struct judging *j, const struct device *d)
{
	const struct view *v = j->h.v;
	const struct arming_of *end = &j->arming.end[d->area];
	struct covered c = { .first = 1, .now = end->period, .set_for = -1, .kept = j->ends };

	for (size_t i = 0; i < d->n_event; i++) {
		uint32_t index = d->event[i];
		const struct event *ev = &v->event[index];
		const struct arming_of *of = &j->arming.of[index];
		int64_t period = (int64_t)of->period + !is_armed(of);

		if (ev->word == W_BYPASS && (ev->marks & MARK_STILL)) {
			c.kept |= c.set_for >= 0 && period > c.set_for;
		} else if (ev->word == W_BYPASS && (c.set_for < 0 ||
		    (!c.kept && period != c.set_for))) {
			if (c.set_for >= 0)
				cover(&c, c.set_for, c.set_for, c.set);
			c.set_for = period;
			c.set = index;
		} else if (ev->word == W_UNBYPASS && c.set_for >= 0) {
			cover(&c, c.set_for, of->period, c.set);
			c.set_for = -1;
		}
	}
	if (c.set_for >= 0 && c.set_for <= c.now)
		cover(&c, c.set_for, c.kept ? c.now : c.set_for, c.set);
	c.over = c.set_for < c.now || (c.set_for == c.now && !is_armed(end));
	return c;
}

static void
checks(struct judging *j, struct finding *f, bool life)
{
	struct findings *out = j->h.out;

	if (life)
		finding_check(out, f, "Life safety is left out: have it taken in again at once, "
		    "and find out who left it out and why. Until then people here are not warned: "
		    "tell them, and ask what local codes require.");
	finding_check(out, f, "Read at the panel whether it is still left out.");
	finding_check(out, f, "What is wrong with it? A zone is left out because it would not "
	    "close, went off by itself, or a work was not finished. Mend that.");
	finding_check(out, f, "Take it in again, and test it in its place.");
	finding_caution(out, f, CARE_SITE_TEST);
}

/* The device on the zone now: a bypass outlives the serial. */
static int32_t
now_on_zone(const struct view *v, int32_t device)
{
	const struct device *d = &v->device[device];

	for (size_t i = 0; d->unlearned != NO_TIME && *d->zone_key && i < v->n_device; i++)
		if (v->device[i].unlearned == NO_TIME && v->device[i].area == d->area &&
		    strcmp(v->device[i].zone_key, d->zone_key) == 0)
			return (int32_t)i;
	return device;
}

/* Of those set anew for each armed period, was the newest, now `age` old, not taken off? */
static bool
is_left(const struct judging *j, int32_t device, const struct covered *c, int64_t age)
{
	const struct held *h = &j->h;

	return c->now - c->set_for + 1 >= (int64_t)setting_value(h->v, h->rule, "periods", device) ||
	    (c->over && age >= setting_ms(h->v, h->rule, "age", device));
}

static void
judge_device(struct judging *j, int32_t from)
{
	static const enum word ends[] = { W_UNBYPASS, W_OTHER };
	struct held *h = &j->h;
	const struct view *v = h->v;
	int32_t device = now_on_zone(v, from);
	const struct device *d = &v->device[device];
	struct holding x = h->state->device[from].cond[COND_BYPASS];
	bool life = d->life, strict = life || d->maybe_life, open, left, doubt = false;
	struct covered c = periods_of(j, &v->device[from]);
	bool often = c.last >= c.now && c.last - c.first + 1 >=
	    (int64_t)setting_value(v, h->rule, "periods", device);
	struct holding run = { .since = v->event[c.event].at, .event = c.event };
	struct arena *a = &h->out->arena;
	struct finding *f;
	const char *text;

	open = x.since != NO_TIME && !held_blurred(h, from, &x, ends);
	if (device != from && h->state->device[device].cond[COND_BYPASS].since != NO_TIME)
		return;		/* told for that device itself */
	if (open && !strict && !c.kept && c.set_for >= 0) {
		x = (struct holding){ .since = v->event[c.set].at, .event = c.set };
		doubt = c.over;
		open = !often && (!doubt || v->now - x.since <= setting_ms(v, h->rule, "doubt", device));
	}
	open = open && (strict || often || v->now - x.since >= setting_ms(v, h->rule, "age", device));
	if (!open && !often)
		return;
	left = open && !doubt;
	if (often && c.times > 1 && !strict)
		left = left && is_left(j, device, &c, v->now - x.since);
	f = held_add(h, device, NULL, often ? &run : &x);
	if (open)
		finding_evidence(h->out, f, x.event);
	f->life = life;
	f->level = life ? LEVEL_NOW : left ? LEVEL_SOON : LEVEL_LATER;
	f->count = c.times > 1 ? (long)c.times : 1;
	finding_measure(h->out, f, "armed_periods", c.times ? (double)(c.last - c.first + 1) : 0, "");
	if (often && c.times > 1)
		text = arena_fmt(a, "bypassed in each of the last %lld armed periods, %zu times, from "
		    "%s on%s", (long long)(c.last - c.first + 1), c.times, when_local(h->v, a, run.since),
		    open ? arena_fmt(a, "; now %s", held_since(h, &x)) : "");
	else
		text = arena_fmt(a, "bypassed %s", held_since(h, open ? &x : &run));
	finding_summary(h->out, f, "%s: %s%s%s.", device_label(h->v, device), text,
	    open && h->state->device[device].cond[COND_OPEN].since != NO_TIME ? ", and open" : "",
	    doubt ? "; this log never shows the end of a bypass, so it may have gone with the disarming" :
	    !open && c.times <= 1 ? arena_fmt(a, ", over %lld armed periods; taken off since",
	    (long long)(c.last - c.first + 1)) : "");
	checks(j, f, life);
}

/* Sounders, the dialler, a group: what the panel left out itself. */
static void
judge_panel(struct judging *j, const struct panel_holding *p)
{
	struct held *h = &j->h;
	const char *key = *p->zone ? h->v->point[h->v->event[p->holding.event].point].zone_key : "";
	bool life = (h->v->event[p->holding.event].marks & MARK_LIFE_CODE) != 0;
	bool site = held_site_life(h->v, 0);
	struct finding *f;

	if (!life && !site && h->v->now - p->holding.since < setting_ms(h->v, h->rule, "age", -1))
		return;
	f = held_add(h, -1, arena_fmt(&h->out->arena, "panel:bypass%s%s", *key ? ":" : "", key),
	    &p->holding);
	f->level = life ? LEVEL_NOW : LEVEL_SOON;
	f->life = life || site;
	finding_summary(h->out, f, "The panel%s%s: bypassed or disabled %s; the code says what.",
	    *p->zone ? ", number " : "", p->zone, held_since(h, &p->holding));
	if (site && !life)
		finding_caution(h->out, f, "The site has life-safety devices: what was left out "
		    "may be theirs, or their sounder or line. Find out first.");
	checks(j, f, life);
}

static void
judge(struct view *v, struct findings *out)
{
	struct judging j = { .ends = false };
	bool any = false;

	for (size_t i = 0; i < v->n_event; i++) {
		any |= v->event[i].word == W_BYPASS;
		j.ends |= v->event[i].word == W_UNBYPASS;
	}
	if (!any)
		return;
	j.h = held_begin(v, out, &rule_bypass_left);
	arming_of(v, &out->arena, ARMING_TEST_MAX, ARMING_SESSION_MAX, &j.arming);
	for (size_t i = 0; i < v->n_device; i++)
		judge_device(&j, (int32_t)i);
	for (size_t i = 0; i < j.h.state->n_open; i++)
		if (j.h.state->open[i].what == COND_BYPASS)
			judge_panel(&j, &j.h.state->open[i]);
}

const struct rule rule_bypass_left = {
	.id = "bypass-left",
	.title = "Zone that is left out",
	.why = "A zone that is left out is not watched, and nobody sees it while all looks well.",
	.quiet_on = "A bypass of one night that was taken off; being shut out by the panel after "
	    "trips, which is chatter's. Where a log never shows the end of a bypass, one is taken "
	    "to end with the disarming after 30 days, except on life safety.",
	.limits = "Many panels drop a bypass at disarming and write nothing: read at the panel.",
	.setting = settings,
	.judge = judge,
};
