/* settings.h - every rule and setting in force, with where each value comes from. */
#ifndef DAEMON_REPORT_SETTINGS_H
#define DAEMON_REPORT_SETTINGS_H

#include "daemon/report/html.h"
#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "daemon/store/store.h"
#include "rules/rule.h"

struct setting_now {
	const char *value;	/* as written, or the default as text; lent by the arena */
	const struct setting_row *from;	/* NULL = the default */
};

/* What holds for a device of that kind ("" = none) at that account: account= before
 * device= before group= before "*" before the default. account NULL: only "*". */
struct setting_now settings_resolve(struct arena *a, const char *rule, const struct setting *s,
    const struct setting_row *row, size_t n, const char *account, const char *group,
    const char *kind);
/* What holds of a setting of the store (override_of_the_store()), in its own unit. */
double settings_of_the_store(const struct rule *r, const char *name, const struct setting_row *row,
    size_t n);
/* "60 s" for a default. */
const char *settings_value(struct arena *a, double value, const char *unit);
/* "0.5 to 10", "0 or 30 to 36500". */
const char *settings_allowed(struct arena *a, const struct setting *s);

/* All rules (`only` NULL) or one. Rows that name no setting of ours are told too. */
void settings_text(struct page *p, const struct rule *only, const struct setting_row *row,
    size_t n);
void settings_csv(FILE *f, const struct rule *only, const struct setting_row *row, size_t n);
void settings_json(struct json *j, const struct rule *only, const struct setting_row *row,
    size_t n);
/* The table of one rule's settings, each with what changes it; nothing if it has none. */
void settings_html(struct html *h, const struct rule *r, const struct setting_row *row, size_t n);
/* Rows that change nothing, and why; nothing if all do. */
void settings_idle_html(struct html *h, const struct setting_row *row, size_t n);

#endif
