/* stamp.h - a time as an export writes it, before anybody knows the zone.
 *
 * Read forms, a date and a time of day behind it:
 *   date   YYYY-MM-DD as RFC 3339 has it, also with `/` or `.` and one digit for
 *          month or day; DD.MM.YYYY and MM/DD/YYYY with any of the three marks,
 *          year of two digits too, see enum stamp_order
 *   behind T, or blanks, or a comma and blanks. A blank is a blank, a tab, U+00A0,
 *          U+2000..U+200A or U+202F, here and below
 *   time   H:MM[:SS[.fraction]], with AM or PM (also a.m.) behind it, after blanks
 *          or none: then the hour is 1 to 12, 12 AM is midnight, 12 PM is noon
 *   offset none (local), Z, UTC, +HH:MM, +HHMM or +HH, after blanks or none
 * or a number of seconds (9 or 10 digits, with or without a fraction) or of
 * milliseconds (12 or 13 digits) since 1970 in UTC: 1973-03-03 to 2286-11-20 both.
 * Other numbers are refused, since 20261001 is no number of seconds.
 *
 * "-00:00" counts as UTC (RFC 3339 section 4.3: local offset unknown). Second 60
 * becomes 59 and is marked (leap second); 24:00:00 is the next day's midnight (ISO
 * 8601). An impossible date is refused, never rolled over. A zone's short name
 * (CET, EST) is refused, since many zones share one.
 *
 * A year of two digits always stands last: 69 to 99 are 1969 to 1999, 00 to 68 are
 * 2000 to 2068 (%y of POSIX, from memory). stamp_tally_order() looks whether
 * that is plausible in the file.
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

/* What a date means that does not begin with its year. Undecided, only those are
 * read that can mean but one day: 25.10.2026, 10/10/2026. */
enum stamp_order { STAMP_UNDECIDED, STAMP_DAY_FIRST, STAMP_MONTH_FIRST };

/* NULL and *out, or why not, as a static text ("no such date"); *out as it was.
 * A date alone is midnight, OFFSET_LOCAL, PREC_MINUTE, and *alone is true;
 * `alone` NULL: it is refused. */
const char *stamp_read(enum stamp_order order, struct span s, struct stamp *out, bool *alone);
/* The same undecided, without and with dates alone. */
const char *stamp_parse(struct span s, struct stamp *out);
const char *stamp_parse_date(struct span s, struct stamp *out);

/* stamp_read() without dates alone, with the last date remembered, because an export
 * repeats the same date row by row. A zeroed memo is empty; the result is the same. */
struct stamp_memo {
	enum stamp_order order;	/* the caller's choice */
	char    date[10];
	int64_t midnight;	/* seconds, as in `wall` */
};
const char *stamp_parse_memo(struct stamp_memo *memo, struct span s, struct stamp *out);

/* What the cells of a file say about its order. A zeroed tally is empty. */
struct stamp_tally {
	uint64_t other;			/* readable, and no question of order */
	uint64_t either;		/* dates that would be another day in the other order */
	uint64_t same;			/* dates that are the same day in both */
	uint64_t proof[3];		/* dates of one order only, by enum stamp_order */
	uint64_t line[3];		/* where the first of these stands */
	uint64_t two_digit[2][2];	/* two-digit years: sets of first and last groups met */
	bool     not_year_first;	/* some of these cannot begin with the year */
};
void stamp_tally_add(struct stamp_tally *t, struct span s, uint64_t line);
/* Are there dates that need an order, and none that proves one? */
bool stamp_tally_open(const struct stamp_tally *t);
/* NULL and *out, or why the order cannot be told, as a text for the file as a whole.
 * Refused are files where
 * - no date proves an order, and most times need one. Where most do not need one,
 *   the order stays undecided, and the few are set aside by stamp_read();
 * - dates prove both, the rarer order more often than a tenth of the other: with
 *   fewer these are slips, and stamp_read() refuses just them;
 * - all dates of two-digit years could begin with the year, and fewer different
 *   numbers stand first than last: years change less often than days. */
const char *stamp_tally_order(const struct stamp_tally *t, enum stamp_order *out);

#endif
