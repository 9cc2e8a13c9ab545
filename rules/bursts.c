#include "rules/bursts.h"

#include <stdlib.h>

/* Whether anything at all could be a burst, before tests and arm states are looked at. */
static bool
any_crowd(const struct bursts *s)
{
	const struct activation *a = s->act.one;

	for (size_t i = 0, k = s->limits.activations - 1; k < s->act.n; i++, k++)
		if (a[k].start - a[i].start <= s->limits.window)
			return true;
	return false;
}

/* Doors and windows report openings; what only trips and clears sees people. */
static enum kind
kind_shown(const struct bursts *s, const struct device *d)
{
	if (d->kind != KIND_UNKNOWN || !s->act.n)
		return d->kind;
	for (size_t i = 0; i < s->act.n; i++)
		if (s->v->event[s->act.one[i].event].word != W_TRIP)
			return KIND_UNKNOWN;
	for (size_t i = 0; i < d->n_event; i++) {
		enum word w = s->v->event[d->event[i]].word;

		if (w == W_ZONE_OPEN || w == W_ZONE_CLOSE)
			return KIND_UNKNOWN;
	}
	return KIND_MOTION;
}

static void
find_swingers(struct bursts *s, const struct device *d)
{
	s->n_swinger = 0;
	for (size_t i = 0; i < d->n_event; i++) {
		const struct event *ev = &s->v->event[d->event[i]];

		if (ev->word != W_SWINGER || (ev->marks & MARK_STILL) || ev->at < s->from)
			continue;
		s->swinger = x_grow(s->swinger, &s->cap_swinger, s->n_swinger + 1,
		    sizeof *s->swinger);
		s->swinger[s->n_swinger++] = d->event[i];
	}
}

/* Is the event nothing that a test, a session or a normal day explains? */
static bool
counts(const struct bursts *s, enum kind k, uint32_t event, bool by_panel)
{
	const struct arming_of *of = &s->arming->of[event];

	if (of->test || of->session)
		return false;
	/* Motion detectors see people all day. The panel shuts a detector out only while
	 * armed, so there it is enough that nothing speaks against it. */
	return k != KIND_MOTION || of->state == ARM_AWAY || (by_panel && of->state == ARM_UNKNOWN);
}

static void
choose_used(struct bursts *s, enum kind k)
{
	unsigned inputs = 1;

	s->n_used = s->coarse = s->unknown = 0;
	for (size_t i = 0; i < s->act.n; i++)
		if (s->act.one[i].input >= inputs)
			inputs = s->act.one[i].input + 1u;
	for (unsigned in = 0; in < ACTIVATION_INPUTS; in++) {
		s->input[in] = s->n_used;
		for (size_t i = 0; in < inputs && i < s->act.n; i++) {
			const struct activation *a = &s->act.one[i];

			if (a->input != in)
				continue;
			if (!counts(s, k, a->event, false)) {
				s->unknown += k == KIND_MOTION &&
				    s->arming->of[a->event].state == ARM_UNKNOWN;
				continue;
			}
			if (a->loose) {
				s->coarse++;
				continue;
			}
			s->used = x_grow(s->used, &s->cap_used, s->n_used + 1, sizeof *s->used);
			s->used[s->n_used++] = (uint32_t)i;
		}
	}
	s->input[ACTIVATION_INPUTS] = s->n_used;
}

static int64_t
start_of(const struct bursts *s, size_t used)
{
	return s->act.one[s->used[used]].start;
}

static struct burst *
burst_add(struct bursts *s, int64_t from, int64_t to)
{
	s->burst = x_grow(s->burst, &s->cap_burst, s->n_burst + 1, sizeof *s->burst);
	s->burst[s->n_burst] = (struct burst){ .from = from, .to = to };
	return &s->burst[s->n_burst++];
}

static void
find_runs(struct bursts *s, size_t begin, size_t end)
{
	size_t need = s->limits.activations;

	for (size_t lo = begin, hi; lo < end; lo = hi) {
		bool crowded = false;

		for (hi = lo + 1; hi < end && start_of(s, hi) - start_of(s, hi - 1) <= s->limits.gap; hi++)
			;
		for (size_t i = lo; !crowded && i + need <= hi; i++)
			crowded = start_of(s, i + need - 1) - start_of(s, i) <= s->limits.window;
		if (crowded) {
			struct burst *b = burst_add(s, start_of(s, lo), start_of(s, hi - 1));

			b->lo = lo;
			b->hi = hi;
			b->n = hi - lo;
		}
	}
}

static int
by_from(const void *a, const void *b)
{
	const struct burst *x = a, *y = b;

	return x->from < y->from ? -1 : x->from > y->from ? 1 :
	    x->lo < y->lo ? -1 : x->lo > y->lo;
}

static void
sort_bursts(struct bursts *s)
{
	if (s->n_burst > 1)
		qsort(s->burst, s->n_burst, sizeof *s->burst, by_from);
}

/* A report of the panel belongs to the burst that it ends; alone it stands for one. */
static void
add_swingers(struct bursts *s, enum kind k)
{
	size_t n_run = s->n_burst, next = 0, kept = 0;
	int64_t covered = NO_TIME;

	for (size_t i = 0; i < s->n_swinger; i++) {
		int64_t at = s->v->event[s->swinger[i]].at;

		if (!counts(s, k, s->swinger[i], true))
			continue;
		s->swinger[kept++] = s->swinger[i];
		for (; next < n_run && s->burst[next].from <= at; next++)
			if (s->burst[next].to > covered)
				covered = s->burst[next].to;
		if (covered != NO_TIME && at - covered <= s->limits.gap) {
			covered = at > covered ? at : covered;
			continue;
		}
		if (s->n_burst > n_run && at - s->burst[s->n_burst - 1].to <= s->limits.gap)
			s->burst[s->n_burst - 1].to = at;
		else
			burst_add(s, at, at);
		s->burst[s->n_burst - 1].n++;
	}
	s->n_swinger = kept;
}

bool
bursts_possible(struct bursts *s, int32_t device)
{
	const struct device *d = &s->v->device[device];

	find_swingers(s, d);
	activations_of(s->v, device, s->from, &s->act);
	return any_crowd(s) || s->n_swinger;
}

void
bursts_find(struct bursts *s, int32_t device)
{
	enum kind k = kind_shown(s, &s->v->device[device]);

	s->kind = k;
	choose_used(s, k);
	s->n_burst = 0;
	for (unsigned in = 0; in < ACTIVATION_INPUTS; in++)
		find_runs(s, s->input[in], s->input[in + 1]);
	sort_bursts(s);
	add_swingers(s, k);
	sort_bursts(s);
}

/* ---- measures -------------------------------------------------------------- */

static int
by_size(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return x < y ? -1 : x > y;
}

double
bursts_index(const struct bursts *s)
{
	double sum = 0;
	size_t n = 0;

	for (unsigned in = 0; in < ACTIVATION_INPUTS; in++) {
		for (size_t i = s->input[in] + 1; i < s->input[in + 1]; i++, n++) {
			int64_t r = (start_of(s, i) - start_of(s, i - 1)) / SECOND;

			sum += 1.0 / (double)(r < 1 ? 1 : r);
		}
	}
	return n ? sum / (double)n : -1;
}

double
bursts_dwell(struct bursts *s)
{
	size_t n = 0;

	for (size_t i = 0; i < s->n_used; i++) {
		const struct activation *a = &s->act.one[s->used[i]];

		if (a->end == NO_TIME || a->loose_end)
			continue;
		s->number = x_grow(s->number, &s->cap_number, n + 1, sizeof *s->number);
		s->number[n++] = a->end - a->start;
	}
	if (!n)
		return -1;
	qsort(s->number, n, sizeof *s->number, by_size);
	return (double)(s->number[(n - 1) / 2] + s->number[n / 2]) / 2 / SECOND;
}

static int64_t
local(const struct bursts *s, const struct activation *a)
{
	return a->start + s->v->event[a->event].offset * SECOND;
}

int
bursts_hour(const struct bursts *s, const struct activation *a)
{
	return (int)((local(s, a) % DAY + DAY) % DAY / HOUR);
}

int64_t
bursts_day(const struct bursts *s, const struct activation *a)
{
	int64_t at = local(s, a);

	return at / DAY - (at % DAY < 0);
}

int
bursts_weekday(const struct bursts *s, const struct activation *a)
{
	/* 1970-01-01 was a Thursday. */
	return (int)(((bursts_day(s, a) + 3) % 7 + 7) % 7);
}

int64_t
bursts_hidden(const struct bursts *s, int32_t device)
{
	const struct view *v = s->v;
	const struct device *d = &v->device[device];
	int64_t hidden = 0, done = NO_TIME;

	for (size_t i = 0; i < s->n_swinger; i++) {
		int64_t from = v->event[s->swinger[i]].at, to = v->now;

		if (done != NO_TIME && from < done)
			continue;		/* told again while it is shut out */
		for (size_t k = s->swinger[i] + 1; k < v->n_event; k++) {
			const struct event *ev = &v->event[k];
			uint32_t area = v->point[ev->point].area;
			bool own = ev->device == device &&
			    (ev->word == W_UNBYPASS || (word_properties(ev->word) & WP_ACTIVE));

			if ((ev->word == W_DISARM && (!area || !d->area || area == d->area)) || own) {
				to = ev->at;
				break;
			}
		}
		hidden += to > from ? to - from : 0;
		done = to;
	}
	return hidden;
}

double
bursts_hours(const struct bursts *s, int *from)
{
	size_t hour[24] = { 0 }, best = 0, middle = 0;

	for (size_t i = 0; i < s->n_used; i++)
		hour[bursts_hour(s, &s->act.one[s->used[i]])]++;
	*from = 0;
	for (int h = 0; h < 24; h++) {
		size_t n = hour[h] + hour[(h + 1) % 24] + hour[(h + 2) % 24];

		if (n > best || (n == best && hour[(h + 1) % 24] > middle)) {
			best = n;
			middle = hour[(h + 1) % 24];
			*from = h;
		}
	}
	return s->n_used ? 100.0 * (double)best / (double)s->n_used : 0;
}

void
bursts_release(struct bursts *s)
{
	activations_release(&s->act);
	free(s->used);
	free(s->burst);
	free(s->swinger);
	free(s->number);
	*s = (struct bursts){ 0 };
}
