#include "daemon/judge.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/store/store.h"
#include "daemon/views.h"
#include "rules/activation.h"
#include "rules/arming.h"
#include "rules/rule.h"

enum { TOP = 10 };	/* devices of an account that stand in its load */

/* Signals of this long before the end of cover make an account's load. */
#define LOAD_SPAN (30 * DAY)

struct judged {
	struct findings findings;
	struct load_sum load[TOP + 1];
	size_t          n_load;
};

/* What keep() works with. */
struct saving {
	struct store               *s;
	const struct judge_options *o;
	int64_t                     wall_clock;
	size_t                      done, all;
};

/* ---- one account ----------------------------------------------------------- */

static int
by_alarms(const void *a, const void *b)
{
	const struct load_sum *x = a, *y = b;

	if (x->alarms != y->alarms)
		return x->alarms > y->alarms ? -1 : 1;
	if (x->activations != y->activations)
		return x->activations > y->activations ? -1 : 1;
	return (x->device > y->device) - (x->device < y->device);
}

/* Alarm signals that somebody had to handle are alarms outside tests, each activation
 * once; element 0 is the account's sum. */
static void
count_load(struct view *v, struct judged *j)
{
	struct load_sum *sum = arena_take(&v->arena, (v->n_device + 2) * sizeof *sum);
	struct activations list = { 0 };
	struct arming arming;
	size_t n = 1;

	arming_of(v, &v->arena, ARMING_TEST_MAX, ARMING_SESSION_MAX, &arming);
	sum[0].device = -1;
	for (size_t d = 0; d < v->n_device; d++) {
		struct load_sum *s = &sum[n];

		*s = (struct load_sum){ .device = (int32_t)d };
		activations_of(v, (int32_t)d, v->now - LOAD_SPAN, &list);
		for (size_t i = 0; i < list.n; i++) {
			s->activations++;
			s->alarms += list.one[i].alarm && !arming.of[list.one[i].event].test;
		}
		sum[0].alarms += s->alarms;
		sum[0].activations += s->activations;
		n += s->alarms > 0;
	}
	/* Alarms of the panel itself, such as a panic key, belong to no device. */
	for (size_t i = 0; i < v->n_event; i++) {
		const struct event *ev = &v->event[i];

		if (ev->device < 0 && ev->at >= v->now - LOAD_SPAN && !arming.of[i].test &&
		    !(ev->marks & MARK_STILL) && (word_properties((enum word)ev->word) & WP_ALARM))
			sum[0].alarms++;
	}
	activations_release(&list);
	qsort(sum + 1, n - 1, sizeof *sum, by_alarms);
	j->n_load = n < TOP + 1 ? n : TOP + 1;
	memcpy(j->load, sum, j->n_load * sizeof *sum);
}

static void *
judge(void *ctx, struct view *v, bool skip)
{
	struct judged *j = x_calloc(1, sizeof *j);

	(void)ctx;
	if (!skip) {
		rules_judge(v, NULL, &j->findings);
		count_load(v, j);
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
	if (store_save(to->s, v, &j->findings, j->load, j->n_load, to->wall_clock, e))
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
