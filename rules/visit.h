/* visit.h - was everything that was planned learned, and is nothing left behind?
 *
 * The logic of `tripsift visit ACCOUNT [--since TIME]`; how it is printed is another's.
 * Built on sessions and verdicts (rules/session.h, rules/verdict.h) and on the state at
 * the end of cover (rules/state.h), so that it says the same as the rule learn-mismatch
 * and the site sheet.
 *
 * Which visit: all learn sessions and all plan windows from `since` on. By default that
 * is the newest planned window that has begun (with the time before it in which a session
 * still belongs to it), else the next one planned, else the newest learn session.
 *
 * Held against what: the plan rows of these windows; without any, every row of the newest
 * roster version older than the visit; with neither there is nothing to hold it against,
 * and the visit is never complete. Nor is it when the log shows no learn session.
 *
 * "Heard" is a transmission of the device itself after the session that learned it was
 * closed. What the panel heard while learning does not count, nor anything while that
 * session is open. A rostered device that no session touched must be heard after the last
 * session of the visit.
 *
 * `complete` says what the log shows, and nothing on whether a device works: the sheet
 * says so beside it. It is true only if
 * - every expected device is learned as planned and was heard since,
 * - every serial that was to be replaced is out of the panel by the log,
 * - nothing else was accepted and left in the panel, and no serial of it is in doubt,
 * - no bypass, tamper, trouble of any sort (device, cell, supervision, sounder, power,
 *   panel battery, module, communication, interference), programming session or test is
 *   open, nor an alarm of a fire, heat, CO or gas device without restore.
 * Otherwise `reason` lists all that stands against it, one plain sentence each, in the
 * order above. `note` lists what limits the log as proof; it alone prevents nothing.
 */
#ifndef RULES_VISIT_H
#define RULES_VISIT_H

#include "rules/verdict.h"
#include "rules/view.h"

/* X(ENUM, done, "words for people") */
#define VISIT_STATUS_LIST(X) \
	X(HEARD, true, "learned, and heard since") \
	X(UNHEARD, false, "learned, not heard since the session closed") \
	X(MISSING, false, "missing") \
	X(NEAR_MISS, false, "missing; a serial close to it was learned") \
	X(OTHER_ZONE, false, "learned on another zone") \
	X(OTHER_KIND, false, "another kind than planned") \
	X(UNPROVEN, false, "the log does not show that this serial was learned")

enum visit_status {
#define X(id, done, text) VISIT_##id,
	VISIT_STATUS_LIST(X)
#undef X
	VISIT_STATUS_COUNT
};

const char *visit_status_text(enum visit_status s);
bool visit_status_done(enum visit_status s);

/* What became of the serial that a planned device replaces. */
enum visit_old {
	VISIT_OLD_NONE,		/* it replaces nothing */
	VISIT_OLD_GONE,		/* unlearned, or another serial was learned on its zone */
	VISIT_OLD_THERE,	/* the log knows it, and not that it is gone */
	VISIT_OLD_UNKNOWN,	/* the log never names it: look at the panel */
};

/* One expected device, in the order planned (rows with `order` first), then as listed. */
struct visit_device {
	const char       *serial, *zone, *name;	/* as planned; "" = not given */
	enum kind         kind;			/* as planned; KIND_UNKNOWN = not given */
	int               order;		/* 0 = not given */
	bool              life;
	enum visit_status status;
	int32_t           device;	/* in the view; -1 = the log never names it */
	int64_t           learned;	/* last accepted; NO_TIME */
	int64_t           closed;	/* end of that session, or of the visit's last;
					 * NO_TIME = open, or there is none */
	int64_t           heard;	/* first heard after `closed`; NO_TIME */
	const char       *old_serial;	/* "" = replaces nothing */
	enum visit_old    old;
	const char       *text;		/* what else is to say: "heard and refused at 2026-10-01 09:01
					 * local", "4A0072 was learned instead: differs in digit 6 of
					 * 6", "is on zone 6"; "" = nothing */
};

/* A serial accepted in the visit that was not expected, or not as it was. */
struct visit_extra {
	const struct session_item *item;
	enum verdict verdict;
	bool         life, maybe_life;
	int64_t      removed;	/* taken out again later; NO_TIME = still there */
	const char  *text;	/* "9F0001 on zone 7: neither plan nor roster expects it" */
};

/* A condition that holds at the end of cover. */
struct visit_open {
	int32_t     device;	/* -1 = the panel or the site */
	int         what;	/* enum condition of rules/state.h */
	int64_t     since;
	uint32_t    event;
	bool        life;
	bool        blocks;	/* stands against `complete` */
	const char *text;	/* "zone 5 (hall, smoke detector): bypassed since 2026-10-01 09:01
				 * local" */
};

struct visit_check {
	int64_t since;
	bool    by_plan, by_roster;		/* what it is held against; neither: nothing */
	int64_t roster_as_of;			/* of the roster version, with by_roster */
	int64_t begin;				/* first session; NO_TIME = no session */
	int64_t closed;				/* last session's end; NO_TIME = none, or open */
	const struct session **session;		/* of the visit, oldest first */
	size_t  n_session;
	struct visit_device *device;
	size_t  n_device;
	struct visit_extra *extra;
	size_t  n_extra;
	const struct session_item **refused;	/* heard and not accepted; for information */
	size_t  n_refused;
	const struct session_wait **wait;	/* times in which the panel could hear no other */
	size_t  n_wait;
	struct visit_open *open;		/* blocking ones first, life safety first of these */
	size_t  n_open;
	const char **reason;
	size_t  n_reason;
	const char **note;
	size_t  n_note;
	bool    complete;
};

/* `since` NO_TIME = the default. All memory is the view's arena. */
void visit_check(struct view *v, int64_t since, struct visit_check *out);

#endif
