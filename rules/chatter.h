/* chatter.h - for rules that have to know whether chatter speaks of a device already. */
#ifndef RULES_CHATTER_H
#define RULES_CHATTER_H

#include "rules/view.h"

/* Does the rule chatter have a finding on this device? */
bool chatter_tells(struct view *v, int32_t device);

#endif
