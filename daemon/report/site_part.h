/* site_part.h - the parts of the site sheet, among themselves. */
#ifndef DAEMON_REPORT_SITE_PART_H
#define DAEMON_REPORT_SITE_PART_H

#include "daemon/report/lines.h"
#include "daemon/report/notes.h"
#include "daemon/report/site.h"
#include "rules/repair.h"

/* Was it ever of this site? A serial that was only heard here is a neighbour's until
 * somebody learns it. */
bool site_belongs(const struct device *d);
/* Unlearned, or replaced on its zone. */
bool site_gone(const struct device *d);
/* "zone 5", else "serial 4A0071". */
const char *site_where(struct page *p, const struct device *d);
/* "LOW since 2026-10-01 08:15"; "since before" where it held already then. */
const char *site_holding(struct page *p, const char *what, const struct holding *h);

/* ---- what stands on the sheet, as text and as a page of HTML alike ---------------- */

#define SITE_NOTHING_OPEN "Nothing is open. What no export covers is not known."
#define SITE_NO_SESSION "None in what is covered."

/* Cautions of the findings, by letter. */
void site_notes(const struct site *s, struct notes *out);
struct site_head { const char *covered, *heard, *clock, *as_of; };	/* as_of NULL: it is not */
void site_head(struct page *p, const struct site *s, struct site_head *out);
void site_bring(struct lines *out, const struct site *s);
/* Of the finding at that place of the list. Not for a silent one (silent_finding()). */
void site_checks(struct lines *out, const struct site *s, size_t i);
const char *site_facts(struct page *p, const struct site *s, const struct notes *notes, size_t i);
void site_troubles(struct lines *out, const struct site *s);
/* "hall, smoke detector, serial 4A0071, LIFE SAFETY". */
const char *site_device_line(struct page *p, const struct device *d);
/* "heard 2026-10-01 08:15; no low cell told; ...". */
const char *site_device_state(struct page *p, const struct site *s, int32_t device);
/* Of one that is gone: "before: contact, serial 4A0071, taken out 2026-10-01 08:15". */
const char *site_device_gone(struct page *p, const struct device *d);
/* Activations on each of the last 30 days, oldest first; -1 = no export covers it and none
 * is known. Returns the date of the last one, in days since 1970-01-01. */
int64_t site_device_days(struct page *p, const struct site *s, int32_t device,
    int32_t day[STATE_DAYS]);
/* What else is to be said of devices: strangers, serials easily mistaken. */
void site_device_notes(struct lines *out, const struct site *s);
/* Nothing about an accepted serial asks for a look: as expected, in its zone, of its kind,
 * and known nowhere else. */
bool site_accepted_well(const struct verdict_item *x);
/* So many of the oldest are not shown. */
size_t site_sessions_left_out(const struct site *s);
size_t site_services_left_out(const struct site *s);
const char *site_session_head(struct page *p, const struct site *s, size_t i);
/* Is the session's k-th accepted serial not to be named but by itself? */
bool site_session_silent(const struct site *s, size_t i, size_t k);
const char *site_session_refused(struct page *p, const struct session *x);	/* "" = none */
/* Planned and not there. */
void site_missing(struct lines *out, const struct site *s);
/* What was done, without its time; NULL: a silent signal. *x is filled. */
const char *site_service(struct page *p, const struct site *s, size_t i, struct repair *x);

/* ---- as text ----------------------------------------------------------------------- */

void site_devices(struct page *p, const struct site *s);
/* Learn sessions with each serial; what was planned and is missing. */
void site_sessions(struct page *p, const struct site *s);
/* The same measures two weeks before and after work that was done. */
void site_services(struct page *p, const struct site *s);

#endif
