/* state.h - how every device and the site stand at the view's "now".
 *
 * One pass over the events. A condition holds from the event that began it until one
 * that ends it; the site sheet and the visit check print what still holds, each with
 * the event that shows it.
 *
 * What begins and ends a condition is the table in state.c. Beyond it:
 * - `restore` ends the device's open alarm or opening (both: it is one input); with
 *   none open, its only other condition; with several, none, and `unclear` counts it.
 *   It never ends a bypass: a bypass that nobody took off must not vanish.
 * - A `tamper-restore` of the panel that names no zone ends the panel's tamper; with none
 *   open, the only open tamper of a zone (of its partition, where it names one), unless that
 *   is or may be life safety: then, and with several, none, and `unclear` counts it there.
 * - A loss of supervision also ends when the device is heard in any way, and at `learn`.
 * - A row marked *still* (qualifier 6) begins nothing anew, but shows that the condition
 *   held before: `before` is then set, and `since` is only the first time it was told.
 * - A bypass belongs to the zone: `unbypass` takes it off every device of the zone.
 * - Of what held when a device was unlearned or replaced on its zone, only a bypass stays.
 * - An alarm that a user's code raised has no return to wait for, and is not held.
 * - What the panel itself reports (zone 0, modules, lines) stands in `open`, one entry for
 *   each module number. A test that ends without a partition ends the tests of its
 *   sort in all partitions, one that names a partition only that partition's.
 */
#ifndef RULES_STATE_H
#define RULES_STATE_H

#include "rules/view.h"

/* X(ENUM, "words for people") */
#define CONDITION_LIST(X) \
	X(OPEN, "open") \
	X(ALARM, "in alarm") \
	X(TAMPER, "tamper") \
	X(BATTERY, "battery low") \
	X(LOST, "supervision lost") \
	X(TROUBLE, "trouble") \
	X(END_OF_LIFE, "end of life") \
	X(SUPERVISORY, "fire supervisory") \
	X(BYPASS, "bypassed") \
	X(SOUNDER, "sounder trouble") \
	X(POWER, "mains power lost") \
	X(PANEL_BATTERY, "panel battery low") \
	X(MODULE, "module lost") \
	X(COMM, "communication lost") \
	X(JAM, "radio interference") \
	X(PROGRAMMING, "programming session open") \
	X(WALK_TEST, "walk test open") \
	X(FIRE_TEST, "fire test open") \
	X(ON_TEST, "account on test")

enum condition {
#define X(id, text) COND_##id,
	CONDITION_LIST(X)
#undef X
	COND_COUNT
};

const char *condition_text(enum condition c);

struct holding {
	int64_t  since;		/* NO_TIME = does not hold */
	uint32_t event;		/* the event that began it, or first told of it */
	bool     before;	/* it held already before `since` */
};

struct device_state {
	struct holding cond[COND_COUNT];
	int64_t  last_heard;	/* NO_TIME = never in this log */
	uint32_t last_event;	/* index of that event; meaningless for NO_TIME */
	uint16_t unclear;	/* `restore` events that could have meant several conditions */
};

/* Something that the panel itself reported and that still holds. */
struct panel_holding {
	enum condition what;
	const char    *zone;		/* module or line number as read; "" = the panel */
	const char    *partition;	/* of tests; as read */
	struct holding holding;
};

struct arm_state {
	const char  *partition;		/* as read */
	const char  *partition_key;
	enum word    word;		/* W_ARM, W_ARM_STAY or W_DISARM */
	int64_t      since;
	uint32_t     event;
};

struct state {
	struct device_state  *device;	/* one for each device of the view, in its order */
	struct panel_holding *open;	/* by what, then oldest first */
	size_t                n_open;
	struct arm_state     *arm;	/* a partition each, in the order first met */
	size_t                n_arm;
	int64_t log_cleared, log_overflow, clock_set, restart;	/* last time; NO_TIME = never */
	uint32_t unclear;		/* as above, over all devices */
	/* For each event its word, with `restore` replaced by the word that it turned out
	 * to be (`zone-close`, `battery-restore`, ...; `restore` itself where unclear). */
	uint16_t *meant;
};

/* All memory comes from `a`, for as long as that lives. */
void state_of(const struct view *v, struct arena *a, struct state *out);

/* The panel's or any partition's holding of one sort; NULL if none holds. */
const struct panel_holding *state_open(const struct state *s, enum condition what);

/* One time that a condition held, for a picture of the past. */
struct state_time {
	int32_t        device;	/* -1 = the panel, a module or a line */
	enum condition what;
	int64_t        from;
	int64_t        to;	/* NO_TIME = holds still */
	bool           before;	/* it began before `from` */
};
struct state_times {
	struct state_time *one;	/* in the order they ended, those that hold still last */
	size_t             n;
};

/* The same pass, with all that held and ended on the way. */
void state_past(const struct view *v, struct arena *a, struct state_times *out);

/* Activations (rules/activation.h) of a device in each of the last 30 local days, for a
 * strip; day[STATE_DAYS - 1] is the day of `now`. Local is the wall clock of each event. */
enum { STATE_DAYS = 30 };
void state_days(const struct view *v, int32_t device, unsigned day[STATE_DAYS]);

#endif
