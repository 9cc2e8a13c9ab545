/* sheets.h - the sheets of a night: a page for each site that somebody may go to.
 *
 * Into the folder site/ of the output go ACCOUNT.html, the site sheet, of each account with
 * a finding that is listed that night or with a plan that is open; with a plan also
 * ACCOUNT.visit.html, the visit sheet. ACCOUNT is html_file_name(). The folder is the
 * program's own: pages of accounts that have none any more are taken away, or they would
 * tell of yesterday for good. All are whole and on the disk, as NAME.part, before the first
 * takes its place.
 */
#ifndef DAEMON_SHEETS_H
#define DAEMON_SHEETS_H

#include <signal.h>

#include "daemon/base/arena.h"
#include "daemon/report/html.h"
#include "daemon/store/store.h"
#include "parsers/tz.h"

/* A plan whose visit ended so long ago still has its visit sheet. Common practice, no
 * source: what was learned is heard within two weeks, or never. */
#define SHEETS_PLAN (14 * DAY)

/* { 0 } = nothing written. */
struct sheets {
	/* As in judge.h; may be NULL. */
	const volatile sig_atomic_t *stop;
	void       (*tick)(void *ctx, const char *doing, int percent);
	void        *tick_ctx;

	struct arena a;
	const char  *folder;
	int          fd;	/* of the folder; 0 = not open */
	const char **name;	/* of what was written, sorted, without ".part"; heap */
	size_t       n, cap;
};

/* Of these findings, cleared ones too; `out` is the folder in which site/ lies or is made.
 * `now` is the wall clock. */
int sheets_write(struct sheets *x, struct store *s, const char *out, struct tz_set *zones,
    int64_t now, const struct stored_finding *finding, size_t n, struct err *e);
/* The pages of the last night, whole ones. */
struct html_sites sheets_there(struct arena *a, const char *out);
int sheets_place(struct sheets *x, struct err *e);
/* Ends it; what was not placed goes. */
void sheets_release(struct sheets *x);

#endif
