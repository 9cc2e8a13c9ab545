/* verdict.h - what each learn session did, against plan and roster.
 *
 * Shared by the rule learn-mismatch, the site sheet and the visit check, so that all
 * three say the same. What counts as expected: every plan row of the account, and the rows
 * of the newest roster version that is older than the session (a later one may have been
 * read out of the panel and proves nothing).
 */
#ifndef RULES_VERDICT_H
#define RULES_VERDICT_H

#include "rules/session.h"

/* X(ENUM, fine, "words for people") */
#define VERDICT_LIST(X) \
	X(PLANNED, true, "as planned") \
	X(SECOND_TRY, true, "as planned, not at the first try") \
	X(REPLACEMENT, true, "replacement as planned") \
	X(ROSTERED, true, "as in the roster") \
	X(WITHDRAWN, true, "taken out again in the same session") \
	X(NEAR_MISS, false, "near miss") \
	X(ELSEWHERE, false, "belongs to another account") \
	X(FOREIGN, false, "foreign") \
	X(REPLACED, false, "replaced without a plan") \
	X(NO_SERIAL, false, "no serial in the log") \
	X(UNLISTED, false, "nothing to compare with")

enum verdict {
#define X(id, fine, text) VERDICT_##id,
	VERDICT_LIST(X)
#undef X
	VERDICT_COUNT
};

const char *verdict_text(enum verdict x);
bool verdict_is_fine(enum verdict x);

/* On one accepted serial; what does not apply is NULL, false, KIND_UNKNOWN. */
struct verdict_item {
	enum verdict verdict;
	const struct plan_row *plan;	/* names the serial; near miss: the row that was meant */
	const char  *wanted;		/* near miss: the expected serial as written */
	const char  *difference;	/* near miss: "differs in digit 7 of 8" */
	long         apart;		/* near miss: the serials count up by this; -1 = they do not */
	const char  *old_serial;	/* REPLACED, REPLACEMENT: what it takes the place of */
	const struct elsewhere *elsewhere;	/* also set for fine ones */
	const char  *other_zone;	/* in this zone too, and neither plan nor roster has both */
	const char  *planned_zone;	/* the plan says this zone, and not that of the learn */
	enum kind    planned_kind, seen_kind;	/* both set: another kind than planned */
	bool         life, maybe_life;
	const char  *spelt;		/* plan or roster have other leading zeros: as they write it */
	const char  *past;		/* it was here before: "taken out of zone 5 at ...", "on zone 5
					 * in an older roster" */
	int64_t      quick;		/* ms from heard to accepted when a sticker is not read in
					 * that time (setting `read`), else -1 */
	bool         mute;		/* not heard in the day after, nor since, while others are */
	int64_t      resolved;		/* taken out again later; NO_TIME = still there */
	const char  *text;		/* "4A0072 on zone 5: ..." */
};

/* A planned device that its visit did not leave in the panel. */
struct verdict_missing {
	const struct plan_row *plan;
	int32_t      device;		/* -1 = the log never names it */
	bool         life;
	int64_t      resolved;		/* learned or heard later; NO_TIME = not so far */
	const char  *text;		/* "4A0071 (zone 5, smoke detector): heard and refused" */
};

/* A fine verdict, and no conflict of zone or kind with it. */
bool verdict_item_is_fine(const struct verdict_item *x);

struct session_verdict {
	struct verdict_item *item;	/* one for each of session.accepted */
	bool         outside;		/* plans were kept at that time and none names this time, and
					 * no service row explains it */
};

struct visit_verdict {
	bool         over;		/* its end has passed, or it has begun and all its sessions
					 * are closed */
	bool         unseen;		/* over, inside cover, and no session at all */
	int64_t      from;		/* a session from here on still belongs to it */
	struct verdict_missing *missing;	/* so far, when not over */
	size_t       n_missing;
};

struct verdicts {
	struct session_verdict *session;	/* one for each of sessions.session */
	struct visit_verdict   *visit;		/* one for each of sessions.visit */
};

/* All memory is the view's arena. */
void verdicts_find(struct view *v, const struct sessions *all, struct verdicts *out);

#endif
