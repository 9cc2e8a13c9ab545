/* battery_due.h - how likely cells that said nothing yet are due, by how long cells of their
 * type last over all accounts.
 *
 * Each account notes the lives of its cells: "lived:CELL" for those that went low, "lives:CELL"
 * for those that did not until they were changed, taken out, or until now; `at` is how many
 * equal ones, a and b are the ages in days from and to which the log watched them. A life
 * begins with a roster's `installed` or with a change that the log shows; cells of unknown
 * age, and such as were low before the log began, are none. "sibling:CELL<tab>DEVICE" names
 * one whose likelihood is asked for: a is its age in days, -1 = not known; b is how many of
 * the site's cells of that type went low.
 *
 * The fleet pass fits survival.h to each cell type that is asked for and adds one check per
 * type to each site that fires: its siblings, the likeliest first. Under `survival_least`
 * cells that went low it says that they are too few, and of a cell older than all that were
 * watched that its chance is not known, unless some of these went low after its age.
 */
#ifndef RULES_BATTERY_DUE_H
#define RULES_BATTERY_DUE_H

#include "rules/battery.h"
#include "rules/rule.h"

/* The lives of n devices with one cell type. */
void battery_note_lives(struct findings *out, const struct view *v, const struct batteries *b,
    const int32_t *device, size_t n, const char *cell);
void battery_note_sibling(struct findings *out, struct view *v, const struct batteries *b,
    int32_t device, const char *cell, long low);

/* Adds checks and measures to the candidates that fire. */
void battery_due_judge(struct fleet *f, struct findings *out);

#endif
