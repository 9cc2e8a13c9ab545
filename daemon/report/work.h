/* work.h - measures before and after work that was done, as text and JSON. */
#ifndef DAEMON_REPORT_WORK_H
#define DAEMON_REPORT_WORK_H

#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "rules/repair.h"

/* Two rows, before and after, indented by four. */
void work_table(struct page *p, const struct repair *x);
/* One object of a list: time, what, who, before, after. */
void work_json(struct json *j, const struct repair *x);

#endif
