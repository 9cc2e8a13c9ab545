/* test_report.h - the panel's own test reports, and whether they still come.
 *
 * Of the rule test-report-missed, with its settings; for the rules that tell a cause of
 * which missed reports are a part.
 */
#ifndef RULES_TEST_REPORT_H
#define RULES_TEST_REPORT_H

#include "rules/rule.h"

enum { TEST_REPORT_GAPS = 32 };

struct test_reports {
	uint32_t event[TEST_REPORT_GAPS + 1];	/* the newest reports, newest first */
	size_t   n;
	int64_t  interval;	/* learned, in ms */
	long     missed;	/* that were due inside cover since the last one */
};

/* True if as many were missed as the rule asks for. */
bool test_reports_missed(const struct view *v, struct test_reports *out);

#endif
