/* dc09log.h - a receiver's log of DC-09 frames as rows of events.
 *
 * Frame by frame: account, receiver, line, code, partition, zone or user, text. `time` is
 * the frame's own (UTC), `received` the one that the line begins with; a frame without a
 * time happened when it was received, and is set aside where the line does not say when.
 * Frames of the link (NULL, ACK, NAK, DUH) are passed over and counted.
 */
#ifndef PARSERS_DC09LOG_H
#define PARSERS_DC09LOG_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "parsers/dc09.h"
#include "parsers/reader.h"

/* Stands for the separator of such a file, which has none. */
#define DC09LOG_SEPARATOR '\x1f'

struct dc09log {
	bool             on;
	enum stamp_order order;		/* of times of receipt */
	struct arena     arena;		/* of one row; dc09log_release() */
	uint64_t         passed[DC09_ASIDE];	/* by enum dc09_result */
};

/* Does the file's head hold a frame of which length and CRC are right? */
bool dc09log_is(struct span head);
/* The columns that its rows have, as a header of a CSV; static text. */
struct span dc09log_header(void);

/* One line: false if it is passed over, else its cells and times, or row->reason. `bytes`
 * as in the file. Cells are lent by `bytes` and by the log, until the next call. */
bool dc09log_row(struct dc09log *log, struct span bytes, struct row *row);

/* "3 link tests, 1 acknowledgement"; "" if nothing was passed over. Lent by `a`. */
const char *dc09log_text(struct arena *a, const struct dc09log *log);
void dc09log_release(struct dc09log *log);

#endif
