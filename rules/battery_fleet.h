/* battery_fleet.h - the second pass of the rule battery-cluster, over all accounts.
 *
 * Decides which sites' crowds of low batteries are beyond chance, and finds cell types
 * that crowd over the whole fleet.
 */
#ifndef RULES_BATTERY_FLEET_H
#define RULES_BATTERY_FLEET_H

#include "rules/rule.h"

/* What a candidate brings along, by place in its `number`. */
enum {
	N_CROWD,	/* onsets in the fullest window */
	N_COUNTED,	/* onsets that count in all */
	N_DEVICE_DAYS,	/* covered days of all its wireless devices, summed */
	N_DAYS,		/* covered days of the account in the lookback */
	N_ONSETS,	/* onsets in all, also of cells changed since */
	N_DUE,		/* devices whose cell is due */
	N_WINDOW,	/* days */
	N_COLD,		/* 1 = low by night, good by day */
};

/* Summaries: "onset:CELL" at its time with a = 1 when it counts (its cell was not changed
 * since), b = 1 for life safety; "exposure:CELL" with a = device-days, b = covered days of
 * the account. CELL is a key of cells.h, "?" = not known. */
void battery_fleet_judge(struct fleet *f, struct findings *out);

#endif
