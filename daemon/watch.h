/* watch.h - the daemon: what is dropped into its folders goes into the store.
 *
 * The order of each step is what makes a stop at any instant harmless: a file is claimed
 * (renamed into work/), taken in (one transaction), then moved on. What lies in work/ at the
 * start is taken in again, and rows that are there already count as repeats.
 */
#ifndef DAEMON_WATCH_H
#define DAEMON_WATCH_H

#include <sys/types.h>

#include "daemon/ingest.h"
#include "daemon/store/store.h"
#include "parsers/tz.h"

struct watch_options {
	const char    *dir;
	const char    *out;		/* full path; NULL = no nightly run */
	double         nightly;		/* hour of the machine's clock; < 0 = none */
	const char    *backup;		/* full path; NULL = no backups */
	size_t         keep;		/* so many of them */
	gid_t          group;		/* GROUP_NONE = the owner alone */
	int            lock;		/* lock_take()'s: shows that we live */
	const char    *timezone;	/* as in ingest.h */
	enum covers    covers;
	int64_t        settle, look;	/* ms: a file is whole after; looks at least every */
	size_t         batch;		/* as in ingest.h */
	bool           groups;		/* folders in inbox/ are groups */
	bool           once;		/* leave when nothing waits any more */
	struct tz_set *zones;
};

/* Until SIGTERM or SIGINT. 0, or -1 and *e when it cannot even begin. */
int watch_run(struct store *s, const struct watch_options *o, struct err *e);

#endif
