/* reword.h - the meaning of stored events, anew from what was read.
 *
 * Event word, the marks that come with it and the kind of device implied follow from
 * event cell and text, so other wordings give other ones without a row being read again.
 */
#ifndef DAEMON_STORE_REWORD_H
#define DAEMON_STORE_REWORD_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/err.h"
#include "daemon/base/span.h"

struct store;

struct word_in {
	uint8_t  word, hint;	/* enum word, enum kind */
	uint16_t marks;		/* of REWORD_MARKS; the others of a row stay */
};
#define REWORD_MARKS (MARK_STILL | MARK_LIFE_CODE | MARK_USER | MARK_PANEL)

/* What a cell with its text means; false: nothing that can be told. */
typedef bool reword_fn(void *ctx, struct span cell, struct span text, struct word_in *out);

struct reworded {
	int64_t changed;	/* events that mean something else now */
	int64_t kept;		/* of which nothing can be told now: as they were */
	int64_t less_life;	/* changed ones that were life safety and are not now */
};

/* All events that stand under the file; *n is added to. From now on the file counts as
 * read with `wordings`. Accounts with changed events are due. Within the caller's
 * transaction. */
int store_reword(struct store *s, int64_t file, int64_t wordings, reword_fn *reword, void *ctx,
    struct reworded *n, struct err *e);
/* store_reword() for each events file read with an earlier version of `wordings`. */
int store_reword_versions(struct store *s, int64_t wordings, reword_fn *reword, void *ctx,
    struct reworded *n, struct err *e);
/* store_reword() for each events file that is byte for byte `file`, and was read
 * with other wordings or none. */
int store_reword_copies(struct store *s, int64_t file, reword_fn *reword, void *ctx,
    struct reworded *n, struct err *e);

#endif
