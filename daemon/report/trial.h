/* trial.h - what other settings would find, beside what today's find. */
#ifndef DAEMON_REPORT_TRIAL_H
#define DAEMON_REPORT_TRIAL_H

#include "daemon/report/json.h"
#include "daemon/report/text.h"
#include "daemon/store/store.h"
#include "rules/rule.h"

/* One setting on trial, in the setting's own unit. */
struct trial_set {
	const struct rule    *rule;
	const struct setting *setting;
	double                value;
	double                today;	/* what is in force for all accounts (scope *) */
};

/* How one rule fares: findings over the whole history, and how many of them are open. */
struct trial_rule {
	size_t today, trial, gained, lost, same;
	size_t open_today, open_trial;
};

/* One run under other settings against today's. Of the findings, those that give `state` as
 * "open" or "cleared", without id and decisions; worst first. */
struct trial_diff {
	double                 value;		/* of what is swept */
	struct trial_rule     *rule;		/* as rule_table */
	struct stored_finding *gained, *lost;
	size_t                 n_gained, n_lost;
	/* Findings of life safety that stay, but would stand at a lower level or as cleared. */
	struct stored_finding *lowered;
	size_t                 n_lowered;
};

struct trial {
	/* What is asked: */
	struct trial_set      *set;
	size_t                 n_set;
	struct trial_set      *sweep;		/* NULL, or the setting that takes the values below */
	const double          *value;
	size_t                 n_value;
	const char            *scope;		/* "*", "group=...", ... */
	/* What is counted and listed; what goes of life safety is listed all the same. */
	const struct rule     *only;		/* NULL = all */
	const char            *account;		/* NULL = all */
	size_t                 limit;		/* lines in either list of the text; 0 = all */
	/* What came of it: */
	size_t                 n_account;	/* judged */
	struct trial_diff     *diff;		/* one, or one for each value */
	size_t                 n_diff;
};

/* Findings of life safety among the lost ones. */
size_t trial_lost_life(const struct trial_diff *d);

void trial_text(struct page *p, const struct trial *t);
void trial_csv(FILE *f, const struct trial *t);
void trial_json(struct json *j, const struct trial *t);

#endif
