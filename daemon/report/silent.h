/* silent.h - what must not be read off a sheet that is left in a house.
 *
 * Who forced somebody to disarm may find the sheet: duress, silent panic and hold-up
 * stand on it only as SILENT_TEXT. When in doubt, a thing is held silent.
 */
#ifndef DAEMON_REPORT_SILENT_H
#define DAEMON_REPORT_SILENT_H

#include "daemon/store/store.h"
#include "rules/view.h"

#define SILENT_TEXT "silent signal: ask the station"

/* A panic or hold-up button, or any device that ever sent such a signal. */
bool silent_device(const struct view *v, int32_t device);
/* Is the event itself such a signal, such as a duress code given at the panel? */
bool silent_event(const struct view *v, uint32_t event);
/* Does a text speak of such a signal? */
bool silent_text(const char *text);
/* Does it, or does it name such a device by its label or serial? */
bool silent_names(struct view *v, const char *text);
/* Is the finding about such a device or signal? */
bool silent_finding(struct view *v, const struct stored_finding *f);
/* Of a row of evidence: may it stand there, must it not, or is it not in the view, so that
 * nobody can tell any more? */
enum silent_row { SILENT_ROW_SHOWN, SILENT_ROW_HIDDEN, SILENT_ROW_UNKNOWN };
enum silent_row silent_evidence(struct view *v, const struct stored_evidence *e);
/* device_label(), or "zone 9 (silent signal: ask the station)". In the view's arena. */
const char *silent_label(struct view *v, int32_t device);

#endif
