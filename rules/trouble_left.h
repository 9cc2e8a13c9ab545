/* trouble_left.h - what the rule trouble-left says to others. */
#ifndef RULES_TROUBLE_LEFT_H
#define RULES_TROUBLE_LEFT_H

#include "rules/state.h"

/* Does trouble-left speak of this condition of the panel now? */
bool trouble_left_tells(struct view *v, const struct panel_holding *p);

#endif
