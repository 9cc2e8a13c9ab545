/* loss_checks.h - what to check on a device that was lost, in order, with the signs.
 *
 * - Taken off, opened or damaged: tamper close to when it was last heard.
 * - Weak cell: low battery in the weeks before, with no new cell since. A restore of it
 *   does not take the sign away: a marginal cell recovers and falls again.
 * - Weak signal: it was lost and came back before, or neighbours were lost in the same days;
 *   its signal fell; many check-ins did not come before; it goes at the same hours of the
 *   day (radio.h).
 * - What it shares with others that went within one check-in of it and are lost still, or
 *   that went with it nearly each time, a repeater among them first.
 * - Replaced: the serial that it took the place of on its zone, and one of its kind that was
 *   learned since elsewhere.
 *
 * What has signs stands first, tamper before cell and signal, and of these two the one with
 * more signs; then the others in the order place, cell, signal. Before all: people on the site are told where life safety is concerned. Last:
 * how to see that it works again, by kind. How long back a sign counts is a setting of the
 * rule supervision-loss. Common practice, no source.
 */
#ifndef RULES_LOSS_CHECKS_H
#define RULES_LOSS_CHECKS_H

#include "rules/losses.h"
#include "rules/rule.h"

/* Adds checks, and the events that are signs to the evidence. `loss` is a device's. */
void loss_checks(struct view *v, const struct losses *l, const struct loss *loss,
    struct findings *out, struct finding *f);

#endif
