/* battery.h - each device's cell: since when it is low, and was it changed.
 *
 * One *life* of a cell begins with its first `low-battery` and ends when it was changed.
 * Repeats while it is low belong to the same onset, and so does a flag that flips: such a
 * cell is *marginal*, still to be changed though its last word is good. A report marked
 * *still* keeps a cell low and is no onset.
 *
 * A cell counts as changed when the log or a person says so: `cell-replaced`; a restore
 * with, within 30 min, a tamper or test of the device, a `program-entry`, a `learn`, a
 * test of the site, or a service row; or a roster that gives an `installed` newer than
 * the last low (with a restore, the same day is enough). It is proven after 14 days of
 * cover without another low; until then it is *watched*. The numbers are settings of the
 * rule battery-cluster; for what is or may be life safety no override makes a cell count
 * as changed sooner than the defaults do.
 */
#ifndef RULES_BATTERY_H
#define RULES_BATTERY_H

#include "rules/view.h"

enum cell_state {
	CELL_GOOD,	/* never low, or changed and proven */
	CELL_LOW,
	CELL_MARGINAL,	/* good by its last word, without a sign that it was changed */
	CELL_WATCHED,	/* changed, and not yet proven */
};

struct battery {
	enum cell_state state;
	int64_t  onset;		/* of the life at hand; NO_TIME = none, or low since before the log */
	int64_t  last_low;	/* last report, repeats too; NO_TIME = never */
	int64_t  restored;	/* last good word after a low; NO_TIME */
	int64_t  changed;	/* last sign of a change; NO_TIME = never */
	uint32_t onset_event, last_event;	/* of onset and last_low */
	uint32_t flips;		/* how often it went low again in this life */
	bool     night;		/* low in the night and good again by day, as the cold does it */
	bool     former;	/* gone: unlearned, or replaced on its zone */
};

/* An onset of any life. */
struct battery_onset {
	int64_t at;
	int32_t device;
};

struct batteries {
	struct battery       *device;	/* one for each device of the view, in its order */
	struct battery_onset *onset;	/* by device, then time */
	size_t                n_onset;
};

/* All memory is the view's arena. */
void batteries_find(struct view *v, struct batteries *out);

/* Is this a device with a cell of this site, and not one that merely was heard here? */
bool battery_counts(const struct view *v, int32_t device);

#endif
