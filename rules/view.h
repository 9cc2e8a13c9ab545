/* view.h - everything that is known about one account, as the rules see it.
 *
 * A view is built once (by the store's loader, or from literals in a test),
 * finished by view_finish(), and then only read. It holds no file, no SQL and
 * no clock: "now" is the end of the account's cover. All texts are NUL-terminated,
 * never NULL ("" = not given), and live as long as the view's arena. Instants are
 * milliseconds UTC (daemon/base/civil.h); NO_TIME = unknown or still open.
 */
#ifndef RULES_VIEW_H
#define RULES_VIEW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"
#include "daemon/base/strength.h"
#include "daemon/base/words.h"

/* What limits the worth of an event's time; kept as a bit set. */
enum mark {
	MARK_STILL     = 1 << 0,	/* qualifier 6: no onset, no activation, not heard */
	MARK_RESET     = 1 << 1,	/* clock far off; a stand-in time is used; no gap across it */
	MARK_SKIPPED   = 1 << 2,	/* local time that never was, moved on by the gap */
	MARK_REPEATED  = 1 << 3,	/* in the repeated hour; resolved by order or receipt */
	MARK_AMBIGUOUS = 1 << 4,	/* in the repeated hour and nothing resolves it */
	MARK_LEAP      = 1 << 5,	/* second 60 written */
	MARK_COARSE    = 1 << 6,	/* precision is minutes */
	MARK_BUFFERED  = 1 << 7,	/* set by view_finish() within 10 min after comm-restore or
					 * restart, by the reader where the stamp is only the time of
					 * receipt: gives no gap under 10 min */
	MARK_LIFE_CODE = 1 << 8,	/* the code is of a life-safety class */
	MARK_USER      = 1 << 9,	/* the `zone` cell holds a user number */
	MARK_PANEL     = 1 << 10,	/* the `zone` cell holds a module, line or area, or nothing */
	MARK_WRITTEN   = 1 << 11,	/* set by view_finish(): a return within 5 min after restart,
					 * disarm or program-exit, written by the panel itself */
};

/* A place that rows name, as read: what view_finish() makes devices from. */
struct point {
	const char *partition, *zone, *serial;
	/* Set by view_finish(): keys of daemon/base/serial.h. Equal zone keys of one
	 * view are one pointer. */
	const char *partition_key, *zone_key, *serial_key;
	bool        serial_unreadable;	/* a spreadsheet ate its digits */
	uint32_t    area;		/* its partition: 0 = none given, else 1..view.n_area; equal
					 * partitions have equal numbers */
};

struct event {
	int64_t     id;		/* in the store; 0 in tests */
	int64_t     at;
	int64_t     received;	/* NO_TIME = not exported */
	const char *text;	/* free text as read; "" while judging, where no rule needs it */
	const char *user;	/* as read */
	uint32_t    point;	/* index in view.point */
	uint32_t    cell;	/* index in view.cell: the event cell as read */
	uint32_t    file;	/* id of the file */
	uint32_t    line;	/* physical line in it */
	int32_t     offset;	/* seconds east of UTC of the site's clock, where sites names its
				 * zone; else of the clock that the row was written by */
	int32_t     device;	/* set by view_finish(): index in view.device; -1 = the panel itself */
	uint16_t    word;	/* enum word */
	uint16_t    marks;	/* enum mark */
	uint8_t     hint;	/* enum kind that the code implies; KIND_UNKNOWN = none */
	uint8_t     signal_unit;	/* enum strength_unit: STRENGTH_NONE = not exported */
	int16_t     signal;	/* tenths of the unit */
};

struct roster_row {
	const char *zone, *partition, *serial, *name, *cell;
	enum kind   kind;
	int         cells;	/* 0 = not given */
	int64_t     installed;	/* NO_TIME = not given */
	int64_t     checkin;	/* ms between check-ins as stated; 0 = not given */
	int64_t     as_of;	/* date of this version: as_of as written, else when it was taken in */
	uint32_t    version;	/* file id; rows of one file are one version; ascending */
};

struct plan_row {
	const char *zone, *serial, *name, *replaces;
	enum kind   kind;	/* KIND_UNKNOWN = not given */
	int64_t     from, to;	/* the visit */
	int         order;	/* 0 = not given */
};

struct service_row {
	int64_t     at;
	const char *what, *zone, *serial, *who;
};

/* One override of a setting that reaches this account; the narrowest comes last. */
struct override {
	const char *rule, *setting;
	double      value;
	enum kind   kind;	/* scope device=KIND; KIND_UNKNOWN = all devices */
	int         narrow;	/* of its scope: 0 = *, 1 = group, 2 = device, 3 = account */
};

/* A serial that this account learned or heard, known at another account too. */
struct elsewhere {
	const char *serial_key, *account, *zone;
};

struct interval {
	int64_t from, to;	/* [from, to]; NO_TIME as `to`: still open at the end of cover */
};

/* A view holds the events of so long before its now, and of what is older the last of each
 * kind at each place: enough to know what stands open and what was learned. So no rule can
 * look back further, and no event may be removed from the store before. Ours: a year and a
 * month. */
#define VIEW_LOOK_BACK (400 * DAY)

struct device {
	const char *zone, *partition;	/* as first written; "" = only a serial is known */
	const char *serial;		/* as first written; "" = only a zone is known */
	const char *zone_key, *serial_key;
	uint32_t    area;		/* as of struct point; where its reports name none, that of
					 * its zone */
	const char *name, *cell;	/* from the newest roster row that matches, else plan */
	enum kind   kind;
	int         cells;
	int64_t     installed, checkin;
	bool        life;		/* life safety if any source says so */
	bool        maybe_life;		/* unknown kind: may be life safety */
	bool        rostered;		/* in the newest roster version */
	bool        wireless;		/* has a serial, cell or check-in, or ever sent a battery or
					 * supervision event */
	bool        leading_zeros;	/* its serial was met with differing leading zeros */
	int64_t     learned;		/* last `learn` accepted; NO_TIME */
	int64_t     unlearned;		/* after that: `unlearn`, or replaced on its zone; NO_TIME */
	int64_t     first_heard, last_heard;	/* NO_TIME = never */
	uint32_t   *event;		/* indices of its events in view.event, in time order */
	size_t      n_event;
};

struct view {
	struct arena        arena;	/* holds all of the below */
	int64_t             account_id;
	const char         *account, *receiver, *line;
	const char         *former;		/* the account it was renamed from; "" = none, or
						 * its number is somebody else's now */
	const char         *name, *group, *timezone;
	int64_t             since;	/* earlier events are a former customer's; NO_TIME */
	int64_t             now;	/* end of cover, or --as-of */
	bool                minutes_only;	/* no stamp is finer than a minute */

	struct interval    *cover;	/* ascending, disjoint */
	size_t              n_cover;
	struct point       *point;
	size_t              n_point;
	const char        **cell;
	size_t              n_cell;
	struct event       *event;	/* ascending by (at, file) after view_finish(); rows of one
					 * file and instant stay in the order given, which is
					 * oldest first also for a newest-first file */
	size_t              n_event;
	struct roster_row  *roster;
	size_t              n_roster;
	struct plan_row    *plan;
	size_t              n_plan;
	struct service_row *service;	/* ascending by time */
	size_t              n_service;
	struct override    *override;
	size_t              n_override;
	struct elsewhere   *elsewhere;	/* ascending by serial_key */
	size_t              n_elsewhere;

	struct device      *device;	/* by view_finish() */
	size_t              n_device;
	uint32_t            n_area;	/* partitions that points or roster name */
	struct view_index  *index;	/* view.c's own */
	struct state       *state;	/* made by the first view_state() */
};

/* Sorts events, drops those before `since`, forms devices, classes and marks.
 *
 * Devices: a row that carries zone and serial, a learn, and a roster row bind a
 * serial to a zone from then on; an event with only a zone belongs to the serial
 * bound to the zone at that time (before the first binding: to the first), one with
 * only a serial to that serial. Serials that differ only in leading zeros are one
 * device. A new serial on a zone is a new device; the old one counts as replaced.
 * Zone numbers are compared without leading zeros; a blank partition matches the
 * only partition that uses the zone. User numbers, modules and zone 0 are no devices.
 * `learn-heard`, `learn-refused` and `extra-device` bind nothing: the serial may be a
 * stranger's. A replaced serial that is reported with its zone again counts as back.
 * Life safety holds for the place: any device on a zone that ever was life safety is. */
void view_finish(struct view *v);
void view_release(struct view *v);

/* How all stands at `now` (rules/state.h): one pass, made when first asked for, in the
 * view's arena. */
const struct state *view_state(struct view *v);
/* Is the whole of [from, to] inside one cover interval? */
bool view_covered(const struct view *v, int64_t from, int64_t to);
/* Covered milliseconds within [from, to]. */
int64_t view_cover_within(const struct view *v, int64_t from, int64_t to);
/* Does the event prove that its device transmitted? Word property, not `still`,
 * and restores within 5 min after restart, disarm or program-exit do not count. */
bool event_is_heard(const struct view *v, const struct event *ev);
/* Device by zone or serial as typed by a person or another file; -1 = none. When a
 * zone had several serials, the one bound at `at` (NO_TIME: the newest). A readable
 * serial decides alone. A number that several partitions use names no device. */
int32_t view_device_find(const struct view *v, const char *zone, const char *serial, int64_t at);
/* "zone 5 (kitchen window, contact, serial 4A0071)" in the view's arena. */
const char *device_label(struct view *v, int32_t device);

#endif
