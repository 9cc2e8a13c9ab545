/* visit_part.h - what stands on the visit sheet, for its text and its page alike. Nothing of
 * it names a silent signal (silent.h). Texts are lent by the page. */
#ifndef DAEMON_REPORT_VISIT_PART_H
#define DAEMON_REPORT_VISIT_PART_H

#include "daemon/report/lines.h"
#include "daemon/report/visit.h"

#define VISIT_COMPLETE "ENROLMENT COMPLETE BY THE LOG. Not a functional test."
#define VISIT_REMAINS "NOT COMPLETE BY THE LOG. What remains:"
#define VISIT_NO_LIST "There is no list to hold the log against."
#define VISIT_NOTHING_OPEN \
	"Nothing: no bypass, tamper, trouble, programming session or test."

/* To be ticked by hand, for the whole visit and for each device. */
enum { VISIT_BOXES = 4, VISIT_DEVICE_BOXES = 3 };
extern const char *const visit_boxes[VISIT_BOXES], *const visit_device_boxes[VISIT_DEVICE_BOXES];

struct visit_head { const char *visit, *against, *log; };
void visit_head(struct page *p, const struct view *v, const struct visit_check *x,
    struct visit_head *out);
/* "3 of 4 done by the log" */
const char *visit_expected(struct page *p, const struct visit_check *x);
/* Learned, heard since, and what it replaces is out. */
bool visit_device_done(const struct visit_device *d);
/* "hall, smoke detector, LIFE SAFETY"; or that it is not to be named. */
const char *visit_named(struct page *p, const struct view *v, const struct visit_device *d);
/* "4A0071", "no serial"; "" = a silent signal's is kept back, as on the site sheet. */
const char *visit_serial(const struct view *v, const struct visit_device *d);
const char *visit_device_state(struct page *p, struct view *v, const struct visit_device *d);
/* "replaces 4A0071: taken out"; NULL = it replaces nothing. */
const char *visit_device_old(struct page *p, const struct view *v,
    const struct visit_device *d);
const char *visit_extra_text(struct page *p, const struct view *v, const struct visit_extra *e);
void visit_refused(struct lines *out, struct view *v, const struct visit_check *x);
void visit_waits(struct lines *out, struct view *v, const struct visit_check *x);
const char *visit_open_text(struct page *p, struct view *v, const struct visit_open *o);
/* A sentence of the check as it may stand on a sheet that is left in a house. */
const char *visit_unnamed(struct view *v, const char *text);

#endif
