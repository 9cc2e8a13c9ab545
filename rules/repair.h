/* repair.h - the same measures before and after work that was done on a site.
 *
 * A row of the service list says when, and on which zone or serial; without either it is
 * about the whole site. Both sides are REPAIR_SPAN long, and each says how much of it the
 * exports cover: counts of a side that is half covered are half the story.
 */
#ifndef RULES_REPAIR_H
#define RULES_REPAIR_H

#include "rules/losses.h"
#include "rules/view.h"

/* As people compare a device before and after; common practice, no source. */
#define REPAIR_SPAN (14 * DAY)

struct repair_side {
	int64_t covered;	/* ms */
	int64_t activations, alarms, losses, low;
};

struct repair {
	const struct service_row *row;
	int32_t            device;	/* -1 = the whole site, or a device that is not known */
	struct repair_side before, after;
};

/* Of the device and what else is on its zone, or of all devices. */
void repair_measure(const struct view *v, const struct losses *l, const struct service_row *r,
    struct repair *out);
/* All work since `from` on a device (-1: on the whole site), oldest first: rows of the service
 * list about it, its zone or the whole site, and a new serial learned on its zone when the
 * old one went, which has a row made here. Returns how many. Memory from `a`. */
size_t repairs_of(const struct view *v, const struct losses *l, int32_t device, int64_t from,
    struct arena *a, struct repair **out);

#endif
