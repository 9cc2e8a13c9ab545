/* radio.h - what the log tells of one device's radio path before it went.
 *
 * - Check-ins that did not come in the last days (`losses_within`): gaps of two and more whole
 *   intervals between two times that it was heard, inside one cover interval.
 * - Its signal: the values that came with its events. A fall counts when the values go down
 *   with time beyond chance (stats_trend()), and the newest third lies lower than the oldest
 *   by `signal_drop` dB, `signal_drop_share` percent or one bar. Of more than 64 values the
 *   medians of 64 parts are looked at.
 * - Hours: losses and silences that begin, mostly, within the same six hours of the day.
 *
 * Looked at are the weeks (`lookback`) before it went. The numbers are settings of the rule
 * supervision-loss.
 */
#ifndef RULES_RADIO_H
#define RULES_RADIO_H

#include "rules/losses.h"

struct radio {
	long   came, missed, worst;	/* check-ins; `worst` is the most missed in a row */
	size_t signals;			/* values of one unit; 0 = fewer than eight */
	enum strength_unit unit;
	double first, last;		/* medians of the oldest and of the newest third, in the unit */
	double week;			/* change a week */
	double p;			/* chance of an order so clear without a trend */
	bool   falls;
	size_t begins, within;		/* losses and silences, and of these within the six hours */
	int    hour;			/* begin of these hours, local; -1 = no such hours */
};

/* What was heard after `until` (ms) is left aside. */
struct radio radio_find(const struct view *v, const struct losses *l, int32_t device,
    int64_t until);

#endif
