/* site.h - one site's sheet, for a technician before a visit and at the door. */
#ifndef DAEMON_REPORT_SITE_H
#define DAEMON_REPORT_SITE_H

#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "daemon/store/store.h"
#include "rules/losses.h"
#include "rules/state.h"
#include "rules/verdict.h"
#include "rules/view.h"

struct site {
	struct view                 *v;		/* finished, borrowed */
	const struct stored_finding *finding;	/* the account's open ones, in order, borrowed */
	size_t                       n_finding;
	bool                         looking_back;	/* --as-of: set after site_build() */
	struct state                 state;	/* the rest is filled by site_build() */
	struct losses                losses;
	struct sessions              sessions;
	struct verdicts              verdicts;
	int32_t                     *order;	/* devices as listed: by zone, newest on it first */
};

/* Derives what the sheet shows; memory is the view's arena. */
void site_build(struct site *s, struct view *v, const struct stored_finding *finding, size_t n);
void site_text(struct page *p, const struct site *s);
/* Members of an object that is open: "findings", then what the sheet adds. */
void site_json(struct json *j, const struct site *s);

/* Used by the visit sheet too: cautions that every sheet for work on a site begins with. */
enum { SITE_CAUTIONS = 5 };
size_t site_caution_texts(const struct view *v, const char *out[SITE_CAUTIONS]);
void site_cautions(struct page *p, const struct view *v);
/* The same as the member "cautions" of an object that is open. */
void site_cautions_json(struct json *j, const struct view *v);

#endif
