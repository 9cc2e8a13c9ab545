/* timeline.h - an account's last days as a picture: what is to be drawn where, not how.
 *
 * A lane is a raster: a column for each day by the site's clock, oldest first, the hours of
 * that day from top to bottom. So what comes at one time of day stands on one level (a
 * cell that is weak on cold nights), what comes in bursts is a dark spot in one column (a
 * contact that chatters), and what began for many devices at once begins in one place of
 * all their lanes (a receiver that died). Everything is counted in whole hours from the
 * first midnight; what is shorter takes the hour in which it was.
 *
 * Bounded, whatever the account holds: the last TIMELINE_DAYS days, TIMELINE_DEVICES
 * devices. What is left out is counted, so that the page can say so. Devices that could
 * give a silent signal away (silent.h) are never drawn.
 */
#ifndef DAEMON_REPORT_TIMELINE_H
#define DAEMON_REPORT_TIMELINE_H

#include "daemon/report/site.h"

enum {
	TIMELINE_DAYS     = 62,	/* two months: what was right before the last visits */
	TIMELINE_LEAST    = 14,	/* fewer would be stretched into something else */
	TIMELINE_DEVICES  = 24,	/* as many as a printed page holds */
	TIMELINE_PARTITIONS = 4,
};

enum timeline_what {
	TIMELINE_ARMED,		/* full: armed away; half: armed, people at home */
	TIMELINE_POWER,		/* full: mains lost; across: the panel's battery low */
	TIMELINE_LINE,		/* full: line or module lost; upright: radio interference */
	TIMELINE_WORK,		/* full: learn sessions; frame: planned visits; upright: tests; marks:
				 * service */
	TIMELINE_PANEL,		/* marks: restart, clock set, log cleared or overflowed */
	TIMELINE_LOST,		/* counts: devices lost at that hour, of those that may be drawn */
	TIMELINE_DEVICE,	/* counts: activations; marks: alarms; full: lost; across: cell low;
				 * upright: bypassed, tamper or another trouble */
};

/* The looks of a block; a lane's sort says what each means. */
enum timeline_look { TIMELINE_FULL, TIMELINE_HALF, TIMELINE_ACROSS, TIMELINE_UPRIGHT,
	TIMELINE_FRAME, TIMELINE_LOOKS };

struct timeline_block {
	int32_t from, to;	/* hours, from < to */
	uint8_t look;
};

struct timeline_lane {
	enum timeline_what what;
	int32_t            device;	/* TIMELINE_DEVICE */
	const char        *partition;	/* TIMELINE_ARMED; "" = the whole site */
	uint16_t          *count;	/* one for each hour; NULL = none; stops at 65535 */
	struct timeline_block *block;	/* by look, then time; those of one look do not touch */
	size_t             n_block;
	int32_t           *mark;	/* hours, ascending, none twice */
	size_t             n_mark;
	int64_t            sum;		/* activations; TIMELINE_LOST: of so many wireless devices */
	int32_t            most;	/* the hour with the highest count */
	uint32_t           times[TIMELINE_LOOKS];	/* how often, before hours were joined */
	bool               night;	/* TIMELINE_DEVICE: its cell is low by night, good by day */
};

struct timeline {
	int64_t  day;		/* date of the first column, in days since 1970-01-01 */
	int32_t  days;		/* columns */
	struct timeline_lane *lane;
	size_t   n_lane;
	struct timeline_block *gap;	/* no export covers; by time */
	size_t   n_gap;
	bool     earlier;	/* something of before the first column is left out */
	size_t   quiet;		/* devices with nothing to draw */
	size_t   left_out;	/* devices beyond the limit */
	bool     more_partitions;	/* than TIMELINE_PARTITIONS are armed by themselves */
	bool     silent;	/* devices were left out for that */
};

/* Memory is the view's arena. Times are cut into days and hours by `zone`. */
void timeline_of(const struct site *s, const struct text_zone *zone, struct timeline *out);

/* As a list of lanes, each with its name and the same in words; then how to read it, and
 * what is left out. */
struct html;
void timeline_html(struct html *h, const struct site *s, const struct timeline *t);

#endif
