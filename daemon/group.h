/* group.h - --group NAME: the store, the folders and the pages are open to one group.
 *
 * Without it everything that the program makes is its owner's alone: the umask is 077 from the
 * start. With it the umask is 007. Files are made with mode 0660 (the store) or 0640 (pages,
 * notes), folders with 0770; which group they get is inherited from their folder, whose
 * set-group-id bit is on. So it holds also for what SQLite and other users make there.
 */
#ifndef DAEMON_GROUP_H
#define DAEMON_GROUP_H

#include <sys/types.h>

#include "daemon/base/err.h"

#define GROUP_NONE ((gid_t)-1)
#define GROUP_HELP "the store, the folders and what is written are open to this group, whose " \
	"members may read and decide (default: to their owner alone)"

/* The group of that name, or number; the umask is changed. NULL: *gid is GROUP_NONE, and
 * nothing changes. ERR_USAGE: there is none, or this process is no member. */
int group_begin(const char *name, gid_t *gid, struct err *e);
/* Opens a folder of ours to it. GROUP_NONE: nothing is done, here and below. */
int group_folder(const char *path, gid_t gid, struct err *e);
/* Is the folder of the store, which is not ours alone, open to it? ERR_USAGE says what to
 * run. `store` need not be there yet. */
int group_place(const char *store, gid_t gid, struct err *e);
/* The store, what SQLite keeps beside it, and the lock: what is there. */
int group_store(const char *store, gid_t gid, struct err *e);

#endif
