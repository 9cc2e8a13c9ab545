/* site_part.h - the parts of the site sheet, among themselves. */
#ifndef DAEMON_REPORT_SITE_PART_H
#define DAEMON_REPORT_SITE_PART_H

#include "daemon/report/site.h"

/* Was it ever of this site? A serial that was only heard here is a neighbour's until
 * somebody learns it. */
bool site_belongs(const struct device *d);
/* Unlearned, or replaced on its zone. */
bool site_gone(const struct device *d);
/* "zone 5", else "serial 4A0071". */
const char *site_where(struct page *p, const struct device *d);
/* "LOW since 2026-10-01 08:15"; "since before" where it held already then. */
const char *site_holding(struct page *p, const char *what, const struct holding *h);

void site_bring(struct page *p, const struct site *s);
void site_devices(struct page *p, const struct site *s);
/* Nothing about an accepted serial asks for a look: as expected, in its zone, of its kind,
 * and known nowhere else. */
bool site_accepted_well(const struct verdict_item *x);
/* Learn sessions with each serial; what was planned and is missing. */
void site_sessions(struct page *p, const struct site *s);
/* The same measures two weeks before and after work that was done. */
void site_services(struct page *p, const struct site *s);

#endif
