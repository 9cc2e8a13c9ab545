/* phrase.h - how sites, findings and decisions are worded in running text. All texts
 * are lent by the page. */
#ifndef DAEMON_REPORT_PHRASE_H
#define DAEMON_REPORT_PHRASE_H

#include "daemon/report/text.h"
#include "daemon/store/store.h"

/* What stands between facts in a row. */
const char *phrase_between(const struct page *p);
/* "1042 Lindenhof 3"; "all accounts" for "*". */
const char *phrase_site(struct page *p, const char *account, const char *name);
/* "life-alarm, since ..., last ..., 4 times, new": what stands under a finding's sentence. */
const char *phrase_facts(struct page *p, const struct stored_finding *f);
/* The id of the finding among these that stands for this one too; NULL if none does. */
const char *phrase_parent(const struct stored_finding *all, size_t n,
    const struct stored_finding *f);
/* "planned by R. Moser on 2026-10-01 until 2026-10-03 00:00 (reason)"; of one that no
 * longer holds, why. */
const char *phrase_decision(struct page *p, const struct stored_decision *d);
/* The device; "" for the whole site, and where the sentence begins with the device. */
const char *phrase_place(const struct stored_finding *f);

#endif
