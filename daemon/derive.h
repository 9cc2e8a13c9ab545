/* derive.h - from a time as read to an instant.
 *
 * With an offset there is nothing to decide. A local time that the zone has once is
 * that instant; one it never had is moved on by the gap and marked. In the repeated
 * hour the time of receipt decides where there is one (an event is received soon after
 * it happened); else the order of the account's rows in the file does; else the earlier
 * of the two is taken and marked as ambiguous.
 */
#ifndef DAEMON_DERIVE_H
#define DAEMON_DERIVE_H

#include "daemon/store/write.h"

/* A derive_fn; `tz` is a struct tz. */
derive_fn derive_time;

struct tz_set;
struct view;

/* Gives every event of the view the site's own clock, where sites names its zone: rows
 * with an offset carry the sender's, and people on the spot want theirs. */
void derive_local(struct view *v, struct tz_set *zones);

/* The instant of receipt, ms UTC; NO_TIME when the row has none. */
int64_t derive_received(const void *tz, const struct event_in *row);

/* A clock that is off by more than this stands at a default, not merely wrong. */
#define DERIVE_RESET (400 * DAY)	/* common practice, no source */
/* 2002-01-01: clocks that lost their power begin at an earlier year (1970, 1980, 1990,
 * 2000, 2001 are common; no source). */
#define DERIVE_BEGIN (11688 * DAY)

#endif
