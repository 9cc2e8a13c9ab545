/* loss_checks.h - what to check on a device that was lost, in order, with the signs.
 *
 * - Taken off, opened or damaged: tamper close to when it was last heard.
 * - Weak cell: low battery in the weeks before, with no new cell since. A restore of it
 *   does not take the sign away: a marginal cell recovers and falls again.
 * - Weak signal: it was lost and came back before, or neighbours were lost in the same days.
 *
 * What has signs stands first, in this order; then the others in the order place, cell,
 * signal. Before all: people on the site are told where life safety is concerned. Last:
 * how to see that it works again, by kind. How long back a sign counts is a setting of the
 * rule supervision-loss. Common practice, no source.
 */
#ifndef RULES_LOSS_CHECKS_H
#define RULES_LOSS_CHECKS_H

#include "rules/losses.h"
#include "rules/rule.h"

/* Adds checks, and the events that are signs to the evidence. `loss` is a device's. */
void loss_checks(const struct view *v, const struct losses *l, const struct loss *loss,
    struct findings *out, struct finding *f);

#endif
