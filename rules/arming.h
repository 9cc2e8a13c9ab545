/* arming.h - armed or not, in test or not, at each event.
 *
 * Partitions keep their own arm state. A row without a partition speaks of all; an event
 * without one (its device has none either) has a state only while all partitions agree.
 * Before the first word nothing is known.
 *
 * A test explains only its own partition and kind, from its begin to its end, and for
 * `test_max` at the most: a walk test explains devices that are not life safety, a fire
 * test those of fire, the account on test everything. An end without a partition ends the
 * tests of its sort in all partitions.
 *
 * A session is the time between program-entry and program-exit, `session_max` at the
 * most, and ARMING_LEARN before and after any learn, unlearn, learn-heard or
 * learn-refused. So is the time ARMING_SERVICE before and after a row of the service list:
 * for the device that it names, else for all.
 */
#ifndef RULES_ARMING_H
#define RULES_ARMING_H

#include "rules/view.h"

#define ARMING_TEST_MAX    (4 * HOUR)		/* common practice, no source */
#define ARMING_SESSION_MAX (4 * HOUR)		/* common practice, no source */
#define ARMING_LEARN       (10 * MINUTE)	/* common practice, no source */

#define ARMING_SERVICE     (30 * MINUTE)	/* common practice, no source; as tamper-repeat's work */

/* More partitions than any panel has; further ones share the last. */
enum { ARMING_AREAS = 256 };

enum arm { ARM_UNKNOWN, ARM_DISARMED, ARM_STAY, ARM_AWAY };

struct arming {
	/* One for each event, about its partition just before it. */
	struct arming_of {
		uint32_t period;	/* how often the partition had gone from not armed to armed;
					 * equal numbers while armed = the same armed period */
		uint32_t away;		/* the same for armed away */
		uint8_t  state;		/* enum arm */
		bool     test;		/* an open test explains the event */
		bool     session;
		bool     service;	/* that is so for a row of the service list only */
	} *of;
	/* The same at the end of the log, by struct point's area; [0] = rows without one. */
	struct arming_of *end;
};

/* Memory from `a`, for as long as that lives. */
void arming_of(const struct view *v, struct arena *a, int64_t test_max, int64_t session_max,
    struct arming *out);

#endif
