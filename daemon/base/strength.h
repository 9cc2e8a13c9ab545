/* strength.h - a radio's signal as exports give it: "-71 dBm", "85 %", "3 bars".
 *
 * Units are never compared with each other. Values are kept in tenths of their unit, which
 * is finer than any receiver tells, and within +-3000.0.
 */
#ifndef DAEMON_BASE_STRENGTH_H
#define DAEMON_BASE_STRENGTH_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/span.h"

enum strength_unit { STRENGTH_NONE, STRENGTH_DBM, STRENGTH_PERCENT, STRENGTH_BARS, STRENGTH_UNITS };

/* A number and its unit, letter case and blanks between them aside. False: it is none, and
 * nothing was written. */
bool strength_read(struct span s, enum strength_unit *unit, int16_t *tenths);

/* "dBm", "%", "bars"; "" for none. */
const char *strength_text(enum strength_unit unit);

#endif
