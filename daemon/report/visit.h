/* visit.h - the sheet that a person signs when leaving a site; prints on 80 columns. */
#ifndef DAEMON_REPORT_VISIT_H
#define DAEMON_REPORT_VISIT_H

#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "rules/view.h"
#include "rules/visit.h"

void visit_text(struct page *p, struct view *v, const struct visit_check *x);
/* Members of an object that is open. */
void visit_json(struct json *j, const struct view *v, const struct visit_check *x);

#endif
