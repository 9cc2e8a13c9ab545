/* causes.h - what the log says about why a device goes off again and again.
 *
 * Signs, not proof: each cause has points for how much its sign says, and the text of the
 * sign. The limits are settings of the rule chatter; the points are common practice, no
 * source.
 */
#ifndef RULES_CAUSES_H
#define RULES_CAUSES_H

#include "rules/bursts.h"
#include "rules/rule.h"

/* In the order in which they are checked when their points are equal. */
enum cause {
	CAUSE_CELL,	/* weak cell */
	CAUSE_FIT,	/* loose or badly aligned contact */
	CAUSE_RADIO,	/* radio, panel or supply: others go off in the same seconds */
	CAUSE_WORK,	/* it began shortly after work on it */
	CAUSE_MOVES,	/* something moves while nobody is there */
	CAUSE_HEAT,	/* it follows the temperature of the day */
	CAUSE_HOURS,	/* something comes at these hours, or on this weekday */
	CAUSE_TAMPER,	/* its housing */
	CAUSE_USE,	/* people use it */
	CAUSE_COUNT
};
enum { CAUSE_POINTS = 4 };	/* the most that a sign has */

extern const char *const causes_name[CAUSE_COUNT];	/* "a weak cell" */
extern const char *const causes_check[CAUSE_COUNT];	/* without the final stop */

struct sign {
	int         points;	/* 0 = no sign */
	const char *text;
};

/* `dwell`, `share` and `from` as bursts_dwell() and bursts_hours() gave them. Texts live
 * in `a`; `sign` comes zeroed. */
void causes_find(const struct bursts *s, int32_t device, double dwell, double share, int from,
    struct arena *a, struct sign sign[CAUSE_COUNT]);

#endif
