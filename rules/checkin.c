/* checkin.c - how often a device reports by itself. */
#include "rules/checkin.h"

#include <stdlib.h>

#include "rules/losses.h"
#include "rules/stats.h"

enum { GAPS_MAX = 256 };
static const int64_t RADIO_REPEAT = 2 * SECOND;	/* the limit that activations have, too */
static const int64_t COARSE = 10 * MINUTE;	/* what minutes or an emptied buffer can blur */

struct terms {
	size_t  gaps;
	double  spread, longest, stray, regular_spread, regular_share;
	int64_t floor;
};

/* Which pairs of heard events make a gap. */
enum pairs {
	UNDISTURBED,	/* two check-ins, nothing heard in between */
	CHECKINS,	/* two check-ins */
	ANYTHING,	/* two heard events */
};

/* Indices of the events whose clock was off, ascending. */
struct resets {
	uint32_t *at;
	size_t    n;
};

static struct terms
terms_of(const struct view *v, int32_t device)
{
	return (struct terms){
		.gaps = (size_t)losses_limit(v, "learn_gaps", device),
		.spread = losses_limit(v, "learn_spread", device) / 100,
		.longest = losses_limit(v, "missed", device),
		.stray = losses_limit(v, "learn_stray", device) / 100,
		.regular_spread = losses_limit(v, "regular_spread", device) / 100,
		.regular_share = losses_limit(v, "regular_share", device) / 100,
		.floor = losses_limit_ms(v, "regular_floor", device),
	};
}

static bool
reset_between(const struct resets *resets, uint32_t from, uint32_t to)
{
	size_t lo = 0, hi = resets->n;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (resets->at[mid] < from)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo < resets->n && resets->at[lo] <= to;
}

static size_t
collect(const struct view *v, const struct device *d, const struct resets *resets,
    enum pairs pairs, int64_t gap[GAPS_MAX])
{
	const struct event *later = NULL;
	size_t n = 0;

	for (size_t k = d->n_event; k-- > 0 && n < GAPS_MAX;) {
		const struct event *ev = &v->event[d->event[k]];
		const struct event *end = later;
		int64_t length;

		if (pairs == CHECKINS && ev->word != W_CHECK_IN)
			continue;
		if (!event_is_heard(v, ev) || (pairs == ANYTHING && ev->word == W_LOW_BATTERY))
			continue;
		later = ev;
		if (!end || (pairs == UNDISTURBED &&
		    (ev->word != W_CHECK_IN || end->word != W_CHECK_IN)))
			continue;
		length = end->at - ev->at;
		if (length <= RADIO_REPEAT || !view_covered(v, ev->at, end->at))
			continue;
		if (length < COARSE && ((ev->marks | end->marks) & MARK_BUFFERED))
			continue;
		if (resets->n && reset_between(resets, (uint32_t)(ev - v->event),
		    (uint32_t)(end - v->event)))
			continue;
		gap[n++] = length;
	}
	return n;
}

/* The middle one (the lower of two), by selection; the array is left in another order. */
static int64_t
median(int64_t *x, size_t n)
{
	size_t lo = 0, hi = n - 1, want = (n - 1) / 2;

	while (lo < hi) {
		int64_t pivot = x[lo + (hi - lo) / 2];
		size_t i = lo, j = hi;

		for (;;) {
			int64_t swap;

			while (x[i] < pivot)
				i++;
			while (x[j] > pivot)
				j--;
			if (i >= j)
				break;
			swap = x[i];
			x[i++] = x[j];
			x[j--] = swap;
		}
		if (want <= j)
			hi = j;
		else
			lo = j + 1;
	}
	return x[want];
}

static int64_t
distance(int64_t a, int64_t b)
{
	return a < b ? b - a : a - b;
}

static int
by_length(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
}

/* The interval from gaps of one or more whole intervals, with missed check-ins in between:
 * each that is a whole number of them, give or take, is folded to one. At least the gap that
 * is the median stays. `range`: how sure it is, for which the gaps must be sorted. */
static void
refine(struct checkin *c, const struct terms *t, int64_t *gap, size_t n, bool range)
{
	size_t used = 0, folded = 0, rank;

	for (size_t i = 0; i < n; i++) {
		int64_t times = (gap[i] + c->interval / 2) / c->interval;
		int64_t one = times > 1 ? gap[i] / times : gap[i];

		folded += times != 1;
		if (times && (double)distance(one, c->interval) <= t->spread * (double)c->interval)
			gap[used++] = one;
	}
	if (folded)
		c->interval = median(gap, used);
	c->low = c->high = c->interval;
	if (!range)
		return;
	qsort(gap, used, sizeof *gap, by_length);
	rank = stats_median_rank(used);
	c->low = rank ? gap[rank - 1] : gap[0];
	c->high = rank ? gap[used - rank] : gap[used - 1];
}

static struct checkin
learn(const struct view *v, const struct device *d, const struct resets *resets,
    const struct terms *t, bool range)
{
	struct checkin none = { .source = CHECKIN_NONE }, c = none;
	int64_t gap[GAPS_MAX], off[GAPS_MAX];
	enum pairs pairs;
	size_t n = 0, near = 0, stray = 0;

	/* Most devices have too few events for any of the three ways. */
	for (pairs = UNDISTURBED; d->n_event > t->gaps; pairs++) {
		n = collect(v, d, resets, pairs, gap);
		if (n >= t->gaps || pairs == ANYTHING)
			break;
	}
	if (n < t->gaps || n == 0)
		return none;
	c.source = pairs == ANYTHING ? CHECKIN_REGULAR : CHECKIN_LEARNED;
	c.gaps = n;
	c.interval = median(gap, n);
	for (size_t i = 0; i < n; i++) {
		stray += (double)gap[i] > t->longest * (double)c.interval;
		off[i] = distance(gap[i], c.interval);
		near += (double)off[i] <= t->regular_spread * (double)c.interval;
	}
	c.spread = median(off, n);
	if (v->minutes_only && c.interval < COARSE)
		return none;
	if (c.source == CHECKIN_LEARNED ? (double)c.spread > t->spread * (double)c.interval ||
	    (double)stray > t->stray * (double)n :
	    c.interval < t->floor || (double)near < t->regular_share * (double)n)
		return none;
	refine(&c, t, gap, n, range);
	return c;
}

static struct resets
find_resets(const struct view *v, struct arena *scratch)
{
	struct resets resets = { 0 };

	for (size_t i = 0; i < v->n_event; i++)
		resets.n += (v->event[i].marks & MARK_RESET) != 0;
	if (resets.n) {
		resets.at = arena_take(scratch, resets.n * sizeof *resets.at);
		resets.n = 0;
		for (size_t i = 0; i < v->n_event; i++)
			if (v->event[i].marks & MARK_RESET)
				resets.at[resets.n++] = (uint32_t)i;
	}
	return resets;
}

void
checkin_learn(const struct view *v, struct checkin *out)
{
	struct arena scratch = { 0 };
	struct resets resets = find_resets(v, &scratch);
	struct terms t = terms_of(v, -1);

	for (size_t i = 0; i < v->n_device; i++) {
		const struct device *d = &v->device[i];

		if (v->n_override)
			t = terms_of(v, (int32_t)i);
		out[i] = learn(v, d, &resets, &t, false);
		if (d->checkin > 0) {
			out[i].source = CHECKIN_STATED;
			out[i].interval = out[i].low = out[i].high = d->checkin;
		}
	}
	arena_release(&scratch);
}

void
checkin_range(const struct view *v, int32_t device, struct checkin *c)
{
	struct arena scratch = { 0 };
	struct resets resets;
	struct terms t;

	if (c->source == CHECKIN_NONE || c->source == CHECKIN_STATED)
		return;
	resets = find_resets(v, &scratch);
	t = terms_of(v, device);
	*c = learn(v, &v->device[device], &resets, &t, true);
	arena_release(&scratch);
}

bool
checkin_shown(const struct view *v, const struct event *ev, const struct checkin *c)
{
	if (ev->word == W_CHECK_IN)
		return event_is_heard(v, ev);
	return c->source == CHECKIN_REGULAR && event_is_heard(v, ev);
}

const char *
checkin_text(struct arena *a, const struct checkin *c)
{
	static const struct { int64_t below, unit; const char *name; } units[] = {
		{ 5 * MINUTE, SECOND, "s" }, { 3 * HOUR, MINUTE, "min" },
		{ 4 * DAY, HOUR, "h" }, { INT64_MAX, DAY, "days" },
	};
	int64_t middle, low, high, half;
	size_t i = 0;

	while (c->interval >= units[i].below)
		i++;
	half = units[i].unit / 2;
	middle = (c->interval + half) / units[i].unit;
	low = (c->low + half) / units[i].unit;
	high = (c->high + half) / units[i].unit;
	return low == high ? arena_fmt(a, "%lld %s", (long long)middle, units[i].name) :
	    arena_fmt(a, "about %lld %s (%lld to %lld)", (long long)middle, units[i].name,
	    (long long)low, (long long)high);
}
