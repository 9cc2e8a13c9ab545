#include "daemon/derive.h"

#include <stdlib.h>

#include "daemon/base/civil.h"
#include "parsers/tz.h"
#include "rules/view.h"

enum { TIME_MARKS = MARK_SKIPPED | MARK_REPEATED | MARK_AMBIGUOUS };

/* Rows of one account may stand a little out of order. */
#define JITTER (2 * MINUTE)
/* A row this far away says nothing of which of two hours is meant. */
#define NEAR   (3 * HOUR)

int64_t
derive_received(const void *tz, const struct event_in *row)
{
	int32_t first, second;

	if (!row->has_received)
		return NO_TIME;
	if (row->received_offset != OFFSET_NONE)
		first = row->received_offset * 60;
	else
		tz_local(tz, row->received, &first, &second);
	return (row->received - first) * SECOND + row->received_ms;
}

/* The repeated hour: which of the two instants is meant? */
static int32_t
choose(int64_t wall_ms, int32_t first, int32_t second, bool newest_first, int64_t prev,
    int64_t received, uint16_t *marks)
{
	int64_t early = wall_ms - first * SECOND, late = wall_ms - second * SECOND;

	*marks |= MARK_REPEATED;
	if (received != NO_TIME)
		return llabs(received - late) < llabs(received - early) ? second : first;
	if (prev != NO_TIME && llabs(prev - early) <= NEAR) {
		if (newest_first)
			return late <= prev + JITTER ? second : first;
		return early >= prev - JITTER ? first : second;
	}
	*marks |= MARK_AMBIGUOUS;
	return first;
}

void
derive_time(const void *tz, bool newest_first, int64_t *prev, struct event_in *row)
{
	int64_t received = derive_received(tz, row), wall_ms = row->wall * SECOND + row->ms;
	int32_t first, second;

	row->marks &= (uint16_t)~TIME_MARKS;
	if (row->marks & MARK_RESET) {
		/* Receipt stands in; else the place in the file does, which the reading side
		 * has put into `shift` already. */
		if (received != NO_TIME)
			row->shift = row->wall - received / SECOND;
		return;
	}
	if (row->offset != OFFSET_NONE) {
		row->shift = row->offset * 60;
	} else {
		switch (tz_local(tz, row->wall, &first, &second)) {
		case TZ_ONCE:
			break;
		case TZ_NEVER:
			row->marks |= MARK_SKIPPED;
			break;
		case TZ_TWICE:
			first = choose(wall_ms, first, second, newest_first, *prev, received,
			    &row->marks);
			break;
		}
		row->shift = first;
	}
	*prev = wall_ms - row->shift * SECOND;
}

void
derive_local(struct view *v, struct tz_set *zones)
{
	/* Clocks change on a quarter of an hour. */
	const int64_t quarter = 15 * MINUTE;
	struct err unused;
	const struct tz *tz = *v->timezone ? tz_find(zones, span_of(v->timezone), &unused) : NULL;
	int64_t at = INT64_MIN;
	int32_t offset = 0;

	if (!tz)
		return;
	for (size_t i = 0; i < v->n_event; i++) {
		struct event *ev = &v->event[i];

		if (i == 0 || ev->at / quarter != at) {
			at = ev->at / quarter;
			offset = tz_offset(tz, ev->at / SECOND);
		}
		ev->offset = offset;
	}
}
