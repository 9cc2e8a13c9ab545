/* site_html.h - the site sheet as a page: for a phone at the door, and for paper.
 *
 * It says what site_text() says, with the last two months as a picture (timeline.h) and the
 * rows of evidence besides. It may be left in a house: see silent.h.
 */
#ifndef DAEMON_REPORT_SITE_HTML_H
#define DAEMON_REPORT_SITE_HTML_H

#include "daemon/report/html.h"
#include "daemon/report/site.h"

struct site_page {
	bool        beside;	/* it lies in site/ beside the other pages of a night */
	const char *visit;	/* the visit sheet as seen from here; NULL = none */
	int64_t     at;		/* wall clock of the writing; NO_TIME = not told */
};

void site_html(struct page *p, const struct site *s, const struct site_page *o);

/* ---- shared with the visit sheet ---- */

void site_cautions_html(struct html *h, const struct view *v);
/* A row of <dl class="facts">; NULL = none. */
void site_fact_html(struct html *h, const char *name, const char *text);
/* The serial, what differs from the other one marked; `against` NULL = nothing marked. */
void site_serial_html(struct html *h, const char *serial, const char *against);

#endif
