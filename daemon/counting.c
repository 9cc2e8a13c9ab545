#include "daemon/counting.h"

#include <stdlib.h>

#include "rules/activation.h"
#include "rules/arming.h"
#include "rules/losses.h"
#include "rules/repair.h"

/* Signals of this long before the end of cover make an account's load. */
#define LOAD_SPAN (30 * DAY)

struct counting {
	struct view      *v;
	struct arming     arming;
	struct load_sum  *sum;
	int64_t           from;		/* when the first week begins */
	struct load_week *week;
	size_t            n_week;
};

static int
by_alarms(const void *a, const void *b)
{
	const struct load_sum *x = a, *y = b;

	if (x->alarms != y->alarms)
		return x->alarms > y->alarms ? -1 : 1;
	if (x->activations != y->activations)
		return x->activations > y->activations ? -1 : 1;
	return (x->device > y->device) - (x->device < y->device);
}

static int64_t
monday_of(int64_t at)
{
	int64_t day = (at - (at % DAY + DAY) % DAY) / DAY;

	return day - civil_weekday(at);
}

static void
begin_weeks(struct counting *c, struct signals *out)
{
	const struct view *v = c->v;
	/* What is covered of a former customer's time is none of this one's. */
	int64_t begin = v->cover[0].from > v->since ? v->cover[0].from : v->since;
	int64_t last = monday_of(v->now), first = monday_of(begin);

	if (first < last - 7 * (COUNTING_WEEKS - 1))
		first = last - 7 * (COUNTING_WEEKS - 1);
	c->from = first * DAY;
	c->n_week = first <= last ? (size_t)((last - first) / 7 + 1) : 0;
	c->week = arena_take(&c->v->arena, (c->n_week + 1) * sizeof *c->week);
	for (size_t i = 0; i < c->n_week; i++) {
		int64_t at = c->from + (int64_t)i * 7 * DAY;

		c->week[i] = (struct load_week){ .covered = view_cover_within(v,
		    at > begin ? at : begin, at + 7 * DAY) / MINUTE };
	}
	out->monday = first;
	out->week = c->week;
	out->n_week = c->n_week;
}

static void
count(struct counting *c, struct load_sum *sum, int64_t at, bool activation, bool alarm, bool life)
{
	size_t week = at < c->from ? c->n_week : (size_t)((at - c->from) / (7 * DAY));

	if (at >= c->v->now - LOAD_SPAN) {
		sum->activations += activation;
		sum->alarms += alarm;
	}
	if (week < c->n_week) {
		c->week[week].activations += activation;
		c->week[week].alarms += alarm;
		c->week[week].life += alarm && life;
	}
}

static void
count_devices(struct counting *c, struct signals *out)
{
	struct view *v = c->v;
	struct activations list = { 0 };
	int64_t from = c->from < v->now - LOAD_SPAN ? c->from : v->now - LOAD_SPAN;
	size_t n = 1;

	c->sum = arena_take(&v->arena, (v->n_device + 2) * sizeof *c->sum);
	c->sum[0] = (struct load_sum){ .device = -1 };
	for (size_t d = 0; d < v->n_device; d++) {
		struct load_sum *s = &c->sum[n];

		*s = (struct load_sum){ .device = (int32_t)d };
		activations_of(v, (int32_t)d, from, &list);
		for (size_t i = 0; i < list.n; i++)
			count(c, s, list.one[i].start, true, list.one[i].alarm &&
			    !c->arming.of[list.one[i].event].test, v->device[d].life);
		c->sum[0].alarms += s->alarms;
		c->sum[0].activations += s->activations;
		n += s->alarms > 0;
	}
	activations_release(&list);
	/* Alarms of the panel itself, such as a panic key, belong to no device. */
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->device < 0 && !c->arming.of[i].test && !(ev->marks & MARK_STILL) &&
		    (word_properties((enum word)ev->word) & WP_ALARM))
			count(c, &c->sum[0], ev->at, false, true, word_properties((enum word)ev->word) &
			    WP_LIFE || (ev->marks & MARK_LIFE_CODE));
	}
	qsort(c->sum + 1, n - 1, sizeof *c->sum, by_alarms);
	out->sum = c->sum;
	out->n_sum = n < COUNTING_TOP + 1 ? n : COUNTING_TOP + 1;
}

/* Losses are looked for where somebody worked, and nowhere else. */
static void
count_work(struct view *v, struct signals *out)
{
	struct repair *work = arena_take(&v->arena, (v->n_service + 1) * sizeof *work);
	struct losses losses;
	size_t n = 0;

	for (size_t i = 0; i < v->n_service; i++) {
		const struct service_row *r = &v->service[i];

		if (r->at + REPAIR_SPAN > v->now || r->at < v->now - 7 * COUNTING_WEEKS * DAY)
			continue;
		if (n == 0)
			losses_find(v, &v->arena, &losses);
		repair_measure(v, &losses, r, &work[n++]);
	}
	out->work = work;
	out->n_work = n;
}

void
counting_of(struct view *v, struct signals *out)
{
	struct counting c = { .v = v };

	*out = (struct signals){ 0 };
	if (!v->n_cover)
		return;
	arming_of(v, &v->arena, ARMING_TEST_MAX, ARMING_SESSION_MAX, &c.arming);
	begin_weeks(&c, out);
	count_devices(&c, out);
	count_work(v, out);
}
