/* The panel's clock against the station's: wrong now, running away, or set by a jump.
 *
 * The offset of an event is its own time less the time of receipt. Transmission makes it
 * a few seconds negative, a buffer by hours, so medians are used throughout: the events are
 * cut into blocks of equal number, each block counts with its median, and so do the newest
 * few events as a last block. A jump is a step from block to block far above the usual one;
 * the line is looked for after the last jump only (Theil-Sen: the median of the slopes of
 * all pairs of blocks).
 *
 * It is never life safety, and no other rule speaks of it; what a wrong clock does to
 * other findings is said in those. */
#include "rules/care.h"
#include "rules/rule.h"
#include "rules/stats.h"
#include "rules/when.h"

#define USUAL "common practice, no source"

static const struct setting settings[] = {
	{ "off", 5, 1, 1440, "min", USUAL },
	{ "off_much", 60, 1, 10080, "min", USUAL },
	{ "rate", 10, 1, 1000, "min/year", "EN 50131-1: a panel's clock within 10 min a year" },
	{ "span", 14, 1, 366, "d", USUAL },
	{ "events", 24, 8, 10000, "", USUAL },
	{ "jump", 60, 5, 3600, "s", USUAL },
	{ "noise", 30, 1, 600, "s", USUAL },
	{ "lookback", 90, 7, 366, "d", USUAL },
	{ NULL, 0, 0, 0, NULL, NULL }
};

enum { BLOCKS = 16, IN_BLOCK = 9 };

struct block {
	double   at;		/* median, in days since the first event looked at */
	double   offset;	/* median, in s */
	uint32_t event;		/* its middle one */
	uint32_t begin;		/* its first one */
};

struct clock {
	struct block block[BLOCKS + 1];
	int          n, first;	/* blocks; the first one after the last jump */
	double       jump;	/* s, the last one; 0 = none */
	double       slope;	/* s a day */
	int64_t      origin;	/* receipt of the first event looked at */
	uint32_t     onset;	/* the event from which on the clock has gone as it goes now */
	int64_t     *emptied;	/* when a buffer began to be emptied, by receipt */
	size_t       n_emptied;
};

/* A buffer is empty again after this long: as in view_finish(). */
#define EMPTYING (10 * MINUTE)

enum { UNFIT = MARK_STILL | MARK_RESET | MARK_BUFFERED | MARK_AMBIGUOUS };

static bool
is_fit(const struct view *v, const struct clock *c, const struct event *ev)
{
	if (ev->received == NO_TIME || ev->marks & UNFIT || ev->received > v->now + DAY)
		return false;
	/* Rows out of a buffer are old when they come, and the clock may be right. */
	for (size_t i = 0; i < c->n_emptied; i++)
		if (ev->received >= c->emptied[i] && ev->received <= c->emptied[i] + EMPTYING &&
		    ev->at < c->emptied[i] - EMPTYING)
			return false;
	return true;
}

static void
find_emptied(struct view *v, struct clock *c)
{
	int64_t *list = NULL;
	size_t cap = 0;

	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if ((ev->word != W_COMM_RESTORE && ev->word != W_RESTART) || ev->received == NO_TIME)
			continue;
		list = x_grow(list, &cap, c->n_emptied + 1, sizeof *list);
		list[c->n_emptied++] = ev->received;
	}
	c->emptied = arena_keep(&v->arena, list, c->n_emptied, sizeof *list);
}

static double
magnitude(double x)
{
	return x < 0 ? -x : x;
}

static double
offset_of(const struct event *ev)
{
	return (double)(ev->at - ev->received) / SECOND;
}

static double
day_of(const struct clock *c, const struct event *ev)
{
	return (double)(ev->received - c->origin) / DAY;
}

static void
add_newest(const struct view *v, struct clock *c)
{
	struct block *block = &c->block[c->n++];
	double offset[IN_BLOCK], day[IN_BLOCK];
	size_t n = 0;

	for (size_t i = v->n_event; i-- > 0 && n < IN_BLOCK;) {
		const struct event *ev = &v->event[i];

		if (!is_fit(v, c, ev))
			continue;
		if (n == 0)
			block->event = (uint32_t)i;
		block->begin = (uint32_t)i;
		day[n] = day_of(c, ev);
		offset[n++] = offset_of(ev);
	}
	block->at = stats_median(day, n);
	block->offset = stats_median(offset, n);
}

/* Every block's median over up to IN_BLOCK of its events, spread evenly. */
static void
find_blocks(const struct view *v, size_t begin, size_t fit, struct clock *c)
{
	size_t seen = 0, taken = 0, most, size;
	double offset[IN_BLOCK], day[IN_BLOCK];

	c->origin = NO_TIME;
	c->n = fit < BLOCKS * 3 ? (int)(fit / 3) : BLOCKS;
	size = fit / (size_t)c->n;
	most = size < IN_BLOCK ? size : IN_BLOCK;
	for (size_t i = begin, b = 0; i < v->n_event && b < (size_t)c->n; i++) {
		const struct event *ev = &v->event[i];
		struct block *block = &c->block[b];

		if (!is_fit(v, c, ev))
			continue;
		c->origin = c->origin == NO_TIME ? ev->received : c->origin;
		if (seen == 0)
			block->begin = (uint32_t)i;
		if (taken < most && seen == (2 * taken + 1) * size / (2 * most)) {
			day[taken] = day_of(c, ev);
			offset[taken++] = offset_of(ev);
		}
		if (seen == size / 2)
			block->event = (uint32_t)i;
		if (++seen == size) {
			block->at = stats_median(day, taken);
			block->offset = stats_median(offset, taken);
			seen = taken = 0;
			b++;
		}
	}
	add_newest(v, c);
}

/* A step far above the others, beyond what the clock usually gains in that time: a quiet
 * weekend is no jump of a clock that runs away. False when all was received at one time: that
 * is when a file was handed over, and tells nothing of the clock. */
static bool
find_jump(struct clock *c, double least)
{
	double step[BLOCKS + 1], rate[BLOCKS + 1], days, middle, usual;
	int n = 0;

	for (int i = 1; i < c->n; i++) {
		step[i] = c->block[i].offset - c->block[i - 1].offset;
		days = c->block[i].at - c->block[i - 1].at;
		if (days > 0)
			rate[n++] = step[i] / days;
	}
	if (!n)
		return false;
	middle = stats_median(rate, (size_t)n);
	for (int i = 1; i < c->n; i++) {
		step[i] -= middle * (c->block[i].at - c->block[i - 1].at);
		rate[i - 1] = magnitude(step[i]);
	}
	usual = stats_median(rate, (size_t)c->n - 1);
	for (int i = 1; i < c->n; i++) {
		if (magnitude(step[i]) < least || magnitude(step[i]) < 5 * usual)
			continue;
		c->first = i;
		c->jump = step[i];
	}
	return true;
}

static double
slope_of(const struct clock *c)
{
	double slope[BLOCKS * (BLOCKS + 1) / 2];
	size_t n = 0;

	for (int i = c->first; i < c->n; i++)
		for (int k = i + 1; k < c->n; k++)
			if (c->block[k].at > c->block[i].at)
				slope[n++] = (c->block[k].offset - c->block[i].offset) /
				    (c->block[k].at - c->block[i].at);
	return n ? stats_median(slope, n) : 0;
}

/* Back from the first block after the last jump, while events lie on its line: the first
 * of them. Three in a row that do not are before it; fewer are late rows, or a clock that
 * was set for a moment. "On the line" is within half the jump, else within `least` s, and a
 * tenth of what the line itself makes: the slope is not known better. The walk does not end
 * where the look-back does, so that the onset stays while that moves on night by night. */
static void
find_onset(const struct view *v, struct clock *c, double least)
{
	enum { BESIDE = 3 };
	double beside = c->jump < 0 || c->jump > 0 ? magnitude(c->jump) / 2 : least;
	const struct block *first = &c->block[c->first];
	/* Of the first block most events lie on the line, but not its first ones. */
	size_t i = c->first + 1 < c->n ? c->block[c->first + 1].begin : v->n_event;
	int away = 0;

	c->onset = first->event;
	for (; i-- > 0 && away < BESIDE;) {
		const struct event *ev = &v->event[i];
		double line;

		if (!is_fit(v, c, ev))
			continue;
		line = first->offset + c->slope * (day_of(c, ev) - first->at);
		if (magnitude(offset_of(ev) - line) > beside + magnitude(line - first->offset) / 10) {
			away++;
		} else {
			away = 0;
			c->onset = (uint32_t)i;
		}
	}
}

/* Half hours that a wrong zone or summer time makes; 0 = it is none of these. */
static bool
is_zone(double offset)
{
	double half = (double)(long)(magnitude(offset) / 1800 + 0.5);

	return half >= 1 && half <= 52 && magnitude(magnitude(offset) - half * 1800) <= 90;
}

/* To whole minutes, where it is minutes. */
static const char *
length_text(struct arena *a, double s)
{
	double size = magnitude(s);

	if (size >= 120)
		size = (double)(long)(size / 60 + 0.5) * 60;
	return rule_span_text(a, (int64_t)(size * SECOND));
}

static void
report(struct view *v, struct findings *out, struct clock *c, bool off, bool drifts)
{
	const struct rule *r = &rule_clock_drift;
	struct arena *a = &out->arena;
	struct finding *f = finding_add(out, v, r, -1, "site");
	const struct block *last = &c->block[c->n - 1], *from = &c->block[c->first];
	bool zone = off && is_zone(last->offset);
	const char *jump = "";

	f->level = magnitude(last->offset) >= setting_value(v, r, "off_much", -1) * 60
	    ? LEVEL_SOON : LEVEL_LATER;
	f->onset = v->event[c->onset].at;
	f->last = v->event[last->event].at;
	f->count = 1;
	for (int i = c->first > 0 ? c->first - 1 : 0; i < c->n; i++)
		finding_evidence(out, f, c->block[i].event);
	finding_evidence(out, f, c->onset);
	if (c->jump < 0 || c->jump > 0)
		jump = arena_fmt(a, "; set %s by %s around %s", c->jump < 0 ? "back" : "forward",
		    length_text(a, c->jump), when_local(v, a, f->onset));
	finding_summary(out, f, "The panel's clock is %s %s against the time of receipt%s%s%s.",
	    length_text(a, last->offset), last->offset < 0 ? "slow" : "fast",
	    drifts ? arena_fmt(a, "; it %s %.1f s a day (%.3g min a year)", c->slope < 0 ? "loses" :
	    "gains", magnitude(c->slope), magnitude(c->slope) * 365.25 / 60) : "", jump,
	    zone ? "; a whole number of half hours: summer time or the zone, not the clock" : "");
	finding_measure(out, f, "offset", last->offset, "s");
	finding_measure(out, f, "rate", c->slope * 365.25 / 60, "min/year");
	finding_measure(out, f, "jump", c->jump, "s");
	finding_measure(out, f, "span", last->at - from->at, "d");
	if (zone)
		finding_check(out, f, "Time zone of the account in the list of sites, and "
		    "whether the panel changes to summer time by itself");
	finding_check(out, f, "Set the panel's clock, and see what sets it: network, station, "
	    "nobody");
	if (drifts)
		finding_check(out, f, "Mains frequency or crystal as its source; a clock that "
		    "runs away after it was set needs the panel looked at");
	finding_check(out, f, "Mind it when times of this site are compared with others, and for "
	    "arming by the clock");
}

static void
judge(struct view *v, struct findings *out)
{
	const struct rule *r = &rule_clock_drift;
	struct clock c = { .n = 0 };
	int64_t from;
	size_t begin = 0, fit = 0;
	double span, limit, noise;
	bool off, drifts;

	from = v->now - setting_ms(v, r, "lookback", -1);
	find_emptied(v, &c);
	for (size_t i = v->n_event; i-- > 0 && v->event[i].at >= from;) {
		fit += is_fit(v, &c, &v->event[i]);
		begin = i;
	}
	if ((double)fit < setting_value(v, r, "events", -1))
		return;
	find_blocks(v, begin, fit, &c);
	off = magnitude(c.block[c.n - 1].offset) >= setting_value(v, r, "off", -1) * 60;
	noise = setting_value(v, r, "noise", -1);
	if (v->minutes_only && noise < 60)
		noise = 60;
	if (!find_jump(&c, setting_value(v, r, "jump", -1)))
		return;
	c.slope = slope_of(&c);
	span = c.block[c.n - 1].at - c.block[c.first].at;
	limit = setting_value(v, r, "rate", -1) * 60 / 365.25;
	drifts = c.n - c.first >= 4 && span >= setting_value(v, r, "span", -1) &&
	    magnitude(c.slope) > limit && magnitude(c.slope) * span >= noise;
	if (!off && !drifts)
		return;
	find_onset(v, &c, setting_value(v, r, "jump", -1));
	report(v, out, &c, off, drifts);
}

const struct rule rule_clock_drift = {
	.id = "clock-drift",
	.title = "The panel's clock is wrong or runs away",
	.why = "With a wrong clock the log says the wrong hour: who was there, what came first, "
	    "and whether an alarm fell into a test can no longer be told.",
	.quiet_on = "Events that came late from a buffer; a clock that was set right again; the "
	    "seconds that transmission takes, and those that whole minutes leave out; exports "
	    "without a time of receipt, or with one and the same for all; a panel that "
	    "wrote a far-off year (marked, and left out).",
	.limits = "The time of receipt is taken for true. An offset of whole half hours is more "
	    "likely the zone in the list of sites than the clock. Where the station stamps both "
	    "times, nothing shows.",
	.setting = settings,
	.judge = judge,
};
