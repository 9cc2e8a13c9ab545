#include "daemon/spread.h"

#include <stdlib.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"
#include "daemon/derive.h"

static int
by_day(const void *a, const void *b)
{
	const struct spread_day *x = a, *y = b;

	return (x->day > y->day) - (x->day < y->day);
}

/* A year has 366 days, so a sorted array that is searched by bisection will do; the
 * day used last is nearly always the day wanted. */
static struct spread_day *
find(struct spread *s, int32_t day)
{
	size_t lo = 0, hi = s->n;

	if (s->n && s->day[s->last].day == day)
		return &s->day[s->last];
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (s->day[mid].day < day)
			lo = mid + 1;
		else
			hi = mid;
	}
	if (lo == s->n || s->day[lo].day != day) {
		s->day = x_grow(s->day, &s->cap, s->n + 1, sizeof *s->day);
		s->day[s->n++] = (struct spread_day){ day, 0, INT64_MAX, INT64_MIN };
		if (lo < s->n - 1) {
			qsort(s->day, s->n, sizeof *s->day, by_day);
			s->last = 0;
			return find(s, day);
		}
	}
	s->last = lo;
	return &s->day[lo];
}

void
spread_add(struct spread *s, int64_t at)
{
	int64_t day = at / DAY - (at % DAY < 0);
	struct spread_day *d = find(s, (int32_t)day);

	d->n += d->n < UINT32_MAX;
	d->lo = at < d->lo ? at : d->lo;
	d->hi = at > d->hi ? at : d->hi;
}

void
spread_span(struct spread *s, bool lone, int64_t *from, int64_t *to)
{
	uint64_t rows = 0, tail = 0;
	size_t end = s->n;

	*from = *to = NO_TIME;
	if (s->n == 0)
		return;
	for (size_t i = 0; i < s->n; i++)
		rows += s->day[i].n;
	for (size_t i = s->n - 1; i > 0; i--) {
		tail += s->day[i].n;
		if (tail * 10 >= rows)
			break;
		if (s->day[i].lo - s->day[i - 1].hi > (tail < 3 && !lone ? DAY : DERIVE_RESET))
			end = i;
	}
	*from = s->day[0].lo;
	*to = s->day[end - 1].hi;
}

void
spread_within(struct spread *s, int64_t to, int64_t *from, int64_t *last)
{
	*from = *last = NO_TIME;
	for (size_t i = 0; i < s->n && s->day[i].lo <= to; i++) {
		if (*from == NO_TIME)
			*from = s->day[i].lo;
		*last = s->day[i].hi < to ? s->day[i].hi : to;
	}
}

void
spread_reset(struct spread *s)
{
	s->n = s->last = 0;
}

void
spread_release(struct spread *s)
{
	free(s->day);
	*s = (struct spread){ 0 };
}
