/* survival.h - how long things last, from lives of which many have not ended yet.
 *
 * The product-limit estimate of E. L. Kaplan, P. Meier, J. Am. Stat. Assoc. 53 (1958) 457-481:
 * at each age at which some end, the survival is multiplied by the share of those at risk
 * that did not. A life is at risk from the age at which it came under watch (a cell that was
 * three years old when the log began says nothing of its first three years) to its end or
 * to when it was last seen. Ages are in one unit of the caller's.
 */
#ifndef RULES_SURVIVAL_H
#define RULES_SURVIVAL_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/base/arena.h"

struct life {
	double from, to;	/* 0 <= from < to: at risk in (from, to] */
	bool   ended;		/* at `to`; else it was last seen then */
	double n;		/* so many equal ones */
};

struct survival_step {
	double age;
	double ended, at_risk;	/* at that age */
	double share;		/* surviving after it */
};

struct survival {
	struct survival_step *step;	/* by age; in the arena */
	size_t n;
	double ended;			/* in all */
	double oldest;			/* age to which any was watched */
};

/* Sorts `life`. Lives with from >= to are left out. */
struct survival survival_of(struct arena *a, struct life *life, size_t n);

/* The share that survives `age`; 1 before the first end. */
double survival_at(const struct survival *s, double age);

/* The chance that one which has survived `age` ends within `more`; 0 when none is expected to
 * have survived so far. */
double survival_due(const struct survival *s, double age, double more);

#endif
