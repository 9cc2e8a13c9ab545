/* cmd.h - what every command of the program is made of.
 *
 * One command = daemon/cmd_NAME.c with one `const struct command cmd_NAME`, named
 * in daemon/cmd_list.h. Its options struct begins with `struct opts_common common`.
 */
#ifndef DAEMON_CMD_H
#define DAEMON_CMD_H

#include <stdio.h>

#include "daemon/base/err.h"
#include "daemon/opts.h"
#include "daemon/report/text.h"
#include "daemon/store/store.h"
#include "parsers/tz.h"

enum outcome {
	OUT_GO_ON = -1,		/* of cmd_options(): the command is to be done */
	OUT_DONE = 0,
	OUT_ATTENTION = 1,	/* done, and something needs a person */
	OUT_USAGE = 2,		/* wrong usage, unknown account or finding */
	OUT_FAILED = 3,		/* failed, or no store */
};

struct command {
	const char *name;
	const char *operands;	/* "FILE..."; "" = none */
	const char *purpose;	/* one line, for the list of commands; no final stop */
	const char *about;	/* what it is for, as running text */
	const char *examples;	/* lines as typed, each ended by a line end */
	const char *exits;	/* "0 done; 1 ..." */
	const struct opt *opt;
	int (*run)(const struct command *self, int argc, char **argv);	/* enum outcome */
};

extern const struct command *const cmd_table[];	/* in the order of cmd_list.h, then NULL */
const struct command *cmd_find(const char *name);	/* NULL if none */

/* Reads the options and checks the number of operands; prints help or what is wrong
 * with them. OUT_GO_ON, or the outcome to leave with. `most` -1: any number. */
int cmd_options(const struct command *self, int *argc, char **argv, void *into, int least,
    int most);
void cmd_help(const struct command *self, FILE *f);

/* disk_folder() or realpath() failed, and errno says how: a wrong name is ERR_USAGE, what the
 * system could not do is not. Always returns -1. */
int cmd_no_folder(const char *folder, struct err *e);
/* Says on standard error what went wrong; OUT_USAGE or OUT_FAILED after e->code. */
int cmd_fail(const struct err *e);
/* The same for a remark that stops nothing. */
void cmd_say(const char *fmt, ...) __attribute__((format(printf, 1, 2)));

/* --db, else $TRIPSIFT_DB, else tripsift.db. */
const char *cmd_db(const struct opts_common *o);
/* Opens it. Given. A missing one is explained: only ingest makes one. */
struct store *cmd_store(const struct opts_common *o, enum store_mode mode, struct err *e);

/* What a command that shows the store works with. */
struct tools {
	struct store  *s;
	struct tz_set *zones;
	struct page    p;	/* standard output; its clock is the machine's own */
};

/* Opens the store, calls `show`, closes, and says what went wrong. `show` gives an
 * enum outcome, or -1 and *e. */
int cmd_show(const struct opts_common *o, enum store_mode mode,
    int (*show)(struct tools *t, void *ctx, struct err *e), void *ctx);

/* store_view() with every event on the site's own clock. */
int cmd_view(struct tools *t, const char *account, int64_t as_of, struct view *v, struct err *e);

/* The instant that a typed time means: without an offset by the clock of `zone`; a
 * span is counted from `base`, `sign` -1 back or +1 on. NO_TIME when none was typed. */
int64_t cmd_when(const struct opts_when *w, const struct tz *zone, int64_t base, int sign);
/* Wall clock, ms UTC. */
int64_t cmd_now(void);
/* A time of day as typed, "05:30" or "5:30", into hours; false when it is none. */
bool cmd_clock(const char *text, double *hours);
/* The page's clock becomes `zone`. */
void cmd_zone(struct page *p, const struct tz *zone);
/* The rule of that name; NULL and *e, with the nearest, when there is none. */
struct rule;
const struct rule *cmd_rule(const char *name, struct err *e);
/* The zone of that name, else the machine's own ("" or unknown to the machine). */
const struct tz *cmd_tz(struct tz_set *set, const char *name);

#endif
