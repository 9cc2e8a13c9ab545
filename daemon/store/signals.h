/* signals.h - what judging counted of an account, into the store. */
#ifndef DAEMON_STORE_SIGNALS_H
#define DAEMON_STORE_SIGNALS_H

#include "daemon/store/store.h"
#include "rules/view.h"

/* Replaces what stands of the account; NULL or empty: nothing stands then. */
int signals_keep(struct store *s, struct view *v, const struct signals *x, struct err *e);

#endif
