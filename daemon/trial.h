/* trial.h - the whole history judged under other settings, beside today's, in memory. */
#ifndef DAEMON_TRIAL_H
#define DAEMON_TRIAL_H

#include <stdbool.h>

#include "daemon/report/trial.h"

/* "RULE.SETTING=VALUE" checked into *out; `today` is filled by trial_run(). */
int trial_read_set(const char *text, struct trial_set *out, struct err *e);
/* "RULE.SETTING=FROM..TO[/STEP]" into *out and its values, at most 40, which the arena lends.
 * Without STEP: 1 between whole numbers up to 40 apart, else a tenth of the way. */
int trial_read_sweep(const char *text, struct arena *a, struct trial_set *out,
    const double **value, size_t *n, struct err *e);

/* Fills the second half of *t from the first; what it points at is lent by the arena.
 * Nothing is written: the store may be open for reading alone. Every account is judged, also
 * when one is asked for, because rules that compare accounts need them all. */
int trial_run(struct store *s, struct trial *t, bool progress, struct arena *a, struct err *e);

#endif
