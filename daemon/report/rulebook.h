/* rulebook.h - every rule as a page: what it fires on, its settings in force, how often it
 * fired here, and what was measured of it: rules.html.
 *
 * What a rule fires on, its levels, look-alikes and when it clears come from the table of
 * rules/RULES.md, the measured numbers from rules/SCORE.md; both are built in.
 */
#ifndef DAEMON_REPORT_RULEBOOK_H
#define DAEMON_REPORT_RULEBOOK_H

#include "daemon/report/html.h"
#include "daemon/store/store.h"
#include "rules/rule.h"

struct rulebook {
	const struct rule        *only;		/* NULL = all */
	const struct setting_row *row;		/* settings that files changed; borrowed */
	size_t                    n_row;
	const struct rule_count  *count;	/* borrowed */
	size_t                    n_count;
	int64_t                   at;		/* wall clock */
	bool                      beside;	/* the other pages of the night lie beside it */
};

void rulebook_html(struct page *p, const struct rulebook *b);

#endif
