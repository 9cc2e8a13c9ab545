#include "rules/repeats.h"

#include <stdlib.h>

void
repeats_add(const struct view *v, struct repeats *r, uint32_t event, int64_t same)
{
	int64_t at = v->event[event].at;

	if (r->n == 0 || at - r->last > same) {
		r->event = x_grow(r->event, &r->cap, r->n + 1, sizeof *r->event);
		r->event[r->n++] = event;
	}
	r->last = at;
}

bool
repeats_due(const struct view *v, const struct repeats *r, size_t least, int64_t within,
    size_t *first, size_t *past)
{
	int64_t until = v->now;		/* the run found last began to stand then */

	*past = 0;
	for (size_t i = r->n; i >= least; i--) {
		int64_t to = v->event[r->event[i - 1]].at;

		if (view_cover_within(v, to, until) >= within)
			break;
		if (to - v->event[r->event[i - least]].at > within)
			continue;
		*past = *past ? *past : i;
		*first = i - least;
		until = to;
	}
	return *past > 0;
}

void
repeats_release(struct repeats *r)
{
	free(r->event);
	*r = (struct repeats){ .last = NO_TIME };
}
