#include "daemon/judge.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/counting.h"
#include "daemon/store/store.h"
#include "daemon/views.h"
#include "rules/rule.h"

struct judged {
	struct findings findings;
	struct signals  signals;	/* in the view's memory */
};

/* What keep() works with. */
struct saving {
	struct store               *s;
	const struct judge_options *o;
	int64_t                     wall_clock;
	size_t                      done, all;
};

/* ---- one account ----------------------------------------------------------- */

static void *
judge(void *ctx, struct view *v, bool skip)
{
	struct judged *j = x_calloc(1, sizeof *j);

	(void)ctx;
	if (!skip) {
		rules_judge(v, NULL, &j->findings);
		counting_of(v, &j->signals);
	}
	return j;
}

static void
drop(void *result)
{
	struct judged *j = result;

	findings_release(&j->findings);
	free(j);
}

/* ---- all of them ------------------------------------------------------------ */

static int
save(void *ctx, struct view *v, void **result, struct err *e)
{
	struct saving *to = ctx;
	const struct judge_options *o = to->o;
	struct judged *j = *result;

	if (o->stop && *o->stop)
		return err_set(e, ERR_IO, NULL, 0, "stopped while judging; it is begun anew");
	if (store_save(to->s, v, &j->findings, &j->signals, to->wall_clock, e))
		return -1;
	to->done++;
	if (o->tick)
		o->tick(o->tick_ctx, "judging", (int)(to->done * 100 / to->all));
	if (o->progress && to->done % 1000 == 0)
		fprintf(stderr, "\rjudging: %zu of %zu accounts", to->done, to->all);
	return 0;
}

static int
judge_accounts(struct store *s, const struct judge_options *o, const int64_t *account, size_t n,
    int64_t wall_clock, struct err *e)
{
	struct saving to = { s, o, wall_clock, 0, n };
	struct views_work work = { &to, judge, save, drop };
	int rc = views_each(s, account, n, o->as_of, &work, e);

	if (o->progress && to.done >= 1000)
		fputs("\r\033[K", stderr);
	return rc;
}

int
judge_due(struct store *s, const struct judge_options *o, int64_t *judged, int64_t *raised,
    int64_t *cleared, struct err *e)
{
	struct arena a = { 0 };
	struct timespec t;
	int64_t due = 1, *account = NULL, wall_clock, open[2] = { 0, 0 }, gone[2] = { 0, 0 };
	size_t n = 0;
	int rc;

	*judged = *raised = *cleared = 0;
	/* Nobody waits for a turn to write in order to do nothing. */
	if (!o->all && (store_count_due(s, &due, e) || due == 0))
		return due ? -1 : 0;
	clock_gettime(CLOCK_REALTIME, &t);
	wall_clock = (int64_t)t.tv_sec * SECOND + t.tv_nsec / 1000000;
	if (store_begin(s, e))
		return -1;
	rc = store_count_findings(s, &open[0], &gone[0], e) || store_due(s, o->all, &a, &account, &n, e);
	if (rc == 0 && n)
		rc = judge_accounts(s, o, account, n, wall_clock, e) ||
		    store_fleet(s, wall_clock, e) || store_count_findings(s, &open[1], &gone[1], e);
	if (rc == 0)
		rc = store_commit(s, e);
	if (rc)
		store_abort(s);
	arena_release(&a);
	if (rc)
		return -1;
	*judged = (int64_t)n;
	*cleared = n && gone[1] > gone[0] ? gone[1] - gone[0] : 0;
	*raised = n ? open[1] - open[0] + *cleared : 0;
	return 0;
}
