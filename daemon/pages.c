#include "daemon/pages.h"

#include "daemon/report/rulebook.h"
#include "daemon/report/trend.h"

enum { OFFENDERS = 10 };	/* devices, as triage shows */

int
pages_trend(struct store *s, struct page *p, int64_t now,
    const struct html_sites *sites, struct err *e)
{
	struct trend t;
	struct case_times *times;
	struct load_row *load;
	struct work_row *work;
	int64_t end;
	size_t n;
	int rc = -1;

	if (store_now(s, &end, e))
		return -1;
	trend_init(&t, &p->arena, end, now);
	t.sites = *sites;
	if (store_weeks(s, trend_account, &t, e) == 0 &&
	    store_case_times(s, &p->arena, &times, &n, e) == 0 &&
	    store_load(s, OFFENDERS, &p->arena, &load, &t.n_load, &t.all_alarms, &t.all_activations,
	    e) == 0 && store_works(s, &p->arena, &work, &t.n_work, e) == 0) {
		trend_cases(&t, times, n);
		t.load = load;
		t.work = work;
		trend_html(p, &t);
		rc = 0;
	}
	trend_release(&t);
	return rc;
}

int
pages_rules(struct store *s, struct page *p, int64_t now, struct err *e)
{
	struct rulebook b = { .at = now, .beside = true };
	struct setting_row *row;
	struct rule_count *count;

	if (store_settings(s, &p->arena, &row, &b.n_row, e) < 0 ||
	    store_rule_counts(s, &p->arena, &count, &b.n_count, e) < 0)
		return -1;
	b.row = row;
	b.count = count;
	rulebook_html(p, &b);
	return 0;
}
