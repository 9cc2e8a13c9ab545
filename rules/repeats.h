/* repeats.h - occasions of one sort that come too often.
 *
 * For exit-error and tamper-repeat: rows close together are one occasion, and a finding is
 * due when `least` occasions lie within `within`. It stands until `within` of covered time
 * has passed since the last occasion of such a run.
 */
#ifndef RULES_REPEATS_H
#define RULES_REPEATS_H

#include "rules/rule.h"

struct repeats {
	uint32_t *event;	/* first row of each occasion, in time order; heap */
	size_t    n, cap;
	int64_t   last;		/* the last row of all; NO_TIME = none */
};

/* One more row, not before the one before it; within `same` of that it is the same occasion. */
void repeats_add(const struct view *v, struct repeats *r, uint32_t event, int64_t same);
/* The occasions [*first, *past) that are due: from the first of the runs that has stood since,
 * each begun while the one before it stood, to the last that still stands. So the first stays
 * the same from night to night. False if none stands. */
bool repeats_due(const struct view *v, const struct repeats *r, size_t least, int64_t within,
    size_t *first, size_t *past);
void repeats_release(struct repeats *r);

#endif
