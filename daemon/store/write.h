/* write.h - events into the store, a batch at a time.
 *
 * Way of a batch: the reading side fills `struct batch` in file order and has
 * batch_sort() bring it into the order (account, piece, wall clock); the writer lets
 * rows use up equal stored rows, and appends the rest in that order, one run for each
 * account and piece. Nothing is ever inserted into the middle of a tree of events.
 *
 * A piece is the part of one file that lies in one batch. A file that fits is one
 * piece that begins and ends; a larger one spans batches and has its transaction for
 * itself. So a file is in the store whole or not at all, and small files share commits.
 *
 * Repeats: within one file two equal rows are two events; across files an event counts
 * as often as the file that has it most often. Each row uses up one equal stored row
 * that its file has not used yet (for spanning files one bit a stored event remembers
 * which); only when none is left is the row stored. Batch size changes nothing.
 *
 * A row that would be stored, but is older than what is kept of its account, is counted
 * as expired: an old file that is read again brings nothing back.
 */
#ifndef DAEMON_STORE_WRITE_H
#define DAEMON_STORE_WRITE_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"

struct store;
struct writer;
struct acct_point;

/* The writer's part of an account. */
struct acct_store {
	int64_t  id;			/* 0 = not in the store yet */
	int64_t  lo, hi;		/* least and greatest wall of stored events; lo > hi: none */
	int64_t  new_lo, new_hi;	/* the same of this transaction */
	int64_t  kept_from;		/* seconds UTC: older rows are not taken in any more */
	struct acct_point *point;
	uint32_t n_point, kept_point;	/* the first kept_point are stored */
	size_t   cap_point;
	uint32_t *slot;			/* hash index over `point`; entries are index + 1 */
	uint32_t n_slot;
	bool     loaded, touched, fresh;	/* fresh: made in this transaction */
	uint32_t last_file;		/* the file in whose `seen` list it stands */
	int64_t  local_lo, local_hi;	/* local walls in that file; lo > hi: none */
	bool     rederive, due;		/* due: is in the list already */
};

/* What both sides know of an account. The reading side finds and makes entries and
 * keeps what it needs to resolve local times; the writer keeps the rest. Entries stay
 * where they are; each side touches only its own members. */
struct acct {
	/* set when made, then constant */
	const char *account, *receiver, *line;
	uint32_t    n_account;		/* length of `account` */
	uint32_t    index;		/* 0, 1, ... in order of making */
	const void *tz;			/* struct tz of the reading side */
	/* reading side */
	bool        guessed;		/* sites does not name it; `tz` is the fallback */
	uint32_t    seen_file;		/* the file that `prev_at` speaks of */
	int64_t     prev_at;		/* ms UTC of the account's row before */
	/* writer */
	struct acct_store store;
};

/* The cells of a row that are kept as text lie one behind the other in the batch's
 * text, each ended by NUL, in this order. The first three name a point. */
enum row_text { RT_PARTITION, RT_ZONE, RT_SERIAL, RT_USER, RT_TEXT, RT_SIGNAL, RT_COUNT };

struct event_in {
	struct acct *acct;
	int64_t      wall, received;	/* seconds, as read */
	int64_t      shift;		/* seconds: UTC = wall - shift */
	uint32_t     line;
	uint32_t     text;		/* where its texts begin */
	uint16_t     n[RT_COUNT];	/* their lengths without NUL */
	uint16_t     ms, received_ms;
	int16_t      offset, received_offset;	/* OFFSET_NONE = local */
	uint32_t     piece;		/* index in the batch */
	uint32_t     point_hash, text_hash;	/* of the first three texts, and of RT_TEXT */
	uint16_t     cell;		/* index in the cell list */
	uint16_t     marks;
	uint8_t      word;
	bool         has_received;
};
#define OFFSET_NONE INT16_MIN

struct aside_in {
	uint32_t    line;
	uint32_t    raw, n_raw;		/* the record as read, in the batch's text */
	const char *reason;		/* static text */
};

/* Filled by the reading side; the file's own facts count once `ends`. */
struct piece {
	uint32_t    file;		/* running number of this ingest, from 1 */
	bool        begins, ends, failed;
	size_t      row, n_row;		/* in batch.row */
	size_t      aside, n_aside;	/* in batch.aside */
	/* with `begins`: */
	const char *name, *place, *header, *ignored;	/* live until the ingest ends */
	char        separator;
	bool        newest_first;
	int64_t     wordings;		/* file id of those it is read with; 0 = none */
	/* with `ends`: */
	uint64_t    size;
	uint32_t    crc32;
	int64_t     from, to;		/* cover, ms UTC; NO_TIME = none */
	int64_t     sure_from, sure_to;	/* the same of rows that no zone can move */
	/* answers of the writer, summed over the pieces of a file */
	int64_t     stored, repeated, expired;
};

struct batch {
	struct event_in *row;
	size_t           n_row, cap_row;
	struct aside_in *aside;
	size_t           n_aside, cap_aside;
	struct piece    *piece;
	size_t           n_piece, cap_piece;
	char            *text;
	size_t           n_text, cap_text;
};

/* Room for batch_sort() to move rows and texts into; zeroed = none yet. */
struct batch_spare {
	struct event_in *row;
	char            *text;
	uint32_t        *order, *other, *key;
	size_t           cap_row, cap_text, cap_order;
};

/* Brings rows and their texts into the order the writer wants, so that it walks through
 * memory instead of jumping: whole files' rows by (account, piece, wall), a part of a
 * spanning file by (account, wall); oldest first where these are equal. */
void batch_sort(struct batch *b, struct batch_spare *spare);
void batch_spare_release(struct batch_spare *spare);
void batch_release(struct batch *b);

/* Interned event cells as read; the reading side makes them, at most CELL_MAX. */
enum { CELL_MAX = 20000 };
struct cell_list {
	const char *cell[CELL_MAX];
	uint8_t     hint[CELL_MAX];	/* enum kind that the code implies */
	uint8_t     word[CELL_MAX];	/* what the cell alone means */
	uint16_t    marks[CELL_MAX];
	uint32_t    n;
};

/* Resolves one row: from what was read (and MARK_RESET) to shift and time marks. `prev`
 * is the ms UTC of the account's row before it in the same file, NO_TIME at its first
 * row; the function moves it on. Pure, so that stored rows can be resolved anew. */
typedef void derive_fn(const void *tz, bool newest_first, int64_t *prev, struct event_in *row);

struct write_options {
	bool       covers_all;		/* files speak for every account of sites */
	bool       stated;		/* the span was stated: no zone moves it */
	int64_t    taken;		/* wall clock, ms */
	derive_fn *derive;
};

struct writer *writer_open(struct store *s, const struct write_options *o, struct err *e);
/* All stored accounts, so that the reading side can begin with them. */
int writer_accounts(struct writer *w, int (*each)(void *ctx, const char *account,
    const char *receiver, const char *line, int64_t id), void *ctx, struct err *e);
/* The stored event cells in order of id: the list that the reading side goes on with.
 * Lent by `a`. */
int writer_cells(struct writer *w, struct arena *a, struct cell_list *out, struct err *e);
/* Takes one batch. Pieces are answered in place. `cells` holds at least all the cells
 * that the batch refers to. On -1 the open transaction is gone. */
int writer_take(struct writer *w, struct batch *b, const struct cell_list *cells, struct err *e);
/* The file rows of finished files: id in the store by running number; 0 = failed. */
int64_t writer_file_id(const struct writer *w, uint32_t file);
/* Free; an unfinished spanning file is rolled back. */
void writer_close(struct writer *w);

/* Resolves all stored rows of one account anew and marks it due if any changed. Within
 * the caller's transaction. */
int store_derive(struct store *s, int64_t account, const void *tz, derive_fn *derive,
    struct err *e);

#endif
