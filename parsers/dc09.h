/* dc09.h - one line of a receiver's log that carries an ANSI/SIA DC-09 frame.
 *
 *   LF crc 0LLL "id" seq [R..] L.. #account [data] [more]... [_HH:MM:SS,MM-DD-YYYY] CR
 *
 * Read are "SIA-DCS" (DC-03 codes) and "ADM-CID" (DC-05 codes) in the clear. LF and CR
 * may be missing, as a log writes lines; in front of the CRC a receiver may have put what
 * it likes, its own time first. The layout, the CRC (width 16, polynomial 0x8005
 * reflected, from 0, known as CRC-16/ARC) and what they extend over (from the first quote
 * up to, not including, CR) are those of published frames, see tests/unit/test_dc09.c.
 */
#ifndef PARSERS_DC09_H
#define PARSERS_DC09_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/span.h"
#include "parsers/stamp.h"

enum dc09_result {
	DC09_EVENT,
	DC09_NULL, DC09_ACK, DC09_NAK, DC09_DUH,	/* of the link, no event: passed over */
	DC09_ASIDE
};

struct dc09 {
	const char *reason;	/* DC09_ASIDE: static text */
	struct span prefix;	/* what stands in front of the frame, trimmed */
	/* As far as they were read; n == 0 = absent. A receiver or line of zeros is none. */
	struct span receiver, line, account;
	struct span event;	/* "BA", or "1131" with the qualifier in front */
	struct span partition, zone, user, text;
	bool        has_time;
	struct stamp time;	/* of the frame, UTC */
};

uint16_t dc09_crc(const void *p, size_t n);

/* Where the first thing that is shaped like a frame begins in `s` (at its CRC); false if
 * there is none. */
bool dc09_find(struct span s, size_t *at);

/* `line` without its line end, the bytes as they stand in the file. Spans borrow from it. */
enum dc09_result dc09_parse(struct span line, struct dc09 *out);

/* The time that a line begins with, if it does: the longest beginning that reads as one. */
bool dc09_received(enum stamp_order order, struct span prefix, struct stamp *out);

#endif
