/* civil.h - instants, and calendar text for them.
 *
 * Unit of every instant in the program: milliseconds since
 * 1970-01-01T00:00:00Z, signed 64 bit, leap seconds not counted (POSIX).
 * Calendar: proleptic Gregorian, as ISO 8601 has it.
 */
#ifndef DAEMON_BASE_CIVIL_H
#define DAEMON_BASE_CIVIL_H

#include <stdint.h>

#include "daemon/base/span.h"

#define NO_TIME  INT64_MIN		/* "not known", "not given", "still open" */
#define SECOND   INT64_C(1000)
#define MINUTE   (60 * SECOND)
#define HOUR     (60 * MINUTE)
#define DAY      (24 * HOUR)

struct civil {
	int year, month, day, hour, minute, second, ms;
};

/* Days since 1970-01-01 of a calendar date; the date must exist. */
int64_t civil_days(int year, int month, int day);
int civil_month_days(int year, int month);
int64_t civil_to_ms(const struct civil *c);		/* fields in range */
void civil_from_ms(int64_t ms, struct civil *out);
int civil_weekday(int64_t ms);				/* 0 = Monday .. 6 = Sunday */

/* "2026-10-01T08:15:30Z" (with ".250" only where there are milliseconds).
 * `out` holds at least CIVIL_TEXT bytes; NO_TIME gives "". Returns `out`. */
enum { CIVIL_TEXT = 40 };
char *civil_rfc3339(int64_t ms, char *out);
/* "2026-10-01 08:15", the same without seconds, for people. */
char *civil_short(int64_t ms, char *out);

#endif
