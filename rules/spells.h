/* spells.h - from when to when a condition of the whole site held, again and again.
 *
 * A spell runs from the event that begins the condition to the one that ends it; a bare
 * `restore` ends it where rules/state.h says that it means that. Repeats of what holds
 * already are one spell. Conditions of different modules (the zone cell of such rows) and
 * of devices are spells of their own. A row marked *still* shows a spell that began before.
 */
#ifndef RULES_SPELLS_H
#define RULES_SPELLS_H

#include "rules/view.h"

struct spell {
	int64_t  from;
	int64_t  to;		/* NO_TIME = holds at the end of the log */
	uint32_t event, end_event;	/* indices; end_event is meaningless while it holds */
	int32_t  device;	/* -1 = the panel or a module */
	bool     before;	/* it began before `from`: that is only when it was first told */
};

struct spells {
	struct spell *spell;	/* by `from` */
	size_t        n;
};

/* All spells between the words `begins` and `ends`. Memory from the view's arena; without
 * any event of the word `begins` it costs one look at each event. */
void spells_find(struct view *v, enum word begins, enum word ends, struct spells *out);

/* The newest run of spells at the panel (device -1): those that began within `within`
 * before the newest one, that one included. *first and *last are the places of the oldest
 * and the newest of them. 0 = there is none. */
size_t spells_newest(const struct spells *s, int64_t within, size_t *first, size_t *last);

/* Too often: `times` spells at the panel that began within `within` are a run, which stands
 * until as much covered time has passed since the last of them began. *first is the place of
 * the oldest of the runs that each began while the one before stood, *last that of the last
 * that stands. Returns how many began within `within` before that one, it included; 0 = none
 * stands, and *last is SIZE_MAX. A spell more never ends a run, and the first stays the same from night to night. */
size_t spells_due(const struct view *v, const struct spells *s, size_t times, int64_t within,
    size_t *first, size_t *last);

#endif
