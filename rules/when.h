/* when.h - instants and durations as words for people, in the sentences of findings. */
#ifndef RULES_WHEN_H
#define RULES_WHEN_H

#include "rules/view.h"

/* "2026-10-01 08:15 local": on the wall clock that the log showed at that time (the last
 * event at or before it, else the first); without any event "... UTC". In the arena. */
const char *when_local(const struct view *v, struct arena *a, int64_t at);

/* "45 s", "200 s", "90 min", "62 h", "12 days", rounded down; for `ms` >= 0. In the arena. */
const char *when_lasting(struct arena *a, int64_t ms);

#endif
