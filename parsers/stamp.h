/* stamp.h - a time as an export writes it, before anybody knows the zone.
 *
 * Read forms: RFC 3339 with offset ("2026-10-01T08:15:30.250+02:00", "...Z",
 * blank or T between, letter case aside), and local "YYYY-MM-DD HH:MM[:SS[.f]]".
 * An offset of "-00:00" counts as UTC (RFC 3339 section 4.3: local offset
 * unknown). Second 60 becomes 59 and is marked (leap second); 24:00:00 is the
 * next day's midnight (ISO 8601). An impossible date is refused, never rolled over.
 */
#ifndef PARSERS_STAMP_H
#define PARSERS_STAMP_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/span.h"

enum precision { PREC_SECOND = 0, PREC_MINUTE = 1, PREC_MS = 2 };

#define OFFSET_LOCAL INT16_MIN	/* the stamp carries no offset */

struct stamp {
	int64_t wall;		/* seconds since 1970-01-01 of the wall clock as written */
	int16_t ms;		/* 0..999 beyond `wall`; finer digits are cut off */
	int16_t offset;		/* minutes east of UTC as written, or OFFSET_LOCAL */
	uint8_t precision;	/* enum precision */
	bool    leap;		/* was written as second 60 */
};

/* NULL and *out, or why not, as a static text ("no such date"); *out as it was. */
const char *stamp_parse(struct span s, struct stamp *out);
/* A bare date "2026-10-01" too (midnight, OFFSET_LOCAL, PREC_MINUTE). */
const char *stamp_parse_date(struct span s, struct stamp *out);

/* stamp_parse() with the last date remembered, because an export repeats the
 * same date row by row. A zeroed memo is empty; the result is the same. */
struct stamp_memo {
	char    date[10];
	int64_t midnight;	/* seconds, as in `wall` */
};
const char *stamp_parse_memo(struct stamp_memo *memo, struct span s, struct stamp *out);

#endif
