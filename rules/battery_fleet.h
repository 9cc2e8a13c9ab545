/* battery_fleet.h - the second pass of the rule battery-cluster, over all accounts.
 *
 * Decides which sites' crowds of low batteries are beyond chance, and finds cell types
 * that crowd over the whole fleet. Both are judged by the settings in force, and where
 * these differ from the defaults by the defaults as well: a crowd with life safety in it
 * fires when either says so.
 */
#ifndef RULES_BATTERY_FLEET_H
#define RULES_BATTERY_FLEET_H

#include "rules/rule.h"

/* What a candidate brings along, by place in its `number`. */
enum {
	N_CROWD,	/* onsets in the fullest window */
	N_DEVICE_DAYS,	/* covered days of all its wireless devices, summed */
	N_DAYS,		/* covered days of the account in the lookback */
	N_ONSETS,	/* onsets in all, also of cells changed since */
	N_DUE,		/* devices whose cell is due */
	N_WINDOW,	/* days */
	N_FLAGS,	/* sum of battery_flag */
};

enum battery_flag {
	BATTERY_COLD = 1,	/* low by night, good by day */
	BATTERY_LIFE = 2,	/* a life-safety device is in the crowd, or may be: its numbers are
				 * by the default settings */
	BATTERY_SET = 4,	/* overrides of the rule reach the account */
};

/* Summaries: "onset:CELL" at its time with a = 1 when it counts (its cell was not changed
 * since), b = 1 for life safety and 0.5 for what may be; "exposure:CELL" with a = device-days, b = covered days of
 * the account. CELL is a key of cells.h, "?" = not known. */
void battery_fleet_judge(struct fleet *f, struct findings *out);

/* A setting's default. */
double battery_usual(const char *name);

#endif
