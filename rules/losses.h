/* losses.h - when each device was lost, told by the panel or seen in the log.
 *
 * The groundwork of supervision_loss.c: one pass over each device's events gives its
 * losses, the check-ins of the others say whether a silence means anything, and losses
 * that came together are tied into groups. All limits are settings of that rule.
 *
 * - Told: a `supervision-loss` until a restore, until the device is heard in any way, or
 *   until it is learned anew. A repeated report of an open loss is the same loss. One
 *   marked *still* shows an open loss whose beginning is not in the log.
 *   A restore that the panel writes by itself (within 5 min after restart, disarm or the
 *   end of programming) is no proof: it ends the loss only after `declares` of
 *   cover without another.
 * - Silent: an interval is stated or learned, and `missed` or more of them went by in
 *   covered time, and while the log shows check-ins, since the device was heard (or since the last restart or reset clock,
 *   if that was later), and one interval at least since the clock was set. The log must
 *   show that check-ins are in it: those of `shown_share` of the devices with an interval,
 *   after the first missed one was due. Or it showed them before, of as many, and now
 *   either they still come from fewer (so it is not the export), or nothing at all comes
 *   by radio while the panel itself goes on reporting: then the site as a whole is deaf. A
 *   door or a detector that is heard on while all check-ins have ended says that the export
 *   carries none any more, and nobody is called silent. A medical pendant or a keyfob is
 *   not expected to report unless the roster states an interval for it.
 * - Never: learned, and not heard since for `never_heard` of covered time, the others
 *   being there in the same way.
 *
 * Left out of everything here: keyfobs, unless they are life safety (one that sent a
 * panic alarm); serials that were only heard or refused in a learn session or were told
 * as not of this site; devices that were unlearned or replaced on their zone.
 */
#ifndef RULES_LOSSES_H
#define RULES_LOSSES_H

#include "rules/checkin.h"
#include "rules/view.h"

enum loss_sort { LOSS_TOLD, LOSS_SILENT, LOSS_NEVER };

struct loss {
	enum loss_sort sort;
	int32_t  device;	/* -1: told for zone 0, so for no device that is known */
	int64_t  at;		/* told, or when the first missed check-in was due */
	int64_t  end;		/* NO_TIME = open */
	int64_t  gone;		/* last heard before it; LOSS_NEVER: learned; NO_TIME = not known */
	uint32_t event;		/* the report; else the event at `gone` */
	uint32_t end_event;	/* meaningless while open */
	bool     still;		/* it began at or before `at` */
	bool     doubtful;	/* open, but the panel wrote a restore by itself */
	int32_t  group;		/* index of its group; -1 = none */
};

/* Losses of half or more of the site's supervised wireless devices close together. */
struct loss_group {
	int64_t from, to;	/* first and last loss */
	int64_t onset;		/* first that was told; last heard before it, where all merely
				 * fell silent */
	bool    silent;		/* nobody told any of its losses */
	int64_t back;		/* last end of one; NO_TIME = none has ended */
	size_t  members;	/* devices */
	size_t  gone;		/* of these still lost */
	size_t  of;		/* supervised wireless devices at that time */
	bool    open;		/* the site stands as lost; false: it was back at `back`, and
				 * devices that are still lost stand for themselves */
};

struct losses {
	struct loss       *loss;	/* device by device, each in time order; -1 comes last */
	size_t             n;
	size_t            *first;	/* of device i: loss[first[i]] up to loss[first[i + 1]] */
	uint32_t          *by_time;	/* indices of told and silent losses of devices, by `at` */
	size_t             n_by_time;
	struct loss_group *group;	/* in time order */
	size_t             n_group;
	struct checkin    *checkin;	/* of each device */
	int64_t            window;	/* how close together is "together" */
	int64_t            anew;	/* last restart or reset clock; NO_TIME */
	int64_t            shown;	/* until when the log shows check-ins: now, as long as the last
					 * one is a window old at most, or while `dark`; NO_TIME */
	bool               dark;	/* no radio is heard any more, while the panel goes on */
	int64_t            clock_set;	/* last time that the clock was set; NO_TIME */
};

/* Memory comes from `a`. */
void losses_find(const struct view *v, struct arena *a, struct losses *out);

/* A limit in force. Where the device is or may be life safety, an override can make the
 * rule stricter than its default, never laxer; a limit of learning is laxer when fewer
 * devices have an interval by it. */
double losses_limit(const struct view *v, const char *name, int32_t device);
int64_t losses_limit_ms(const struct view *v, const char *name, int32_t device);

/* Whole check-ins missed in covered time, and while the log shows check-ins, since the device
 * was last heard, counted from the last restart or reset clock if that was later; 0 without
 * an interval. */
long losses_missed(const struct view *v, const struct losses *l, int32_t device);
/* The same with another interval (ms) than the learned one. */
long losses_missed_of(const struct view *v, const struct losses *l, int32_t device,
    int64_t interval);

#endif
