/* visit_work.h - between visit.c and visit_device.c; nobody else's. */
#ifndef RULES_VISIT_WORK_H
#define RULES_VISIT_WORK_H

#include "rules/state.h"
#include "rules/visit.h"

/* Texts; the array grows in the arena. */
struct visit_texts {
	const char **text;
	size_t       n, cap;
};

struct visit_work {
	struct view        *v;
	struct visit_check *out;
	struct sessions     all;
	struct verdicts     verdicts;
	struct state        state;
	bool               *ours;	/* session i belongs to the visit */
	int64_t             planned;	/* earliest window that counts; NO_TIME = none */
	struct visit_texts        reason, note;
};

/* Fills in the status of an expected device whose planned fields are set. `rostered`: it
 * is a row of the roster, so it may have been in the panel before. */
void visit_device_judge(struct visit_work *c, struct visit_device *d, bool rostered);
/* "4A0071 (zone 5, smoke detector, hall)" */
const char *visit_device_name(const struct visit_work *c, const struct visit_device *d);
/* The session whose end closed this one: where its own exit is missing, the next that has
 * one, since that left programming as well. NULL = still open. */
const struct session *visit_closing(const struct visit_work *c, const struct session *s);
const struct verdict_item *visit_verdict_on(const struct visit_work *c, const struct session *s,
    const struct session_item *it);

#endif
