/* lock.h - one at a time: `watch` and `nightly` on one store.
 *
 * A lock of the operating system (flock) on STORE.lock: it ends with the process that
 * holds it, however that ends. The file says who that is and is never removed.
 */
#ifndef DAEMON_LOCK_H
#define DAEMON_LOCK_H

#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"

/* The lock's descriptor: close() gives it back. -1 and *e when another holds it (the
 * message says who), or when the file cannot be made. `who` is "watch" or "nightly". */
int lock_take(const char *store, const char *who, struct err *e);
/* A sign of life: the lock's time of change becomes now. */
void lock_beat(int lock);
/* The last such sign, wall clock, ms; NO_TIME = there is no such lock. */
int64_t lock_beaten(const char *store);
/* Who holds the lock of a store now, "watch, process 4711"; "" = nobody. */
const char *lock_holder(struct arena *a, const char *store);

#endif
