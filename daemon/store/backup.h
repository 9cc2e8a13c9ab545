/* backup.h - a copy of the store while it is in use. */
#ifndef DAEMON_STORE_BACKUP_H
#define DAEMON_STORE_BACKUP_H

#include "daemon/store/store.h"

/* Copies the store as it stands (SQLite's online backup: readers and writers go on) to
 * PATH.part, checks the copy (quick_check), brings it to the disk, and renames it. A copy that
 * is damaged is no backup: -1, and what was at `path` stays. `tick` as in ingest.h. */
int store_backup(struct store *s, const char *path, const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct err *e);

/* Is the store's own file sound (quick_check)? *fault: what is not, lent by `a`; "" = sound, or
 * stopped before it was known. Reads all of it (about 2 s a gigabyte from memory), and calls
 * `tick` meanwhile, if there is one, with -1 %: nobody knows how far it is. Once it was stopped
 * it still reads until the program ends. */
int store_check(struct store *s, const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct arena *a,
    const char **fault, struct err *e);

/* About how many bytes a day the store and the files beside it grew by, over the files of
 * the last 7 days before `now` (wall clock). 0 = not known. */
int store_growth(struct store *s, int64_t now, int64_t *bytes, struct err *e);

#endif
