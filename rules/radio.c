/* radio.c - what the log tells of one device's radio path before it went. */
#include "rules/radio.h"

#include <stdlib.h>
#include <string.h>

#include "rules/rule.h"
#include "rules/stats.h"

enum { SIGNALS = 64, SIGNALS_LEAST = 8, HOURS = 6, BEGINS_LEAST = 4 };
static const double BARS_DROP = 1;	/* the least step of that unit */

/* Local hour of the day, 0 to 23. */
static int
hour_of(const struct event *ev)
{
	int64_t at = ev->at + ev->offset * SECOND;

	return (int)((at % DAY + DAY) % DAY / HOUR);
}

static void
count_checkins(const struct view *v, const struct losses *l, const struct device *d, int64_t from,
    int64_t until, struct radio *r, size_t hour[24])
{
	int64_t lately = until - losses_limit_ms(v, "losses_within", (int32_t)(d - v->device));
	int64_t interval = l->checkin[d - v->device].interval;
	const struct event *before = NULL;

	for (size_t k = 0; k < d->n_event && interval; k++) {
		const struct event *ev = &v->event[d->event[k]];
		int64_t times;

		if (ev->at > until)
			break;
		if (!event_is_heard(v, ev))
			continue;
		if (before && before->at >= from && view_covered(v, before->at, ev->at) &&
		    l->anew < before->at) {
			times = (ev->at - before->at + interval / 2) / interval;
			r->came += times > 0 && before->at >= lately;
			if (times > 1 && before->at >= lately) {
				r->missed += times - 1;
				r->worst = times - 1 > r->worst ? times - 1 : r->worst;
			}
			if (times > 2) {	/* one alone is common */
				r->begins++;
				hour[hour_of(before)]++;
			}
		}
		before = ev;
	}
}

static void
count_losses(const struct view *v, const struct losses *l, int32_t device, int64_t from,
    struct radio *r, size_t hour[24])
{
	for (size_t k = l->first[device]; k < l->first[device + 1]; k++) {
		const struct loss *loss = &l->loss[k];

		if (loss->sort != LOSS_TOLD || loss->still || loss->at < from)
			continue;
		r->begins++;
		hour[hour_of(&v->event[loss->event])]++;
	}
}

static void
find_hours(const struct view *v, int32_t device, struct radio *r, const size_t hour[24])
{
	double share = losses_limit(v, "hours_share", device) / 100;

	r->hour = -1;
	if (r->begins < BEGINS_LEAST)
		return;
	for (int h = 0; h < 24; h++) {
		size_t n = 0;

		for (int i = 0; i < HOURS; i++)
			n += hour[(h + i) % 24];
		if (n > r->within) {
			r->within = n;
			r->hour = h;
		}
	}
	if ((double)r->within < share * (double)r->begins)
		r->hour = -1;
}

/* Values of the unit that the newest one has, in up to SIGNALS parts of equal number, each by
 * its median: an hour's check-ins and a day's tell the same weeks. */
static size_t
find_values(const struct view *v, const struct device *d, int64_t from, int64_t until,
    struct radio *r, double t[SIGNALS], double x[SIGNALS])
{
	double *at = x_calloc(d->n_event + 1, sizeof *at), *value = x_calloc(d->n_event + 1, sizeof *value);
	size_t n = 0, parts;

	/* Filled from the end, so that time ascends. */
	for (size_t k = d->n_event; k-- > 0;) {
		const struct event *ev = &v->event[d->event[k]];

		if (ev->at > until || ev->signal_unit == STRENGTH_NONE || !event_is_heard(v, ev))
			continue;
		if (ev->at < from)
			break;
		if (n == 0)
			r->unit = (enum strength_unit)ev->signal_unit;
		if (ev->signal_unit != (int)r->unit)
			continue;
		n++;
		at[d->n_event - n] = (double)(ev->at - from) / (7 * DAY);
		value[d->n_event - n] = (double)ev->signal / 10;
	}
	parts = n < SIGNALS ? n : SIGNALS;
	for (size_t i = 0; i < parts; i++) {
		size_t lo = i * n / parts, hi = (i + 1) * n / parts, base = d->n_event - n;

		t[i] = at[base + (lo + hi - 1) / 2];
		x[i] = stats_median(value + base + lo, hi - lo);
	}
	free(at);
	free(value);
	return parts;
}

static void
find_signal(const struct view *v, const struct device *d, int64_t from, int64_t until,
    struct radio *r)
{
	int32_t device = (int32_t)(d - v->device);
	double t[SIGNALS], x[SIGNALS], part[SIGNALS], drop;
	size_t n = find_values(v, d, from, until, r, t, x), third = n / 3;

	if (n < SIGNALS_LEAST)
		return;
	r->signals = n;
	memcpy(part, x, third * sizeof *part);
	r->first = stats_median(part, third);
	memcpy(part, x + n - third, third * sizeof *part);
	r->last = stats_median(part, third);
	stats_trend(t, x, n, &r->week, &r->p);
	drop = r->unit == STRENGTH_BARS ? BARS_DROP : losses_limit(v, r->unit == STRENGTH_DBM ?
	    "signal_drop" : "signal_drop_share", device);
	r->falls = r->week < 0 && r->p <= losses_limit(v, "signal_chance", device) &&
	    r->first - r->last >= drop;
}

struct radio
radio_find(const struct view *v, const struct losses *l, int32_t device, int64_t until)
{
	struct radio r = { .hour = -1 };
	int64_t from = until - losses_limit_ms(v, "lookback", device);
	size_t hour[24] = { 0 };

	count_checkins(v, l, &v->device[device], from, until, &r, hour);
	count_losses(v, l, device, from, &r, hour);
	find_hours(v, device, &r, hour);
	find_signal(v, &v->device[device], from, until, &r);
	return r;
}
