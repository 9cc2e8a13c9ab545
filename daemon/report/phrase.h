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
/* The first `most` of them by name, and how many more. */
const char *phrase_sites(struct page *p, const struct account_info *a, size_t n, size_t most);
/* Who is not in the exports at all, and whom tonight's do not reach; `names` "" = told apart. */
const char *phrase_uncovered(struct page *p, size_t n, const char *names);
const char *phrase_behind(struct page *p, size_t n, int64_t expected, const char *names);
/* "55 accounts, covered by exports from ... to ... (Europe/Vienna)." */
const char *phrase_cover(struct page *p, int64_t accounts, int64_t from, int64_t to);
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
