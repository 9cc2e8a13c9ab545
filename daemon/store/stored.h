/* stored.h - one block of the store, read to be changed and written back; and the small
 * things that all who read or change events do. */
#ifndef DAEMON_STORE_STORED_H
#define DAEMON_STORE_STORED_H

#include "daemon/store/block.h"
#include "daemon/store/db.h"

struct stored_block {
	struct arena      arena;	/* holds `row` and its texts */
	int64_t           account, block, file;
	struct block_base base;
	struct block_row *row;
	int               n;
};

/* run.lo, run.offset and run.shift from three columns of a query. */
void block_base_of(sqlite3_stmt *st, int col, struct block_base *b);

/* `word` and `marks` are the cells' ordinary ones, by id - 1. Release also after -1. */
int stored_block_read(struct store *s, int64_t account, int64_t block, const uint8_t *word,
    const uint16_t *marks, uint32_t n_cell, struct stored_block *out, struct err *e);
/* Writes the block and what is ordinary in its run anew. */
int stored_block_write(struct store *s, struct stored_block *b, struct err *e);
void stored_block_release(struct stored_block *b);

/* The text of a phrase; lent by `a`. */
int stored_phrase(struct store *s, int64_t id, struct arena *a, const char **out, struct err *e);
/* The account is to be judged again. */
int stored_due(struct store *s, int64_t account, struct err *e);

/* Of a row f of finding with the row t of site that holds, or NULLs: its account without the
 * receiver and line that tell it from another, and its group. */
#define ACCOUNT_OF_FINDING \
	"iif(instr(f.account, '@'), substr(f.account, 1, instr(f.account, '@') - 1), f.account)"
#define GROUP_OF_FINDING \
	"coalesce(nullif(t.\"group\", ''), (SELECT a.\"group\" FROM account a WHERE a.account = " \
	ACCOUNT_OF_FINDING " AND a.\"group\" <> '' LIMIT 1), '')"

#endif
