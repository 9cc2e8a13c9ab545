/* held.h - a condition that the log began and did not end, as a finding.
 *
 * The common ground of low-battery, trouble-left, bypass-left, test-left, standing and
 * end-of-life: what holds at "now" comes from rules/state.h, how long it has is the time
 * from there to the view's "now". A gap in the export ends nothing (the engine says so in
 * the finding).
 */
#ifndef RULES_HELD_H
#define RULES_HELD_H

#include "rules/losses.h"
#include "rules/rule.h"
#include "rules/state.h"

/* One account while one rule judges it. */
struct held {
	struct view        *v;
	struct findings    *out;
	const struct rule  *rule;
	const struct state *state;
	struct losses      *losses;	/* found when first asked for */
};

struct held held_begin(struct view *v, struct findings *out, const struct rule *rule);

/* A limit in force. Where the device is or may be life safety (device -1: where the site
 * has or had such devices), an override can make it stricter, that is lower, and never laxer. */
double held_limit(const struct held *h, const char *name, int32_t device);
int64_t held_limit_ms(const struct held *h, const char *name, int32_t device);

/* Is it life safety, or of a kind that is not known? */
bool held_may_be_life(const struct view *v, int32_t device);
/* Has the site life-safety devices that were not taken out, in this partition (area of
 * struct point; 0 = anywhere)? A device without a partition may be in each. */
bool held_site_life(const struct view *v, uint32_t area);

/* Does supervision-loss speak of this device now, alone or as part of the site? */
bool held_lost(struct held *h, int32_t device);
/* The same, but not where the site as a whole is lost: its cause is not the device's. */
bool held_lost_alone(struct held *h, int32_t device);

/* Stamped to the minute, with a row in the same minute that would have ended it: which of them
 * came first the log cannot tell. Never so for what is or may be life safety. `ends` are
 * words, the last one W_OTHER. */
bool held_blurred(const struct held *h, int32_t device, const struct holding *x,
    const enum word *ends);

/* A finding with onset, last, count 1, evidence and the measure `held`. */
struct finding *held_add(struct held *h, int32_t device, const char *subject,
    const struct holding *x);
/* "since 2026-10-01 08:15 local (26 h)", or "at or before ..."; in the findings' arena. */
const char *held_since(const struct held *h, const struct holding *x);
/* Says so where a bare `restore` may have ended what the finding is about. */
void held_unclear(const struct held *h, struct finding *f);

#endif
