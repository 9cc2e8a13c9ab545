/* session.h - the learn sessions of one account, and the visits that were planned.
 *
 * A session runs from `program-entry` to `program-exit`. Where the log has no entry, it
 * is the run of learn events (`learn-heard learn-refused learn unlearn`, and
 * `device-added`, `device-removed` that name a serial) with gaps of at most `gap`; an
 * exit that follows within `gap` ends it. A session that was entered and shows no exit
 * within `open` after its last programming event counts as never closed; a later entry
 * ends it too, as soon as `gap` has passed. `programming-changed` alone is no session.
 *
 * Both times are settings of the rule learn-mismatch, and so is `near`: how far before or
 * after a planned visit a session still belongs to it.
 *
 * Read sessions with verdict.h for what is to be made of the serials.
 */
#ifndef RULES_SESSION_H
#define RULES_SESSION_H

#include "rules/view.h"

/* One serial in one list of a session; the same serial and zone again is the same entry. */
struct session_item {
	uint32_t    event;	/* the last such event */
	uint32_t    times;	/* how often */
	int64_t     at;		/* of that last event */
	int32_t     device;	/* index in the view; -1 = none */
	const char *serial;	/* as read; "" = the log names none */
	const char *plain;	/* serial_plain(); "" = none, or unreadable */
	const char *key;	/* serial_key() */
	const char *zone;	/* as read; "" = none, or the cell is no zone */
	const char *zone_key;
	bool        unreadable;	/* a spreadsheet ate the serial's digits */
};

/* While the panel waits for an answer to one serial, it cannot hear another. */
struct session_wait {
	int64_t     from, to;
	uint32_t    event;	/* the `learn-heard` */
	const char *serial;	/* as read */
	bool        answered;	/* by learn or learn-refused; else by another serial or the exit */
};

struct session {
	int64_t  begin;
	int64_t  end;		/* the exit, or the last event when none was entered; NO_TIME =
				 * never closed, or still open at the end of cover */
	int64_t  last;		/* its last programming event */
	bool     entered;	/* the log shows the `program-entry` */
	uint32_t first, past;	/* its programming events lie in [first, past) of view.event */
	int32_t  visit;		/* index in sessions.visit; -1 = outside each */
	struct session_item *accepted, *heard, *refused, *unlearned;
	size_t   n_accepted, n_heard, n_refused, n_unlearned;
	struct session_wait *wait;
	size_t   n_wait;
};

/* All plan rows with one window. */
struct visit {
	int64_t from, to;
	size_t  n_plan;
	size_t  n_session;
	int64_t last_end;	/* latest end of its sessions; NO_TIME = none, or one is not closed */
};

struct sessions {
	struct session *session;	/* by begin */
	size_t          n;
	struct visit   *visit;		/* by from, to */
	size_t          n_visit;
};

/* All memory is the view's arena. */
void sessions_find(struct view *v, struct sessions *out);

/* Does this row put a serial into the panel, or take it out? */
bool session_accepts(const struct view *v, const struct event *ev);
bool session_removes(const struct view *v, const struct event *ev);

/* Does any of the items have this serial key? NULL if none. */
const struct session_item *session_item_find(const struct session_item *item, size_t n,
    const char *serial_key);
/* Time in ms during which the panel waited for answers. */
int64_t session_waited(const struct session *s);
/* The visit's index that a plan row belongs to. */
int32_t visit_of_plan(const struct sessions *all, const struct plan_row *p);

#endif
