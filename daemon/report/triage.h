/* triage.h - the ranked findings over all accounts, for a person at a desk. */
#ifndef DAEMON_REPORT_TRIAGE_H
#define DAEMON_REPORT_TRIAGE_H

#include "daemon/report/text.h"
#include "daemon/store/store.h"

/* All borrowed. */
struct triage {
	const struct stored_finding *finding;	/* in the order of lists */
	size_t                       n_finding;
	const struct text_zone      *zone;	/* each finding's own clock; NULL = the page's */
	size_t                       limit;	/* findings below `now` and not of life safety that
						 * are shown; 0 = all */
	const char                  *filter;	/* "only account 1042"; "" = nothing left out */
	const struct account_info   *uncovered;
	size_t                       n_uncovered;
	const char *const           *twin;	/* n_twin pairs */
	size_t                       n_twin;
	const struct load_row       *load;	/* n_load 0 = not shown */
	size_t                       n_load;
	int64_t                      all_alarms, all_activations;
	int64_t                      open[3];	/* findings by level, whatever the filter */
	int64_t                      accounts, cover_from, cover_to, due;
	int64_t                      since;	/* NO_TIME = by the last run */
};

void triage_text(struct page *p, const struct triage *t);

#endif
