/* reading.h - event files into batches, on a thread of their own.
 *
 * The reading side: bytes, rows, accounts, instants. It hands full batches to the
 * writing side and takes them back empty, so that memory is two batches whatever the
 * files hold. A small file is one piece of a batch; a large one is cut into several.
 */
#ifndef DAEMON_READING_H
#define DAEMON_READING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/accounts.h"
#include "daemon/base/arena.h"
#include "daemon/ingest.h"
#include "daemon/store/write.h"
#include "daemon/wordin.h"
#include "parsers/reader.h"
#include "parsers/tz.h"

/* Rows of a batch by default: large enough that an account's rows of one batch make a
 * run worth its directory entry, small enough for two batches in 100 MiB (measured). */
#define READING_BATCH 400000

struct reading_file {
	struct ingest_file *out;	/* name, and what this side counts: reasons, note */
	const char         *place;	/* full path */
	struct reader      *reader;	/* already open (standard input), or NULL */
	int64_t             id;		/* in the store, at the end; 0 = not taken */
	const struct wordings *wordings;	/* answer: those that it was read with; NULL = none */
};

struct reading;

/* `file` is lent until reading_close(). */
struct reading *reading_open(struct reading_file *file, size_t n_file,
    const struct ingest_options *o, struct tz_set *zones, struct arena *arena);
/* The wordings of the call, lent until reading_close(); before reading_start(). */
void reading_wordings(struct reading *r, struct wordin *in);

/* What the store knows already; before reading_start(). */
int reading_account(void *reading, const char *account, const char *receiver, const char *line,
    int64_t id);
int reading_timezone(void *reading, const char *account, const char *name);
struct cell_list *reading_cells(struct reading *r);
/* The zone of an account's local times. */
const struct tz *reading_zone(struct reading *r, const char *account);

/* How many of `file` there are, once that is known. */
void reading_files(struct reading *r, size_t n_file);
int reading_start(struct reading *r, struct err *e);
/* The next batch, lent until the next call; NULL at the end. A piece's `file` is the
 * index in `file` plus one. */
struct batch *reading_next(struct reading *r);
/* 0..100 of the file in hand, and its name. */
int reading_percent(struct reading *r, const char **name);
void reading_close(struct reading *r);

/* Counts one set-aside row by its reason; texts that are equal count together. */
void reading_reason(struct arena *a, struct ingest_file *f, const char *reason, uint64_t line);

#endif
