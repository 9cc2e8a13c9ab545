/* spread.h - which span of time a file tells of, from the times in its rows.
 *
 * The span runs from the first to the last trusted instant. At its late end, times that
 * stand more than a day after all others and are under a tenth of the file's rows do not
 * extend it, if they are fewer than three or as far off as a reset clock: a clock that
 * runs ahead must not make everybody else look silent. In a file of one account there is
 * nobody else, and a day or two without events is nothing strange: there only times as
 * far off as a reset clock are left out. Times that were found to come from a reset clock
 * are not told to it at all.
 */
#ifndef DAEMON_SPREAD_H
#define DAEMON_SPREAD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct spread {
	struct spread_day { int32_t day; uint32_t n; int64_t lo, hi; } *day;
	size_t n, cap, last;	/* last: index used before, mostly the one wanted next */
};

void spread_add(struct spread *s, int64_t at);			/* ms UTC */
/* NO_TIME when empty; `lone`: all of one account. */
void spread_span(struct spread *s, bool lone, int64_t *from, int64_t *to);
/* The first and the last instant that is not later than `to`, good to a day's last. */
void spread_within(struct spread *s, int64_t to, int64_t *from, int64_t *last);
void spread_reset(struct spread *s);
void spread_release(struct spread *s);

#endif
