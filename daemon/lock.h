/* lock.h - one at a time: `watch` and `nightly` on one store.
 *
 * A lock of the operating system (flock) on STORE.lock: it ends with the process that
 * holds it, however that ends. The file says who that is, on a second line what it does at
 * the moment, and is never removed.
 */
#ifndef DAEMON_LOCK_H
#define DAEMON_LOCK_H

#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"

/* The lock's descriptor: close() gives it back. -1 and *e when another holds it (the
 * message says who), or when the file cannot be made. `who` is "watch" or "nightly". */
int lock_take(const char *store, const char *who, struct err *e);
/* A sign of life, and what is done: one line, "" = waiting for work. */
void lock_beat(int lock, const char *doing);

struct lock_look {
	const char *holder;	/* "watch, process 4711"; "" = nobody holds it now */
	const char *doing;	/* as it was told last; "" = nothing, or nobody */
	int64_t     beat;	/* the last sign of life, wall clock, ms; NO_TIME = no such lock */
};
/* Of a store, by whoever may read its lock. The texts are lent by `a`. */
struct lock_look lock_look(struct arena *a, const char *store);

#endif
