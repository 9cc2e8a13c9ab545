/* expire.h - removes what is older than is to be kept: events, and rows set aside.
 *
 * Events. Each account has a horizon: the end of its cover, or the wall clock where that is
 * earlier, less the days, back to a whole week (so that a block is not written anew every
 * night). A clock that jumps ahead so removes nothing, and neither does an account that is
 * in no export any more. Older events go, but for
 *   - the last of each kind at each place (last.h): what stands open, how it is armed, what
 *     was learned, when it was last heard;
 *   - the first that was heard of each place;
 *   - what an open finding cites.
 * A view holds no more than that of what is older than VIEW_LOOK_BACK, and the days are never
 * fewer: so judging finds the same before and after. Copies of rows that findings cite go
 * with them, once the finding has been cleared for that long. Afterwards the horizon stands
 * in account.kept_from, and older rows are not taken in any more (write.h).
 *
 * Accounts go by the hundred, each lot whole or not at all. What was removed is counted in
 * the table removal in the same transaction.
 */
#ifndef DAEMON_STORE_EXPIRE_H
#define DAEMON_STORE_EXPIRE_H

#include "daemon/store/store.h"

struct expire_options {
	int64_t now;			/* wall clock, ms */
	int     days;			/* 0 = for good: nothing is removed, old files are welcome */
	bool    dry;			/* only counts */
	const volatile sig_atomic_t *stop;	/* NULL = never */
	void  (*tick)(void *ctx, const char *doing, int percent);	/* NULL = nobody asks */
	void   *tick_ctx;
};

int expire_events(struct store *s, const struct expire_options *o, struct removed *out,
    struct err *e);
/* Rows set aside of files that were taken so long ago. */
int expire_asides(struct store *s, const struct expire_options *o, struct removed *out,
    struct err *e);
/* The moment before which other copies go: the earlier of the wall clock and the latest end
 * of cover, less the days. NO_TIME: nothing goes. */
int expire_before(struct store *s, const struct expire_options *o, int64_t *before, struct err *e);

/* Notes what was removed outside the store. Nothing, when it is nothing. */
int expire_note(struct store *s, const char *kind, const struct expire_options *o,
    const struct removed *r, struct err *e);

/* Gives room back to the disk when a fifth or more of the file is unused: writes the store
 * anew, which needs as much room again for a while. *gained: bytes; 0 = not needed, or not
 * enough room. Outside a transaction. */
int expire_tidy(struct store *s, int64_t *gained, struct err *e);

#endif
