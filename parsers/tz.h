/* tz.h - IANA time zones from the system's database (TZif, RFC 9636).
 *
 * Looked up in $TZDIR, else /usr/share/zoneinfo and its usual other places.
 * A zone is read once, is immutable, and may be used from any thread.
 * tz_set_open() gives, tz_set_close() takes the set and all its zones.
 */
#ifndef PARSERS_TZ_H
#define PARSERS_TZ_H

#include <stdint.h>

#include "daemon/base/err.h"
#include "daemon/base/span.h"

struct tz_set;
struct tz;

struct tz_set *tz_set_open(void);
void tz_set_close(struct tz_set *set);

/* Lent by the set. NULL and *e (ERR_DATA, with the nearest names of the
 * database: "no time zone \"Europe/Viena\"; nearest: Europe/Vienna, ...") when
 * there is none. "UTC" always exists. Names that leave the database are refused. */
const struct tz *tz_find(struct tz_set *set, struct span name, struct err *e);
/* The machine's own zone: $TZ, else /etc/timezone, else the target of
 * /etc/localtime, else UTC. Lent; never NULL. */
const struct tz *tz_machine(struct tz_set *set);
const char *tz_name(const struct tz *z);
/* The same as people read it: the database's "Etc/UTC" is "UTC". */
const char *tz_shown(const struct tz *z);

enum tz_fit { TZ_ONCE, TZ_TWICE, TZ_NEVER };

/* What a local wall time (seconds, as in struct stamp) means in `z`:
 *   TZ_ONCE   *first = its offset, seconds east of UTC; *second the same
 *   TZ_TWICE  the repeated hour: *first = offset of the earlier instant,
 *               *second = offset of the later one
 *   TZ_NEVER  the skipped hour: *first = the offset before the gap, which
 *               moves the time on by the gap (02:30 becomes 03:30)
 *   UTC = wall - offset. Source of the terms: PEP 495 "fold" and "gap". */
enum tz_fit tz_local(const struct tz *z, int64_t wall, int32_t *first, int32_t *second);
/* Offset in force at an instant, seconds east of UTC. */
int32_t tz_offset(const struct tz *z, int64_t utc_seconds);

#endif
