/* backups.h - a backup a day, and the last few of them kept.
 *
 * STORE.2026-10-01 in a folder of their own, better on another disk. To restore one: stop
 * the daemon, move the damaged store and its -wal and -shm away, copy the backup to its
 * place, start the daemon; what came in since is read again from done/.
 */
#ifndef DAEMON_BACKUPS_H
#define DAEMON_BACKUPS_H

#include "daemon/store/backup.h"

/* Is it the name of a backup of that store? */
bool backups_is_one(const struct store *s, const char *name);

/* Makes the one of that day (machine's clock of UTC), replacing it; then removes the oldest
 * ones beyond `keep`. *path: lent by `a`. When the copy is not sound, none is removed. */
int backups_make(struct store *s, const char *folder, size_t keep, int64_t now,
    const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct arena *a,
    const char **path, struct err *e);
/* In how many days the disk of the store is full, as it went in the last 7 days; -1 = not
 * within a year, or not known. */
int backups_disk_days(struct store *s, int64_t now, int *days, struct err *e);

/* Fewer days than this ask for a person: enough to buy a disk. Common practice, no source. */
enum { BACKUPS_DISK_DAYS = 30 };
/* When the newest backup in a folder was made, wall clock; NO_TIME = none, or it may not be
 * looked at. */
int64_t backups_newest(const struct store *s, const char *folder);

#endif
