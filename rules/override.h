/* override.h - a setting's value as a person writes it. */
#ifndef RULES_OVERRIDE_H
#define RULES_OVERRIDE_H

#include "daemon/base/span.h"
#include "rules/rule.h"

/* Settings that belong to the nightly run and to no rule; judges nothing. */
extern const struct rule override_nightly;
/* For how long each kind of copy is kept, in days; 0 = for good. */
extern const struct rule override_kept;
/* Both of them, one by one; NULL behind the last. And by name, letter case aside. */
const struct rule *override_of_the_store(size_t i);
const struct rule *override_find(struct span id);
/* The least value that is allowed, but for 0 where the setting's `min` is 0. */
double override_least(const struct setting *s);

/* "5", "2.5", or for durations also "90s", "12h", "30d". NULL and *out in the setting's
 * unit, or why not, as a static text ("no such rule", "no such setting", "not a number",
 * "outside the setting's range"). */
const char *override_read(struct span rule, struct span setting, struct span text, double *out);

/* The number alone, in the setting's unit, whatever its range; false: it is none. */
bool override_number(const struct setting *s, struct span text, double *out);
/* The rule's setting of that name, letter case aside; NULL if none. */
const struct setting *override_setting(const struct rule *r, struct span name);

/* A scope is "*", "group=NAME", "device=KIND" or "account=NAME", and "*" alone for what is
 * no rule: NULL, or why not. `rule` may be empty. */
const char *override_scope(struct span rule, struct span scope);
/* Does a valid scope reach this account? How narrow it is (struct override), or -1; *kind is
 * that of device=KIND, else KIND_UNKNOWN. */
int override_reach(struct span scope, const char *account, const char *group, enum kind *kind);
/* Puts one more override where it belongs: it is the newest of its scope, and narrower ones
 * still win. The list has room for it; gives the new length. */
size_t override_add(struct override *list, size_t n, const struct override *one);

#endif
