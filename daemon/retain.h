/* retain.h - removes copies that are older than the settings `kept` allow, of every kind.
 *
 * Only what this program has put there goes, known by name and place:
 *   events, set_aside   in the store, see store/expire.h
 *   done      done/2026-10-01/NAME, of that day, if the store knows that it took it in there
 *   failed    failed/NAME and NAME.why.txt, by the age of the note; never one without the other
 *   backups   STORE.2026-10-01 in the folder of backups, of that day; the newest one stays
 *   pages     what a night writes into --out, by its age; also site/NAME.html there
 * Links and whatever else lies there are left alone. Age is counted back from the wall clock
 * or from the latest end of cover, whichever is earlier, so that a clock which jumps ahead, or
 * exports that no longer come, remove nothing. What is gone is so on the disk before it is
 * noted, so that nothing is counted that comes back; files of done/ that a cut removal left
 * unnoted are noted by the next one.
 */
#ifndef DAEMON_RETAIN_H
#define DAEMON_RETAIN_H

#include "daemon/report/retained.h"
#include "daemon/store/expire.h"

struct retain_options {
	struct expire_options how;	/* `days` is filled here, a kind at a time */
	const char *folder;		/* of the daemon: done/ and failed/; NULL = none */
	const char *backup, *out;	/* NULL = none */
};

/* The kinds one after the other; each step is whole or not done. -1: *e, and what was removed
 * till then is in `out`. */
int retain_run(struct store *s, const struct retain_options *o, struct retained out[KEPT_KINDS],
    struct err *e);
/* Only the settings: kind and days. */
int retain_settings(struct store *s, struct retained out[KEPT_KINDS], struct err *e);

#endif
