#include "daemon/report/timeline.h"

#include <stdlib.h>

#include "daemon/report/silent.h"
#include "daemon/report/site_part.h"
#include "rules/activation.h"
#include "rules/battery.h"

enum { HOURS = 24 };

struct draw {
	const struct site      *s;
	struct view            *v;
	const struct text_zone *zone;
	struct timeline        *out;
	struct state_times      past;
	struct batteries        battery;
	int32_t                 hours;	/* of all columns */
	struct timeline_block  *block;	/* of the lane at hand; heap */
	size_t                  n_block, cap_block;
	int32_t                *mark;
	size_t                  n_mark, cap_mark;
};

/* ---- time to place --------------------------------------------------------------- */

static int64_t
wall(const struct draw *d, int64_t at)
{
	int64_t offset = d->zone->offset ? d->zone->offset(d->zone->zone, at / SECOND) : 0;

	return at + offset * SECOND;
}

static int64_t
floor_div(int64_t a, int64_t b)
{
	return a / b - (a % b < 0);
}

/* May lie before or after what is drawn. */
static int64_t
hour_of(const struct draw *d, int64_t at)
{
	return floor_div(wall(d, at) - d->out->day * DAY, HOUR);
}

static bool
drawn(const struct draw *d, int64_t at)
{
	int64_t h = hour_of(d, at);

	return h >= 0 && h < d->hours;
}

static void
put_block(struct draw *d, enum timeline_look look, int64_t from, int64_t to)
{
	if (from < 0)
		from = 0;
	if (to > d->hours)
		to = d->hours;
	if (from >= to)
		return;
	d->block = x_grow(d->block, &d->cap_block, d->n_block + 1, sizeof *d->block);
	d->block[d->n_block++] = (struct timeline_block){ (int32_t)from, (int32_t)to,
		(uint8_t)look };
}

/* `to` NO_TIME = until the end of cover. */
static void
add_block(struct draw *d, enum timeline_look look, int64_t from, int64_t to)
{
	put_block(d, look, hour_of(d, from), hour_of(d, to == NO_TIME ? d->v->now : to) + 1);
}

static void
add_mark(struct draw *d, int64_t at)
{
	if (!drawn(d, at))
		return;
	d->mark = x_grow(d->mark, &d->cap_mark, d->n_mark + 1, sizeof *d->mark);
	d->mark[d->n_mark++] = (int32_t)hour_of(d, at);
}

/* ---- a lane ---------------------------------------------------------------------- */

static int
by_look(const void *pa, const void *pb)
{
	const struct timeline_block *a = pa, *b = pb;

	return a->look != b->look ? a->look - b->look : (a->from > b->from) - (a->from < b->from);
}

static int
by_hour(const void *pa, const void *pb)
{
	int32_t a = *(const int32_t *)pa, b = *(const int32_t *)pb;

	return (a > b) - (a < b);
}

/* What was gathered becomes the lane's; nothing is left at hand. */
static void
finish(struct draw *d, struct timeline_lane *lane)
{
	size_t n = 0;

	if (d->n_block)
		qsort(d->block, d->n_block, sizeof *d->block, by_look);
	for (size_t i = 0; i < d->n_block; i++) {
		const struct timeline_block *b = &d->block[i];

		lane->times[b->look]++;
		if (n && d->block[n - 1].look == b->look && d->block[n - 1].to >= b->from) {
			if (b->to > d->block[n - 1].to)
				d->block[n - 1].to = b->to;
		} else {
			d->block[n++] = *b;
		}
	}
	lane->block = arena_keep(&d->v->arena, d->block, n, sizeof *d->block);
	lane->n_block = n;
	if (d->n_mark)
		qsort(d->mark, d->n_mark, sizeof *d->mark, by_hour);
	for (size_t i = 0; i < d->n_mark; i++)
		if (!lane->n_mark || d->mark[lane->n_mark - 1] != d->mark[i])
			d->mark[lane->n_mark++] = d->mark[i];
	lane->mark = arena_keep(&d->v->arena, d->mark, lane->n_mark, sizeof *d->mark);
	d->block = NULL;
	d->mark = NULL;
	d->n_block = d->cap_block = d->n_mark = d->cap_mark = 0;
}

static struct timeline_lane *
new_lane(struct draw *d, enum timeline_what what)
{
	struct timeline_lane *lane = &d->out->lane[d->out->n_lane++];

	*lane = (struct timeline_lane){ .what = what, .device = -1, .partition = "" };
	return lane;
}

static void
count_hour(struct draw *d, struct timeline_lane *lane, int32_t hour)
{
	if (!lane->count)
		lane->count = arena_take(&d->v->arena, (size_t)d->hours * sizeof *lane->count);
	if (lane->count[hour] < UINT16_MAX)
		lane->count[hour]++;
	if (lane->count[hour] > lane->count[lane->most])
		lane->most = hour;
}

/* ---- the site -------------------------------------------------------------------- */

/* Rows without a partition speak of all of them. */
static void
armed_lane(struct draw *d, uint32_t area, const char *partition)
{
	struct timeline_lane *lane = new_lane(d, TIMELINE_ARMED);
	const struct view *v = d->v;
	int64_t since = NO_TIME;
	enum timeline_look look = TIMELINE_FULL;

	lane->partition = partition;
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];
		uint32_t of = v->point[ev->point].area;

		if ((ev->word != W_ARM && ev->word != W_ARM_STAY && ev->word != W_DISARM) ||
		    (ev->marks & MARK_STILL) || (of && area && of != area))
			continue;
		if (since != NO_TIME)
			add_block(d, look, since, ev->at);
		since = ev->word == W_DISARM ? NO_TIME : ev->at;
		look = ev->word == W_ARM ? TIMELINE_FULL : TIMELINE_HALF;
	}
	if (since != NO_TIME)
		add_block(d, look, since, NO_TIME);
	finish(d, lane);
}

static void
armed(struct draw *d)
{
	const struct view *v = d->v;
	uint32_t seen[TIMELINE_PARTITIONS], area;
	size_t n = 0, k;

	/* Without areas that were armed by themselves there is one state, the site's. */
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->word != W_ARM && ev->word != W_ARM_STAY && ev->word != W_DISARM)
			continue;
		area = v->point[ev->point].area;
		for (k = 0; k < n && k < TIMELINE_PARTITIONS && seen[k] != area; k++)
			;
		if (!area || (k < n && k < TIMELINE_PARTITIONS))
			continue;
		if (n < TIMELINE_PARTITIONS) {
			seen[n++] = area;
			armed_lane(d, area, v->point[ev->point].partition);
		} else {
			d->out->more_partitions = true;
		}
	}
	if (!n)
		armed_lane(d, 0, "");
	else if (n == 1)
		d->out->lane[d->out->n_lane - 1].partition = "";
}

static void
held(struct draw *d, int32_t device, uint32_t conditions, enum timeline_look look)
{
	for (size_t i = 0; i < d->past.n; i++) {
		const struct state_time *t = &d->past.one[i];

		if (t->device == device && (conditions >> t->what & 1))
			add_block(d, look, t->from, t->to);
	}
}

#define BIT(c) (UINT32_C(1) << (c))

/* A lane of this sort that has something to show stays. */
static void
keep_if_any(struct draw *d, struct timeline_lane *lane)
{
	finish(d, lane);
	if (!lane->n_block && !lane->n_mark && !lane->count)
		d->out->n_lane--;
}

static void
power(struct draw *d)
{
	struct timeline_lane *lane = new_lane(d, TIMELINE_POWER);

	held(d, -1, BIT(COND_POWER), TIMELINE_FULL);
	held(d, -1, BIT(COND_PANEL_BATTERY), TIMELINE_ACROSS);
	finish(d, lane);
}

static void
line(struct draw *d)
{
	struct timeline_lane *lane = new_lane(d, TIMELINE_LINE);

	held(d, -1, BIT(COND_COMM) | BIT(COND_MODULE), TIMELINE_FULL);
	held(d, -1, BIT(COND_JAM), TIMELINE_UPRIGHT);
	keep_if_any(d, lane);
}

static void
work(struct draw *d)
{
	struct timeline_lane *lane = new_lane(d, TIMELINE_WORK);
	const struct sessions *all = &d->s->sessions;

	for (size_t i = 0; i < all->n; i++)
		add_block(d, TIMELINE_FULL, all->session[i].begin, all->session[i].end);
	for (size_t i = 0; i < all->n_visit; i++)
		add_block(d, TIMELINE_FRAME, all->visit[i].from, all->visit[i].to);
	held(d, -1, BIT(COND_WALK_TEST) | BIT(COND_FIRE_TEST) | BIT(COND_ON_TEST), TIMELINE_UPRIGHT);
	for (size_t i = 0; i < d->v->n_service; i++)
		add_mark(d, d->v->service[i].at);
	keep_if_any(d, lane);
}

static void
panel(struct draw *d)
{
	struct timeline_lane *lane = new_lane(d, TIMELINE_PANEL);

	for (size_t i = 0; i < d->v->n_event; i++) {
		const struct event *ev = &d->v->event[i];

		if (ev->word == W_RESTART || ev->word == W_CLOCK_SET || ev->word == W_LOG_CLEARED ||
		    ev->word == W_LOG_OVERFLOW)
			add_mark(d, ev->at);
	}
	keep_if_any(d, lane);
}

static bool
may_be_drawn(const struct draw *d, int32_t device)
{
	return site_belongs(&d->v->device[device]) && !silent_device(d->v, device);
}

/* When a device was gone: told, else from when it was last heard. */
static void
losses(struct draw *d, int32_t device, void (*each)(struct draw *, int64_t, int64_t))
{
	const struct losses *all = &d->s->losses;

	for (size_t i = all->first[device]; i < all->first[device + 1]; i++) {
		const struct loss *l = &all->loss[i];

		each(d, l->sort == LOSS_TOLD || l->gone == NO_TIME ? l->at : l->gone, l->end);
	}
}

static void
lost_block(struct draw *d, int64_t from, int64_t to)
{
	add_block(d, TIMELINE_FULL, from, to);
}

/* How many are gone at each hour: what they have in common is the receiver. */
static void
lost_together(struct draw *d)
{
	struct timeline_lane *lane = new_lane(d, TIMELINE_LOST);

	for (size_t i = 0; i < d->v->n_device; i++) {
		struct timeline_lane one = { 0 };

		if (!may_be_drawn(d, (int32_t)i))
			continue;
		lane->sum += d->v->device[i].wireless && !site_gone(&d->v->device[i]);
		losses(d, (int32_t)i, lost_block);
		finish(d, &one);
		for (size_t k = 0; k < one.n_block; k++)
			for (int32_t h = one.block[k].from; h < one.block[k].to; h++)
				count_hour(d, lane, h);
	}
	if (lane->count && lane->sum < lane->count[lane->most])
		lane->sum = lane->count[lane->most];	/* some were taken out since */
	keep_if_any(d, lane);
}

/* ---- devices --------------------------------------------------------------------- */

/* False: nothing to draw. */
static bool
device_lane(struct draw *d, int32_t device, struct timeline_lane *lane)
{
	const uint32_t trouble = BIT(COND_TAMPER) | BIT(COND_TROUBLE) | BIT(COND_END_OF_LIFE) |
	    BIT(COND_SUPERVISORY) | BIT(COND_BYPASS) | BIT(COND_SOUNDER) | BIT(COND_POWER);
	struct activations list = { 0 };

	*lane = (struct timeline_lane){ .what = TIMELINE_DEVICE, .device = device, .partition = "",
		.night = d->battery.device[device].night };
	activations_of(d->v, device, NO_TIME, &list);
	for (size_t i = 0; i < list.n; i++) {
		if (!drawn(d, list.one[i].start))
			continue;
		count_hour(d, lane, (int32_t)hour_of(d, list.one[i].start));
		lane->sum++;
		if (list.one[i].alarm)
			add_mark(d, list.one[i].start);
	}
	activations_release(&list);
	losses(d, device, lost_block);
	held(d, device, BIT(COND_BATTERY), TIMELINE_ACROSS);
	held(d, device, trouble, TIMELINE_UPRIGHT);
	finish(d, lane);
	return lane->sum || lane->n_block;
}

static bool
in_finding(const struct draw *d, int32_t device)
{
	for (size_t i = 0; i < d->s->n_finding; i++) {
		const struct stored_finding *f = &d->s->finding[i];

		if ((*f->zone || *f->serial) &&
		    view_device_find(d->v, f->zone, f->serial, f->onset) == device)
			return true;
	}
	return false;
}

/* Which devices give way first when there are too many: the less there is to see. Life
 * safety never gives way to others. */
static int64_t
weight(const struct draw *d, const struct timeline_lane *lane)
{
	const struct device *x = &d->v->device[lane->device];

	return (int64_t)(x->life || x->maybe_life) << 42 |
	    (int64_t)in_finding(d, lane->device) << 41 | (int64_t)(lane->n_block > 0) << 40 |
	    (lane->sum < INT32_MAX ? lane->sum : INT32_MAX);
}

static void
devices(struct draw *d)
{
	const struct view *v = d->v;
	struct timeline_lane *lane = arena_take(&d->v->arena, (v->n_device + 1) * sizeof *lane);
	int64_t *w = arena_take(&d->v->arena, (v->n_device + 1) * sizeof *w);
	size_t n = 0;

	for (size_t i = 0; i < v->n_device; i++) {
		int32_t x = d->s->order[i];

		if (site_belongs(&v->device[x]) && silent_device(v, x))
			d->out->silent = true;
		if (!may_be_drawn(d, x))
			continue;
		if (device_lane(d, x, &lane[n])) {
			w[n] = weight(d, &lane[n]);
			n++;
		} else if (!site_gone(&v->device[x])) {
			d->out->quiet++;
		}
	}
	for (size_t i = 0; i < n; i++) {
		size_t before = 0;	/* of how many it stands behind */

		for (size_t k = 0; k < n; k++)
			before += w[k] > w[i] || (w[k] == w[i] && k < i);
		if (before < TIMELINE_DEVICES)
			d->out->lane[d->out->n_lane++] = lane[i];
		else
			d->out->left_out++;
	}
}

/* ---- all -------------------------------------------------------------------------- */

static void
gaps(struct draw *d)
{
	const struct view *v = d->v;
	struct timeline_lane one = { 0 };
	int64_t from = 0;

	for (size_t i = 0; i < v->n_cover; i++) {
		put_block(d, TIMELINE_FULL, from, hour_of(d, v->cover[i].from));
		from = hour_of(d, v->cover[i].to) + 1;
	}
	put_block(d, TIMELINE_FULL, from, d->hours);
	finish(d, &one);
	d->out->gap = one.block;
	d->out->n_gap = one.n_block;
}

void
timeline_of(const struct site *s, const struct text_zone *zone, struct timeline *out)
{
	struct view *v = s->v;
	struct draw d = { .s = s, .v = v, .zone = zone, .out = out };
	int64_t first = v->now, today;

	*out = (struct timeline){ .days = TIMELINE_LEAST };
	if (v->now == NO_TIME)
		return;
	if (v->n_cover)
		first = v->cover[0].from;
	if (v->n_event && v->event[0].at < first)
		first = v->event[0].at;
	today = floor_div(wall(&d, v->now), DAY);
	first = floor_div(wall(&d, first), DAY);
	out->earlier = today - first >= TIMELINE_DAYS;
	if (today - first >= TIMELINE_LEAST)
		out->days = out->earlier ? TIMELINE_DAYS : (int32_t)(today - first + 1);
	out->day = today - out->days + 1;
	d.hours = out->days * HOURS;
	out->lane = arena_take(&v->arena, (TIMELINE_PARTITIONS + TIMELINE_DEVICE +
	    TIMELINE_DEVICES) * sizeof *out->lane);
	state_past(v, &v->arena, &d.past);
	batteries_find(v, &d.battery);
	gaps(&d);
	armed(&d);
	power(&d);
	line(&d);
	work(&d);
	panel(&d);
	lost_together(&d);
	devices(&d);
}
