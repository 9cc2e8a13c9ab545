#include "daemon/judge.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "daemon/derive.h"
#include "daemon/store/store.h"
#include "parsers/tz.h"
#include "rules/activation.h"
#include "rules/arming.h"
#include "rules/rule.h"

enum {
	WORKERS_MAX = 8,
	QUEUE       = 64,	/* judged accounts that may wait to be saved */
	TOP         = 10,	/* devices of an account that stand in its load */
};

/* Signals of this long before the end of cover make an account's load. */
#define LOAD_SPAN (30 * DAY)

struct judged {
	int64_t         account;
	struct view     view;
	struct findings findings;
	struct load_sum load[TOP + 1];
	size_t          n_load;
	bool            skip;
};

struct judging {
	const char     *path;
	int64_t         as_of;
	const int64_t  *account;
	size_t          n_account, next;
	struct judged  *ready[QUEUE];	/* a ring */
	size_t          n_ready, first;
	int             workers;
	struct store   *store[WORKERS_MAX];	/* stay open: views borrow from them */
	int             n_store;
	bool            stop;
	struct err      fault;
	bool            failed;
	pthread_mutex_t lock;
	pthread_cond_t  change;
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
count_load(struct judged *j)
{
	struct view *v = &j->view;
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

static int
judge_one(struct store *s, struct tz_set *zones, struct judged *j, int64_t as_of, struct err *e)
{
	if (store_view_judge(s, j->account, as_of, &j->view, &j->skip, e))
		return -1;
	if (!j->skip) {
		derive_local(&j->view, zones);
		rules_judge(&j->view, NULL, &j->findings);
		count_load(j);
	}
	return 0;
}

static void
free_judged(struct judged *j)
{
	if (!j)
		return;
	view_release(&j->view);
	findings_release(&j->findings);
	free(j);
}

/* ---- workers --------------------------------------------------------------- */

/* Takes the next account; hands `j` over when it is not NULL. False: nothing is left. */
static bool
next_account(struct judging *g, struct judged *j, int64_t *account)
{
	bool more;

	pthread_mutex_lock(&g->lock);
	while (j && g->n_ready == QUEUE && !g->stop)
		pthread_cond_wait(&g->change, &g->lock);
	if (j && !g->stop) {
		g->ready[(g->first + g->n_ready++) % QUEUE] = j;
		j = NULL;
		pthread_cond_broadcast(&g->change);
	}
	more = !g->stop && g->next < g->n_account;
	if (more)
		*account = g->account[g->next++];
	pthread_mutex_unlock(&g->lock);
	free_judged(j);
	return more;
}

static void *
work(void *judging)
{
	struct judging *g = judging;
	struct err e;
	struct store *s = store_open(g->path, STORE_READ, NULL, &e);
	struct tz_set *zones = tz_set_open();
	struct judged *j = NULL;
	int64_t account;
	bool failed = !s;

	while (!failed && next_account(g, j, &account)) {
		j = x_calloc(1, sizeof *j);
		j->account = account;
		if (judge_one(s, zones, j, g->as_of, &e)) {
			failed = true;
			free_judged(j);
		}
	}
	pthread_mutex_lock(&g->lock);
	if (s)
		g->store[g->n_store++] = s;
	if (failed && !g->failed) {
		g->failed = true;
		g->fault = e;
	}
	g->workers--;
	pthread_cond_broadcast(&g->change);
	pthread_mutex_unlock(&g->lock);
	tz_set_close(zones);
	return NULL;
}

/* The next judged account, in no particular order; NULL: all are done, or one failed. */
static struct judged *
next_ready(struct judging *g)
{
	struct judged *j = NULL;

	pthread_mutex_lock(&g->lock);
	while (g->n_ready == 0 && g->workers > 0 && !g->failed)
		pthread_cond_wait(&g->change, &g->lock);
	if (g->n_ready && !g->failed) {
		j = g->ready[g->first];
		g->first = (g->first + 1) % QUEUE;
		g->n_ready--;
		pthread_cond_broadcast(&g->change);
	}
	pthread_mutex_unlock(&g->lock);
	return j;
}

static int
save_all(struct store *s, struct judging *g, const struct judge_options *o, int64_t wall_clock,
    struct err *e)
{
	struct judged *j;
	size_t done = 0;
	int rc = 0;

	while (rc == 0 && (j = next_ready(g)) != NULL) {
		if (o->stop && *o->stop) {
			free_judged(j);
			return err_set(e, ERR_IO, NULL, 0, "stopped while judging; it is begun anew");
		}
		rc = store_save(s, &j->view, &j->findings, j->load, j->n_load, wall_clock, e);
		free_judged(j);
		done++;
		if (o->tick)
			o->tick(o->tick_ctx, "judging", (int)(done * 100 / g->n_account));
		if (o->progress && done % 1000 == 0)
			fprintf(stderr, "\rjudging: %zu of %zu accounts", done, g->n_account);
	}
	if (o->progress && done >= 1000)
		fputs("\r\033[K", stderr);
	if (rc == 0 && g->failed) {
		*e = g->fault;
		rc = -1;
	}
	return rc;
}

static int
judge_accounts(struct store *s, const struct judge_options *o, const int64_t *account, size_t n,
    int64_t wall_clock, struct err *e)
{
	struct judging g = { .path = store_path(s), .as_of = o->as_of, .account = account,
	    .n_account = n };
	pthread_t thread[WORKERS_MAX];
	long cores = sysconf(_SC_NPROCESSORS_ONLN);
	int want = cores < 1 ? 1 : cores > WORKERS_MAX ? WORKERS_MAX : (int)cores, made = 0, rc;

	if ((size_t)want > n)
		want = (int)n;
	pthread_mutex_init(&g.lock, NULL);
	pthread_cond_init(&g.change, NULL);
	g.workers = want;
	for (; made < want; made++)
		if (pthread_create(&thread[made], NULL, work, &g))
			break;
	pthread_mutex_lock(&g.lock);
	g.workers -= want - made;
	pthread_mutex_unlock(&g.lock);
	rc = n && made == 0 ? err_set(e, ERR_IO, NULL, 0, "cannot start a thread") :
	    save_all(s, &g, o, wall_clock, e);
	pthread_mutex_lock(&g.lock);
	g.stop = true;
	pthread_cond_broadcast(&g.change);
	pthread_mutex_unlock(&g.lock);
	for (int i = 0; i < made; i++)
		pthread_join(thread[i], NULL);
	for (; g.n_ready; g.n_ready--, g.first = (g.first + 1) % QUEUE)
		free_judged(g.ready[g.first]);
	for (int i = 0; i < g.n_store; i++)
		store_close(g.store[i]);
	pthread_mutex_destroy(&g.lock);
	pthread_cond_destroy(&g.change);
	return rc;
}

int
judge_due(struct store *s, const struct judge_options *o, int64_t *judged, int64_t *raised,
    int64_t *cleared, struct err *e)
{
	struct arena a = { 0 };
	struct timespec t;
	int64_t *account = NULL, wall_clock, open[2] = { 0, 0 }, gone[2] = { 0, 0 };
	size_t n = 0;
	int rc;

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
