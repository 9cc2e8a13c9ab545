/* visit_html.h - the visit sheet as a page: to print on one sheet of paper and to sign.
 *
 * It says what visit_text() says. It may be left in a house: see silent.h.
 */
#ifndef DAEMON_REPORT_VISIT_HTML_H
#define DAEMON_REPORT_VISIT_HTML_H

#include "daemon/report/text.h"
#include "rules/visit.h"

struct visit_page {
	bool        beside;	/* it lies in visit/ beside the other pages of a night */
	const char *site;	/* the site sheet as seen from here; NULL = none */
	int64_t     at;		/* wall clock of the writing; NO_TIME = not told */
};

void visit_html(struct page *p, struct view *v, const struct visit_check *x,
    const struct visit_page *o);

#endif
