/* ingest.h - files into the store (or through the same reading into nothing).
 *
 * A folder stands for all its files, not its sub-folders, in name order; wordings are
 * read first, then everything but events. A file is taken whole or not at all; small files share
 * a commit. After the last file the accounts that are due are judged.
 */
#ifndef DAEMON_INGEST_H
#define DAEMON_INGEST_H

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"

struct store;
struct wordings_counts;

enum covers { COVERS_ROWS, COVERS_ALL, COVERS_SPAN };

struct ingest_options {
	const char  *wordings;		/* the only file of wordings that counts; NULL = any given */
	const char  *timezone;		/* for accounts without one; NULL = the machine's own */
	enum covers  covers;
	int64_t      covers_from, covers_to;	/* COVERS_SPAN */
	bool         dry;		/* `check`: store nothing; `store` may be NULL */
	bool         no_judge;
	size_t       batch;		/* rows a batch; 0 = the default. Tests use 1, 2, 3 */
	size_t       read_size;		/* bytes a read; 0 = the default */
	bool         progress;		/* on standard error */
	int64_t      as_of;		/* NO_TIME */
	/* May a file of that kind come under that name? NULL = yes, else why not: then it
	 * fails. Asked with the kind that wordings make of it. NULL = all may. */
	const char *(*refuses)(const char *name, const char *kind);
	/* Becomes nonzero when the work is to end soon, within a second: then ingest_paths()
	 * is -1, and only files with `taken` are in the store. NULL = never. */
	const volatile sig_atomic_t *stop;
	/* Called now and then while it goes on, with what is being done. NULL = nobody asks. */
	void       (*tick)(void *ctx, const char *doing, int percent);
	void        *tick_ctx;
};

struct ingest_reason { const char *reason; int64_t rows, first_line; };

struct ingest_file {
	const char *name, *kind;	/* kind "" when the header told none */
	bool        taken;		/* whole in the store, for good */
	bool        failed;
	bool        later;		/* failed, and not because of what it is: ERR_LATER */
	const char *message;		/* failed: why; else NULL */
	const char *note;		/* said once a file (ignored columns, zone used, ...); "" */
	int64_t     rows, stored, repeated, set_aside;
	int64_t     expired;		/* older than what is kept of their account */
	int64_t     from, to;		/* cover; NO_TIME */
	struct ingest_reason *reason;	/* most rows first */
	size_t      n_reason;
	const struct wordings_counts *wordings;	/* what they did; NULL = read without */
	const char *mapped;		/* columns, separator and times by them, in words; or NULL */
};

/* Folders that lie in a folder that was to be read. Nobody named them, so they are not
 * looked into; but an export that lies there is not read, and that is said. */
struct ingest_inside {
	const char *first;		/* of their names */
	size_t      n;
};

struct ingest_result {
	struct arena        arena;
	struct ingest_file *file;
	size_t              n_file;
	int64_t             judged;	/* accounts */
	int64_t             raised;	/* findings not open before */
	int64_t             cleared;
	struct ingest_inside inside;
};

/* 0 when every file could be looked at (single files may have `failed`), -1 and *e when
 * the store failed as a whole. Release the result in both cases. */
int ingest_paths(struct store *s, const char *const *path, size_t n_path,
    const struct ingest_options *o, struct ingest_result *out, struct err *e);
void ingest_result_release(struct ingest_result *r);

void ingest_inside_add(struct ingest_inside *x, const char *name);
/* A sentence about them. Given, lent by `a`. */
const char *ingest_inside_text(struct arena *a, const struct ingest_inside *x);

/* Is it the store's own file, or one that lies beside it? Such a file is no export, and
 * must not even be looked into: to close it would give back the locks that SQLite holds
 * on it in this process. `s` may be NULL. */
bool ingest_is_store(const struct store *s, const char *path);

#endif
