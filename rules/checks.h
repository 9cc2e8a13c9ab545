/* checks.h - what to check, in which order, by device kind.
 *
 * For rules that share it. Order: what costs least and explains most comes first.
 * All of it is the trade's usual practice, no source. Nothing here ever advises to
 * bypass, mute, delay or take off a life-safety device.
 */
#ifndef RULES_CHECKS_H
#define RULES_CHECKS_H

#include "rules/rule.h"

/* Why a detector goes off without cause: mounting, surroundings, radio, cell. For
 * devices that are not life safety; those of unknown kind are identified first. */
void checks_trips(struct findings *out, struct finding *f, enum kind k);
/* What to do about an alarm of a life-safety point, and what to look at after the
 * all-clear. For the panel itself, the kind that its alarm word implies. */
void checks_life(struct findings *out, struct finding *f, enum kind k);

#endif
