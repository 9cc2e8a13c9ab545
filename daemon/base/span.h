/* span.h - borrowed bytes, and the few things done with them everywhere.
 *
 * A span never owns and need not end in NUL. {NULL, 0} is "no cell at all",
 * {p, 0} an empty one; both count as blank.
 */
#ifndef DAEMON_BASE_SPAN_H
#define DAEMON_BASE_SPAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct span {
	const char *p;
	size_t      n;
};

#define SPAN(literal) ((struct span){ (literal), sizeof(literal) - 1 })

struct span span_of(const char *text);			/* NULL gives {NULL, 0} */
struct span span_trim(struct span s);			/* ASCII blanks and tabs off both ends */
bool span_eq(struct span a, struct span b);		/* byte for byte */
bool span_eq_fold(struct span a, struct span b);	/* ASCII letter case aside */
uint64_t span_hash(struct span s);			/* 64 bits; differs between releases */
uint64_t span_hash_fold(struct span s);			/* the same for equal-but-for-case */

/* Whole decimal number, digits only, in min..max; else false and *out as it was. */
bool span_to_int(struct span s, int64_t min, int64_t max, int64_t *out);
/* Decimal number with optional sign, fraction and exponent of -22..22 ("-71.5", "1e-06"); at
 * most 18 characters before the exponent. */
bool span_to_num(struct span s, double *out);
/* A duration: "200s", "90m", "12h", "30d" (no blank) into milliseconds, > 0. */
bool span_to_duration(struct span s, int64_t *ms);

#endif
