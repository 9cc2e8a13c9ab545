/* tablein.h - roster, sites, plan, service, settings and decisions into the store. */
#ifndef DAEMON_TABLEIN_H
#define DAEMON_TABLEIN_H

#include "daemon/reading.h"

/* Reads one file that is not events to its end, in one transaction. `r` tells the zones
 * of accounts and learns those of a sites file. A fault of the file marks `f` as failed
 * and is no error; -1 and *e only when the store failed. */
int table_take(struct store *s, struct reading *r, struct reader *reader,
    const char *place, const struct ingest_options *o, struct wordin *words,
    struct tz_set *zones, int64_t taken,
    struct arena *a, struct ingest_file *f, struct err *e);

/* Whose file it is: what a list changes is told with that name. "" = not known. Lent by `a`. */
const char *tablein_owner(struct arena *a, const char *place);

#endif
