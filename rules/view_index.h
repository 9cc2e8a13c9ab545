/* view_index.h - what view.c found out and view_ask.c answers from.
 *
 * Zones with the history of the devices bound to them, and tables from the keys of
 * zones, serials and partitions. Nobody else includes this.
 */
#ifndef RULES_VIEW_INDEX_H
#define RULES_VIEW_INDEX_H

#include "rules/names.h"
#include "rules/view.h"

/* A zone: a number within a partition. */
struct zone {
	const char *number, *partition;	/* keys */
	const char *text, *partition_text;
	uint32_t    area;
	int32_t     current;		/* device bound now; -1 = none yet */
	int32_t     first;		/* first binding, for the time before it */
	int64_t     first_at;
	uint32_t    binding, last_binding;	/* history, 1-based, 0 = none */
	bool        life;
	const struct roster_row *row;	/* newest that names the zone: kind and name of the place */
};

/* From `from` on, the zone's reports are this device's. */
struct binding {
	int64_t  from;
	int32_t  device;
	uint32_t next;
};

/* What is known of a device beyond its public fields. */
struct more {
	int32_t  home;		/* zone; -1 = only a serial is known */
	int64_t  replaced;	/* displaced on its zone by another serial */
	uint32_t version;	/* of the last roster row that bound it */
	uint32_t zeros;		/* leading zeros of its serial, plus one; 0 = no serial met */
	uint8_t  hint;		/* kind by codes and words */
};

struct view_index {
	struct names  numbers;	/* zone number -> the only zone with a partition, or -2 = several */
	struct names  zones;	/* (number, partition) -> zone */
	struct names  serials;	/* serial key -> device */
	struct names  areas;	/* partition -> its number */
	struct zone  *zone;
	size_t        n_zone;
	struct binding *binding;
	size_t        n_binding, cap_binding;
	struct more  *more;
	size_t        cap_device;
};

#endif
