/* drop.h - the folders of the daemon, and a file's way through them.
 *
 *   inbox/    events, from whoever may export
 *   inbox/G/  the same of the accounts of group G, where groups are asked for
 *   desk/     lists and decisions, from those whom the administrator lets write there
 *   work/     inbox/, inbox/G/ and desk/ again: files that were claimed; empty between two rounds
 *   done/     2026-10-01/NAME.gz, by the day on which they were taken
 *   failed/   NAME, and NAME.why.txt beside it
 * In the last two, inbox/G/NAME is G.NAME.
 *
 * All lie on one file system, so that every step is a rename: at each instant a file is in
 * one place, and what was claimed before the machine stopped still lies in work/. A file
 * leaves work/ only when its copy in done/ is on the disk.
 *
 * A file is whole when it was renamed in, or was closed and has not changed for the
 * settling time; where the system tells of no closing (a network share), when it has not
 * changed for that time. Names that begin with a dot or end in .part or .tmp are nobody's
 * business. Links (also hard ones), pipes, devices and folders are passed over, and told
 * once.
 */
#ifndef DAEMON_DROP_H
#define DAEMON_DROP_H

#include <signal.h>
#include <stdbool.h>
#include <sys/stat.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"

enum tray { TRAY_INBOX, TRAY_DESK, TRAYS };

struct drop;

/* `settle` ms. `groups`: folders in inbox/ are groups, one deep. Makes the folders that are missing (mode 0770, work/
 * 0700, less the umask). Given. */
struct drop *drop_open(const char *dir, int64_t settle, bool groups, struct err *e);
void drop_close(struct drop *d);

/* Becomes readable when something happened in inbox/ or desk/; -1 = the system does not
 * tell, and only looking helps. */
int drop_fd(const struct drop *d);
/* Takes in what it has to tell. */
void drop_listen(struct drop *d);
/* Looks through both folders. `now` is monotonic, ms. Afterwards: files that wait, and the
 * ms until the next of them may be whole (0 = one is, -1 = none waits). Things that are
 * passed over are told by `odd`, once. */
int drop_look(struct drop *d, int64_t now, void (*odd)(const char *name, const char *why),
    struct err *e);
size_t drop_waiting(const struct drop *d);
int64_t drop_next(const struct drop *d, int64_t now);
/* Moves at most `most` whole files into work/: the desk's first, then the oldest (of two
 * lists the later one holds), then by name. */
int drop_claim(struct drop *d, int64_t now, size_t most, struct err *e);

/* What lies in work/, in the same order. */
struct drop_file {
	enum tray   tray;
	const char *name;		/* as dropped: "NAME", or "G/NAME" */
	const char *group;		/* "G"; "" = none */
	const char *path;		/* "inbox/NAME": below work/ */
	struct stat st;			/* when it was listed */
};
int drop_work(struct drop *d, struct arena *a, struct drop_file **out, size_t *n, struct err *e);

/* Towards done/: compressed, or moved there as it is when it is compressed already or *stop
 * becomes nonzero. *place: the full path then, lent by `a`. 1: it has changed since it was
 * listed, and stays. A file that was compressed leaves work/ with drop_flush(). */
int drop_done(struct drop *d, const struct drop_file *f, const volatile sig_atomic_t *stop,
    struct arena *a, const char **place, struct err *e);
/* Once for many: their copies are on the disk, then they are taken out of work/. One that
 * has changed meanwhile stays. */
int drop_flush(struct drop *d, struct err *e);
/* To failed/, with a note that says why. `why` is a sentence or more. */
int drop_fail(struct drop *d, const struct drop_file *f, const char *why, struct err *e);
/* Back to where it was dropped; stays in work/ when that name is taken meanwhile. */
int drop_back(struct drop *d, const struct drop_file *f, struct err *e);

/* Full path of one of the folders; "" = the whole. Lent by `a`. */
const char *drop_path(const struct drop *d, struct arena *a, const char *folder);
/* Files in failed/, with the first lines of their notes. */
struct drop_failed { const char *name, *why; };
int drop_failures(struct drop *d, struct arena *a, struct drop_failed **out, size_t *n,
    struct err *e);
/* What lies in the folder of a daemon, counted without one: whole or not. -1 = may not be
 * looked at. */
struct drop_census { int64_t waiting, failed; };
struct drop_census drop_count(const char *dir, bool groups);
/* Is the name left alone? */
bool drop_ignores(const char *name);

#endif
