/* pages.h - the pages that are made of counts: trend.html and rules.html. */
#ifndef DAEMON_PAGES_H
#define DAEMON_PAGES_H

#include "daemon/report/html.h"
#include "daemon/store/store.h"

/* Onto the page, as of `now`, the wall clock. -1 and *e when the store failed. */
int pages_trend(struct store *s, struct page *p, int64_t now, const struct html_sites *sites,
    struct err *e);
int pages_rules(struct store *s, struct page *p, int64_t now, struct err *e);

#endif
