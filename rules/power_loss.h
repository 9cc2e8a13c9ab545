/* power_loss.h - the second pass of the rule power-loss, over all accounts.
 *
 * When the mains fails at many accounts of one group within minutes, it is the supply of
 * the place and one finding; an account whose power is not back when most others have it
 * again stands for itself.
 *
 * "Many" is more than chance: accounts in a short window against the group's own rate of
 * losses over the lookback, by the scan statistic of rules/stats.h, and three at least.
 */
#ifndef RULES_POWER_LOSS_H
#define RULES_POWER_LOSS_H

#include "rules/rule.h"

/* What a candidate brings along, by place in its `number`. Times in ms. */
enum {
	P_OPEN,		/* begin of the loss that still holds and is old enough; 0 = none */
	P_NEED,		/* this many losses of one account speak of itself; 0 = too few there */
	P_TIMES,	/* places P_AT and up that are filled */
	P_AT,		/* begin of its newest losses, newest first */
};
enum { P_AT_MOST = 5 };

/* Summaries: "loss:GROUP" at the begin, a = the end in ms (0 = still without), b = 1 when
 * the account has life-safety devices. */
void power_fleet_judge(struct fleet *f, struct findings *out);

#endif
