/* findings.h - findings for programs: the JSON and CSV forms of FORMS.md. */
#ifndef DAEMON_REPORT_FINDINGS_H
#define DAEMON_REPORT_FINDINGS_H

#include <stdio.h>

#include "daemon/report/json.h"
#include "daemon/store/store.h"

/* Header row and one row a finding. */
void findings_csv(FILE *f, const struct stored_finding *finding, size_t n);
/* The member "findings":[...] of an object that is open. */
void findings_json(struct json *j, const struct stored_finding *finding, size_t n);
/* One decision as a member or list item; NULL gives null. */
void decision_json(struct json *j, const char *key, const struct stored_decision *d);

#endif
