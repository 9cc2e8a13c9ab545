/* load.h - what the store's own files share about views; see store.h for the rest. */
#ifndef DAEMON_STORE_LOAD_H
#define DAEMON_STORE_LOAD_H

#include "daemon/store/store.h"
#include "rules/view.h"

/* "ACCOUNT", or "ACCOUNT@receiver/line" where an export names these. */
const char *load_identity(struct arena *a, const char *account, const char *receiver,
    const char *line);
int load_view(struct store *s, int64_t id, int64_t as_of, bool texts, struct view *v,
    struct err *e);
/* Brings s->cell and what stands beside it up to date. */
int load_cells(struct store *s, struct err *e);
/* Overrides in force, widest scope first; account NULL: only those that hold for all. */
int load_overrides(struct store *s, struct arena *a, const char *account, const char *group,
    struct override **out, size_t *n, struct err *e);

#endif
