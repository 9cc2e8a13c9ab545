/* trend.h - how it went over the weeks, for who plans the work: trend.html.
 *
 * Signals and findings by week, rule and group; which devices make the work; alarms of an
 * account and year; how long findings wait for people; the same measures before and after
 * work. Every drawing has its numbers in a table beside it. What stands here are counts
 * that were kept while judging: no event is read.
 */
#ifndef DAEMON_REPORT_TREND_H
#define DAEMON_REPORT_TREND_H

#include "daemon/report/html.h"
#include "daemon/store/store.h"
#include "rules/rule.h"

enum {
	TREND_WEEKS = 26,	/* half a year, the week that has begun the last */
	TREND_GROUPS = 30,	/* groups shown, those with the most activations; the rest is one row */
	TREND_ACCOUNTS = 20,	/* accounts shown, those with the most alarms a year */
	TREND_WORKS = 20,	/* works shown, the newest */
};

/* A rate needs some time behind it: four weeks. Common practice, no source. */
#define TREND_COVERED (28 * 24 * 60)	/* minutes */

struct trend_week {
	int64_t covered;	/* minutes of all accounts */
	int64_t activations, alarms, life;
	int64_t begun, cleared;	/* findings */
};

struct trend_group {
	const char       *name;		/* "" = none given */
	int64_t           accounts;
	struct trend_week week[TREND_WEEKS];
};

struct trend_account {
	const char *account, *site_name, *group;
	int64_t     covered, alarms, life;	/* over all weeks that are kept */
};

struct trend_rule {
	const struct rule *rule;
	struct trend_week  week[TREND_WEEKS];	/* findings only */
	int64_t            all, open;
	double            *decided, *cleared, *settled;	/* ms: new to decided, begun to cleared, decided
							 * to cleared */
	size_t             n_decided, n_cleared, n_settled;
};

struct trend {
	struct arena         *arena;
	int64_t               at;		/* wall clock, when the page is written */
	int64_t               monday;		/* of the first week shown, days since 1970 UTC */
	struct trend_week     week[TREND_WEEKS];
	struct trend_group   *group;		/* heap */
	size_t                n_group, cap_group;
	struct trend_account *account;		/* heap */
	size_t                n_account, cap_account;
	struct trend_rule    *rule;		/* rule_count of them; arena */
	/* Filled by the caller, borrowed. */
	const struct load_row *load;		/* triage's: the devices with the most alarms */
	size_t                n_load;
	int64_t               all_alarms, all_activations;
	const struct work_row *work;		/* newest first */
	size_t                n_work;
	struct html_sites     sites;
};

/* `now`: the latest end of cover; NO_TIME = nothing is covered. trend_release() when done. */
void trend_init(struct trend *t, struct arena *a, int64_t now, int64_t at);
void trend_release(struct trend *t);
/* As store_weeks() calls it; ctx is the trend. */
int trend_account(void *ctx, const struct account_weeks *w);
/* After all accounts: which groups there are is known by then. */
void trend_cases(struct trend *t, const struct case_times *list, size_t n);
void trend_html(struct page *p, struct trend *t);

#endif
