/* opts.h - one table of options a command: parsing and --help read the same row.
 *
 * Forms: --name, --name=VALUE, --name VALUE, -n, -nVALUE, -n VALUE, -ab for two
 * flags; operands and options in any order; "--" ends the options; "-" alone is
 * an operand. The last of a repeated option counts, except where it makes a list.
 */
#ifndef DAEMON_OPTS_H
#define DAEMON_OPTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "daemon/base/err.h"
#include "parsers/stamp.h"

/* A time as typed: a date, a time with or without offset, or a duration ("36h", "14d")
 * that is counted from a moment which the command knows. */
struct opts_when {
	enum { WHEN_NONE, WHEN_STAMP, WHEN_SPAN } form;
	struct stamp stamp;
	int64_t      span;	/* ms */
};

enum opt_kind {
	OPT_FLAG,	/* bool */
	OPT_TEXT,	/* const char *, not blank; lent by argv */
	OPT_COUNT,	/* long within min..max */
	OPT_CHOICE,	/* int: place in `words`, from 0 */
	OPT_WHEN,	/* struct opts_when */
	OPT_LIST,	/* struct opts_list: may be repeated */
};

enum { OPTS_LIST_MOST = 32 };

struct opts_list {
	const char *text[OPTS_LIST_MOST];	/* in the order given, not blank; lent by argv */
	size_t      n;
};

struct opt {
	char          letter;	/* 0 = none */
	const char   *name;	/* without the dashes; NULL ends the table */
	const char   *arg;	/* name of its value in the help; NULL for a flag */
	const char   *help;	/* with the unit and the default; NULL = for tests, not shown */
	enum opt_kind kind;
	size_t        offset;	/* of the field in the caller's struct */
	long          min, max;	/* OPT_COUNT only, both allowed */
	const char   *words;	/* OPT_CHOICE only: "text|csv|json" */
};

/* What every command has: the first member of its struct, by OPTS_COMMON in its table. */
struct opts_common {
	bool        help;
	const char *db;		/* NULL = not given */
};
#define OPTS_HELP(type) \
	{ 'h', "help", NULL, "print this and leave", OPT_FLAG, \
	  offsetof(type, common.help), 0, 0, NULL }
#define OPTS_COMMON(type) \
	{ 'd', "db", "FILE", "the store (default: $TRIPSIFT_DB, else tripsift.db here)", \
	  OPT_TEXT, offsetof(type, common.db), 0, 0, NULL }, \
	OPTS_HELP(type)
#define OPTS_END { 0, NULL, NULL, NULL, OPT_FLAG, 0, 0, 0, NULL }

/* Fills the struct at `into`; fields of options not given stay as they are. argv[0] is
 * the first word after the command. Afterwards the operands stand at its front and
 * *argc counts them. ERR_USAGE names the option, and the nearest one for a wrong name.
 * Reading ends at --help: the rest may be unfinished. */
int opts_parse(const struct opt *table, int *argc, char **argv, void *into, struct err *e);
/* The table as help, at most 80 columns wide. */
void opts_help(const struct opt *table, FILE *f);

/* Of the names, the nearest to `word` that is near enough to be meant (a third of its
 * letters wrong, transpositions counting once), or NULL. Ends with NULL. */
const char *opts_nearest(const char *word, const char *const *name);

#endif
