/* strength.c - a radio's signal with its unit. */
#include "daemon/base/strength.h"

#include <math.h>

static const char *const units[STRENGTH_UNITS] = { "", "dBm", "%", "bars" };

const char *
strength_text(enum strength_unit unit)
{
	return units[unit];
}

bool
strength_read(struct span s, enum strength_unit *unit, int16_t *tenths)
{
	for (int i = STRENGTH_DBM; i < STRENGTH_UNITS; i++) {
		struct span end = span_of(units[i]);
		double v;

		if (s.n <= end.n ||
		    !span_eq_fold((struct span){ s.p + s.n - end.n, end.n }, end) ||
		    !span_to_num(span_trim((struct span){ s.p, s.n - end.n }), &v) ||
		    fabs(v) > 3000)
			continue;
		*unit = (enum strength_unit)i;
		*tenths = (int16_t)lround(v * 10);
		return true;
	}
	return false;
}
