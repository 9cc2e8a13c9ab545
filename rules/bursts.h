/* bursts.h - when one device went off again and again, and what can be measured of it.
 *
 * A burst is a maximal run of activations of one input with each gap at most `gap` that
 * holds `activations` of them with last - first at most `window`. A report of the panel
 * that it shut the device out for repeated trips belongs to the burst that it ends; alone
 * (more than `gap` after any) it counts as a burst.
 *
 * Left out are activations inside a test or session, those of motion detectors unless
 * armed away, and those with a stamp too coarse for such gaps. A device that no list names
 * the kind of is taken for a motion detector when each of its activations begins with
 * `trip` and it never reports an opening or a closing: so speak detectors that see people.
 */
#ifndef RULES_BURSTS_H
#define RULES_BURSTS_H

#include "rules/activation.h"
#include "rules/arming.h"

struct burst {
	int64_t from, to;
	size_t  lo, hi;		/* positions in `used`; lo = hi for a report alone */
	size_t  n;		/* activations, or reports */
};

/* To be filled in before the first call, the rest zeroed; used for device after device. */
struct bursts {
	const struct view   *v;
	const struct arming *arming;	/* needed by bursts_find() only */
	int64_t              from;	/* nothing before it is looked at; NO_TIME = all */
	struct burst_limits {
		size_t  activations;	/* at least 2 */
		int64_t window, gap;
	}                    limits;

	/* What the calls below find for one device. */
	enum kind kind;		/* as which it is judged */
	struct activations act;		/* all of them */
	uint32_t *used;			/* those that may count, input after input */
	size_t    n_used, cap_used;
	size_t    input[ACTIVATION_INPUTS + 1];	/* where each input begins in `used` */
	struct burst *burst;		/* by begin */
	size_t    n_burst, cap_burst;
	uint32_t *swinger;		/* events: reports of the panel */
	size_t    n_swinger, cap_swinger;
	size_t    coarse;		/* left out for their stamps */
	size_t    unknown;		/* of motion detectors: left out since the log does not say
					 * whether it was armed */
	int64_t  *number;
	size_t    cap_number;
};

/* A quick look: could the device have a burst at all? Fills `act`. */
bool bursts_possible(struct bursts *s, int32_t device);
/* After that has said yes. */
void bursts_find(struct bursts *s, int32_t device);
void bursts_release(struct bursts *s);

/* The run-length chatter index in 1/s: mean of 1/r over the run lengths r, the whole
 * seconds from one activation to the next of the same input, those of one second
 * counting 1. After Kondaveeti and others, Chem. Eng. Res. Des. 91 (2013) 2550-2558; the
 * formula is from memory. < 0 = undefined. */
double bursts_index(const struct bursts *s);
/* Median time between open and close in s; < 0 = the log has no returns. */
double bursts_dwell(struct bursts *s);
/* Share in % of the busiest three hours in a row of the local day; *from is the first. Of
 * equals, the one whose middle hour is the busiest. */
double bursts_hours(const struct bursts *s, int *from);
/* The local hour of day at which it began, the weekday (0 = Monday), and the day. */
int bursts_hour(const struct bursts *s, const struct activation *a);
int bursts_weekday(const struct bursts *s, const struct activation *a);
int64_t bursts_day(const struct bursts *s, const struct activation *a);	/* since 1970 */
/* How long the device was shut out by the panel, so that further trips do not show: from each
 * such report until the partition was disarmed, the zone taken in again, or the device went
 * off again; else to the end of the log. In ms. */
int64_t bursts_hidden(const struct bursts *s, int32_t device);

#endif
