/* last.h - of events that come one by one, the last of each kind at each place.
 *
 * Kind is the event cell, place the point. It is what a view holds of events older than
 * VIEW_LOOK_BACK, and what retention leaves in the store, so that both keep the same.
 */
#ifndef DAEMON_STORE_LAST_H
#define DAEMON_STORE_LAST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct last_one { int64_t at; uint32_t point, cell; size_t which; bool taken; };
struct last { struct last_one *slot; size_t n, cap; };	/* open addressing; zeroed = empty */

/* `which` is the caller's name for the event. False: a later one of its kind and place was
 * there already. Of two at one instant the second is the last. *gone: the one in whose
 * place it stands now; SIZE_MAX = none. */
bool last_add(struct last *l, uint32_t point, uint32_t cell, int64_t at, size_t which, size_t *gone);
void last_release(struct last *l);

#endif
