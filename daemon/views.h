/* views.h - the views of many accounts, each judged once, on all cores. */
#ifndef DAEMON_VIEWS_H
#define DAEMON_VIEWS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/err.h"

struct store;
struct view;

struct views_work {
	void  *ctx;
	/* On a worker, several at once: what there is to know of one account, on the heap. `skip`:
	 * nothing is to be judged there (see store_view_judge()). */
	void *(*judge)(void *ctx, struct view *v, bool skip);
	/* On the caller's thread, one after another, in no particular order. Nonzero and *e ends
	 * it all. The view is still whole and goes afterwards, with the result, unless keep() took
	 * it and left NULL. */
	int   (*keep)(void *ctx, struct view *v, void **result, struct err *e);
	void  (*drop)(void *result);
};

/* Every worker reads through a handle of its own; times of events are on the site's clock.
 * `as_of` NO_TIME: each account's end of cover. -1 and *e when one account failed. */
int views_each(struct store *s, const int64_t *account, size_t n, int64_t as_of,
    const struct views_work *work, struct err *e);

#endif
