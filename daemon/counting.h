/* counting.h - what one account signalled: by device, by week, and around work done.
 *
 * Counted when an account is judged, because its events are at hand then; triage and the
 * trend read the counts and never the events.
 *
 * An activation is one of rules/activation.h. An alarm is one that somebody had to handle:
 * an activation with an alarm in it, or an alarm of the panel itself such as a panic key,
 * outside tests. Weeks begin on Monday 00:00 UTC, the same for all sites.
 */
#ifndef DAEMON_COUNTING_H
#define DAEMON_COUNTING_H

#include "daemon/store/store.h"
#include "rules/view.h"

enum {
	COUNTING_TOP = 10,	/* devices of an account with the most alarms */
	COUNTING_WEEKS = 53,	/* a year and the week that has begun */
};

/* Memory is the view's arena. Nothing is counted where nothing is covered. */
void counting_of(struct view *v, struct signals *out);

#endif
