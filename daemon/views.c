#include "daemon/views.h"

#include <pthread.h>
#include <stdlib.h>
#include <unistd.h>

#include "daemon/derive.h"
#include "daemon/store/store.h"
#include "parsers/tz.h"
#include "rules/view.h"

enum {
	WORKERS_MAX = 8,
	QUEUE       = 64,	/* judged accounts that may wait to be kept */
};

struct judged {
	struct view view;
	void       *result;
};

struct judging {
	const struct views_work *work;
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

static void
free_judged(const struct judging *g, struct judged *j)
{
	if (!j)
		return;
	if (j->result)
		g->work->drop(j->result);
	view_release(&j->view);
	free(j);
}

static int
judge_one(const struct judging *g, struct store *s, struct tz_set *zones, int64_t account,
    struct judged *j, struct err *e)
{
	bool skip;

	if (store_view_judge(s, account, g->as_of, &j->view, &skip, e))
		return -1;
	if (!skip)
		derive_local(&j->view, zones);
	j->result = g->work->judge(g->work->ctx, &j->view, skip);
	return 0;
}

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
	free_judged(g, j);
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
		if (judge_one(g, s, zones, account, j, &e)) {
			failed = true;
			free_judged(g, j);
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
keep_all(struct judging *g, struct err *e)
{
	struct judged *j;
	int rc = 0;

	while (rc == 0 && (j = next_ready(g)) != NULL) {
		rc = g->work->keep(g->work->ctx, &j->view, &j->result, e);
		free_judged(g, j);
	}
	if (rc == 0 && g->failed) {
		*e = g->fault;
		rc = -1;
	}
	return rc;
}

int
views_each(struct store *s, const int64_t *account, size_t n, int64_t as_of,
    const struct views_work *work_to_do, struct err *e)
{
	struct judging g = { .work = work_to_do, .path = store_path(s), .as_of = as_of,
	    .account = account, .n_account = n };
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
	    keep_all(&g, e);
	pthread_mutex_lock(&g.lock);
	g.stop = true;
	pthread_cond_broadcast(&g.change);
	pthread_mutex_unlock(&g.lock);
	for (int i = 0; i < made; i++)
		pthread_join(thread[i], NULL);
	for (; g.n_ready; g.n_ready--, g.first = (g.first + 1) % QUEUE)
		free_judged(&g, g.ready[g.first]);
	for (int i = 0; i < g.n_store; i++)
		store_close(g.store[i]);
	pthread_mutex_destroy(&g.lock);
	pthread_cond_destroy(&g.change);
	return rc;
}
