/* checkin.h - how often a device reports by itself.
 *
 * Supervised radio devices send a short "I am here" at a fixed interval: fire
 * transmitters of about 200 s or less, burglary ones mostly of 60 to 90 min. Few
 * rosters state it, so it is learned from the log:
 *
 * - from the gaps between `check-in` events with nothing else heard in between (many
 *   devices start their interval anew whenever they send anything), or, where that
 *   gives too few, between any two check-ins;
 * - where there are no check-ins, from all heard events, if they are so regular that a
 *   clock must be behind them (a self-test every 24 h): nearly all gaps alike. People
 *   opening a door are never that regular. A low battery that is told again each day is
 *   no such clock: it ends with the cell.
 *
 * The interval is the median of the newest 256 gaps; gaps of two, three or more whole
 * intervals, with check-ins missed in between, are then folded to one each and tell it as
 * well. So up to half of the gaps may be spoilt by missed check-ins; but few may be so long
 * that they would count as a silence, or the median is the pause within a pair of reports.
 * Its uncertainty is the 95 % range of that median by its order statistics, which assumes
 * nothing of how gaps scatter.
 *
 * A gap counts only inside one cover interval, never across a reset clock, nor below 10 min
 * when one end was stamped while a buffer was emptied (MARK_BUFFERED). Reports within 2 s
 * are one. An interval below 10 min is not believed when no stamp of the account is finer
 * than a minute.
 *
 * The numbers are the settings `learn_...`, `regular_...` and `missed` of the rule
 * supervision-loss; all of them are common practice without a source.
 */
#ifndef RULES_CHECKIN_H
#define RULES_CHECKIN_H

#include "rules/view.h"

enum checkin_source {
	CHECKIN_NONE,		/* not stated, and too few or too irregular to learn */
	CHECKIN_STATED,		/* the roster says it; wins over what was learned */
	CHECKIN_LEARNED,	/* from check-in events */
	CHECKIN_REGULAR,	/* from heard events of any kind that come like clockwork */
};

struct checkin {
	enum checkin_source source;
	int64_t interval;	/* ms; 0 = none */
	int64_t low, high;	/* ms: the interval itself, until checkin_range() was asked */
	int64_t spread;		/* ms: median distance of a gap from the learned interval */
	size_t  gaps;		/* gaps looked at; 0 also when there were too few */
};

/* For every device of the view, in its order; `out` holds v->n_device of them. */
void checkin_learn(const struct view *v, struct checkin *out);

/* Fills low and high of what checkin_learn() learned: where the interval lies with 95 %, by
 * the order statistics of its gaps (stats_median_rank()); of fewer than six gaps their
 * whole range. Not done for all, because it sorts. */
void checkin_range(const struct view *v, int32_t device, struct checkin *c);

/* "12 h", "about 61 min (58 to 66)". In the arena. */
const char *checkin_text(struct arena *a, const struct checkin *c);

/* Does this event show that the log has this device's check-ins in it? A check-in
 * does; any heard event does where the interval was learned from such. */
bool checkin_shown(const struct view *v, const struct event *ev, const struct checkin *c);

#endif
