/* block.h - how the events of a run are kept: a JSON array of arrays, one an event.
 *
 *   [line, point, cell, seconds after run.lo, seconds from the event to its receipt,
 *    text or number of a phrase, {what is out of the ordinary}]
 *
 * What is missing at the end is null. Ordinary is: whole seconds, the run's offset and
 * shift, receipt with the event's offset, word and marks of the cell. The object names
 * what differs: "ms", "offset" (null = local), "shift", "received_ms",
 * "received_offset", "user", "signal", "word", "marks".
 *
 * So a person reads a store with the sqlite3 shell's own JSON functions (see the view
 * event_log), and an event takes about 40 bytes. A table with a row and sixteen columns
 * an event took 52 to 56 bytes, and about four times the processor time to write and
 * three times to read back (from profiles of a busy machine, over 10 million events).
 */
#ifndef DAEMON_STORE_BLOCK_H
#define DAEMON_STORE_BLOCK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/store/write.h"

/* Events of a block at most; an event's id is block * BLOCK_EVENTS + place in the block. */
enum { BLOCK_EVENTS = 256 };

/* One stored event. Texts are lent by what it was read from. */
struct block_row {
	int64_t     wall, received, shift, phrase;	/* phrase 0: `text` */
	uint32_t    line, point, cell;			/* cell: id, from 1 */
	uint16_t    ms, received_ms, marks;
	int16_t     offset, received_offset;		/* OFFSET_NONE = local */
	uint8_t     word;
	bool        has_received;
	struct span user, signal, text;
};

/* What is ordinary in a run, and by cell (id - 1). */
struct block_base {
	int64_t         lo, shift;
	int16_t         offset;
	const uint8_t  *word;
	const uint16_t *marks;
	uint32_t        n_cell;
};

struct block_text { char *p; size_t n, cap; };

/* Adds one event to a block's text; `first` begins the array. The text is whole after
 * block_end(). */
void block_add(struct block_text *out, const struct block_base *b, const struct block_row *r,
    bool first);
void block_end(struct block_text *out);

/* Reads a block's text into `row` (room for BLOCK_EVENTS). Escaped texts are copied into
 * `a`, others borrow from `text`. How many there are; -1: not what block_add() writes. */
int block_read(const struct block_base *b, struct span text, struct arena *a,
    struct block_row *row);

#endif
