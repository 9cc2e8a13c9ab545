/* when.c - instants and durations as words for people. */
#include "rules/when.h"

const char *
when_local(const struct view *v, struct arena *a, int64_t at)
{
	size_t lo = 0, hi = v->n_event;
	char text[CIVIL_TEXT];

	if (v->n_event == 0)
		return arena_fmt(a, "%s UTC", civil_short(at, text));
	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (v->event[mid].at <= at)
			lo = mid + 1;
		else
			hi = mid;
	}
	return arena_fmt(a, "%s local", civil_short(at + v->event[lo ? lo - 1 : 0].offset * SECOND,
	    text));
}

const char *
when_lasting(struct arena *a, int64_t ms)
{
	static const struct {
		int64_t     below, unit;
		const char *name;
	} units[] = {
		{ 5 * MINUTE, SECOND, "s" },
		{ 3 * HOUR, MINUTE, "min" },
		{ 4 * DAY, HOUR, "h" },
		{ INT64_MAX, DAY, "days" },
	};
	size_t i = 0;

	while (ms >= units[i].below && i + 1 < sizeof units / sizeof *units)
		i++;
	return arena_fmt(a, "%lld %s", (long long)(ms / units[i].unit), units[i].name);
}
