/* direction.h - does a file stand newest first?
 *
 * Told by the steps from row to row: up or down, equal times tell nothing. Steps between
 * rows of one account count first, because an export may be sorted by account; and times
 * of receipt before times of events, because events can arrive late. A direction is the
 * file's when it has at least twice the steps of the other (common practice, no source);
 * where none has, as in rows sorted by something else, it is oldest first.
 */
#ifndef PARSERS_DIRECTION_H
#define PARSERS_DIRECTION_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/span.h"

/* Accounts whose last row is remembered; of more, those met last. */
enum { DIRECTION_ACCOUNTS = 1024 };

enum direction_by { DIRECTION_TIME, DIRECTION_RECEIVED, DIRECTION_BYS };

/* A zeroed one is empty. */
struct direction {
	struct direction_last {
		uint64_t account;	/* hash */
		int64_t  at[DIRECTION_BYS];
		bool     has[DIRECTION_BYS];
	} last[DIRECTION_ACCOUNTS], any;
	struct direction_steps {
		int64_t up, down;
	} steps[2][DIRECTION_BYS];	/* of any, of one account */
};

/* A row's time of this sort, seconds of one clock. */
void direction_add(struct direction *d, struct span account, enum direction_by by, int64_t at);
bool direction_newest_first(const struct direction *d);

#endif
