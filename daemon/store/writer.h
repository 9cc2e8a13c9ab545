/* writer.h - what the writer's own files share; nobody else includes it.
 *
 *   write.c    the flow: pieces, transactions, cover, due accounts
 *   place.c    accounts, points, cells, phrases: from text to numbers
 *   repeat.c   which rows of a segment are repeats
 *   batch.c    a batch into the order in which it will be stored
 *   batch_table.c   the batch as a table that SQLite can select from
 */
#ifndef DAEMON_STORE_WRITER_H
#define DAEMON_STORE_WRITER_H

#include "daemon/store/block.h"
#include "daemon/store/db.h"
#include "daemon/store/write.h"

/* A point of an account: its three texts, one behind the other, each with its NUL. */
struct acct_point {
	uint32_t    hash;	/* span_hash(), cut to 32 bits */
	uint32_t    n_text;
	const char *text;
	uint32_t    same;	/* first point that is equal after normalisation */
	const char *key;	/* the normalised texts, for comparing */
};

enum { PHRASE_SLOTS = 1 << 17, PHRASE_LONGEST = 256 };
struct phrase_slot { uint32_t hash, id; };		/* id 0 = seen once */
struct phrase_text { int64_t id; char *text; uint32_t n; };

struct used_chunk { int64_t number; uint64_t *bit; };		/* of 65,536 event ids */

/* A run on its way into the store, with its block's place in `events`. */
struct new_run {
	int64_t account, block, n, file, lo, hi, shift;
	int16_t offset;
	size_t  at, size;
};

struct writer {
	struct store        *store;
	struct write_options o;
	struct arena         arena;		/* points' texts; lives as long as the writer */
	struct arena         scratch, block_arena;	/* one account's rows; one block's texts */
	bool                 in_txn;
	int64_t              last_file;		/* greatest ids that this writer knows of */
	int64_t              last_removal;
	int64_t              next_block;	/* id that the next block will get */

	/* the spanning file, if one is open */
	uint32_t             open_file;		/* running number, 0 = none */
	int64_t              open_rows, open_stored, open_repeated, open_aside, open_expired;
	struct used_chunk   *used;		/* open addressing by number; bit NULL = free */
	size_t               n_used, cap_used;

	int64_t             *file_id;		/* by running number */
	size_t               cap_file;

	struct acct        **touched;		/* accounts changed in this transaction */
	size_t               n_touched, cap_touched;
	struct acct        **seen;		/* accounts with rows in the spanning file */
	size_t               n_seen, cap_seen;

	uint32_t             cell_id[CELL_MAX];	/* by index of the list; 0 = not stored */
	uint16_t             cell_same[CELL_MAX];	/* first cell equal but for letter case */
	uint32_t             n_cell;		/* length of `cell_same` */
	uint16_t             cell_index[CELL_MAX];	/* by id - 1: index in the list */
	uint8_t              cell_word[CELL_MAX];	/* by id - 1: what the cell alone means */
	uint16_t             cell_marks[CELL_MAX];
	uint32_t             n_stored_cell;	/* ids are 1 .. n_stored_cell */
	uint32_t             kept_cell;		/* of them, stored before this transaction began */

	struct phrase_slot  *phrase;		/* by hash, bounded: forgets */
	struct phrase_text  *phrase_text;	/* by id, bounded: forgets */
	int64_t              first_phrase;	/* ids from here on are of this transaction */

	struct arena         serial_arena;	/* serials first met in this transaction */
	struct new_serial { const char *serial; int64_t account; } *serial;
	size_t               n_serial, cap_serial;
	struct new_point { int64_t account; uint32_t n; const char *text; } *new_point;
	size_t               n_new_point, cap_new_point;	/* of the batch in hand */

	/* the flush in hand */
	struct batch        *b;
	const struct cell_list *cells;
	size_t               first;		/* row of the batch that positions count from */
	uint32_t            *point;		/* by row - first */
	bool                *repeat;		/* by row - first */
	size_t               cap_point, cap_repeat;
	struct new_run      *run;
	size_t               n_run, cap_run;
	struct block_text    events;
};

/* place.c */
int place_account(struct writer *w, struct acct *a, struct err *e);	/* id, points, lo and hi */
uint32_t place_point(struct writer *w, struct acct *a, const char *text, size_t n, uint32_t hash);
void place_keep_points(struct writer *w, struct acct *a, uint32_t upto);
void place_cells(struct writer *w, const struct cell_list *cells);	/* learns new ones */
int place_cell(struct writer *w, uint16_t index, struct err *e);	/* stores it, if need be */
/* `hash` is span_hash() of the text, cut to 32 bits; place_phrase_soon() asks memory for
 * its slot. */
int place_phrase(struct writer *w, const char *text, size_t n, uint32_t hash, int64_t *id,
    struct err *e);
void place_phrase_soon(const struct writer *w, uint32_t hash);
const char *place_phrase_text(struct writer *w, int64_t id, size_t *n, struct err *e);
int place_serials(struct writer *w, struct err *e);	/* sorted into `serial`; marks due */
int place_due(struct writer *w, struct acct *a, struct err *e);	/* is to be judged again */
void place_rollback(struct writer *w);
void place_commit(struct writer *w);
void place_touch(struct writer *w, struct acct *a);
void place_release(struct writer *w);
int place_load_phrases(struct writer *w, struct err *e);

/* repeat.c: rows [from, to) are of one account; sets repeat[] for those that the store
 * has already. `spanning` says that their file has its own transaction. */
int repeat_find(struct writer *w, size_t from, size_t to, bool spanning, bool many_pieces,
    struct err *e);
void repeat_forget(struct writer *w);		/* the spanning file is over */

/* Is the row older than what is kept of its account? */
static inline bool
row_expired(const struct event_in *r)
{
	return r->wall - r->shift < r->acct->store.kept_from;
}

/* batch_table.c: w->run, w->new_point and w->serial as tables of these names. */
int batch_table_make(struct writer *w, struct err *e);

#endif
