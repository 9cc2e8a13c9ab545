/* override.h - a setting's value as a person writes it. */
#ifndef RULES_OVERRIDE_H
#define RULES_OVERRIDE_H

#include "daemon/base/span.h"
#include "rules/rule.h"

/* Settings that belong to the nightly run and to no rule; judges nothing. */
extern const struct rule override_nightly;

/* "5", "2.5", or for durations also "90s", "12h", "30d". NULL and *out in the setting's
 * unit, or why not, as a static text ("no such rule", "no such setting", "not a number",
 * "outside the setting's range"). */
const char *override_read(struct span rule, struct span setting, struct span text, double *out);

/* A scope is "*", "group=NAME", "device=KIND" or "account=NAME": NULL, or why not. */
const char *override_scope(struct span scope);

#endif
