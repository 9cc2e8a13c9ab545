/* account_silent.h - what the rule account-silent says to others. */
#ifndef RULES_ACCOUNT_SILENT_H
#define RULES_ACCOUNT_SILENT_H

#include "rules/view.h"

/* Does account-silent speak of the account now? */
bool account_silent_tells(struct view *v);

#endif
