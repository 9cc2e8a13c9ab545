/* explain.h - one finding with everything it rests on. */
#ifndef DAEMON_REPORT_EXPLAIN_H
#define DAEMON_REPORT_EXPLAIN_H

#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "daemon/store/store.h"
#include "rules/repair.h"

/* All borrowed. */
struct explain {
	const struct stored_finding  *finding;
	const char *const            *member;	/* its members in words; NULL = as they are */
	const char                   *kind;	/* of its device, "" = none or unknown */
	const struct setting_row     *setting;
	size_t                        n_setting;
	const struct stored_decision *decision;	/* oldest first */
	size_t                        n_decision;
	const struct repair          *work;	/* on its device, or on the whole site; oldest first */
	size_t                        n_work;
};

void explain_text(struct page *p, const struct explain *x);
void explain_json(struct json *j, const struct explain *x);

#endif
