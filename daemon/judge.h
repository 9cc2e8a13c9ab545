/* judge.h - the accounts that are due, through every rule, into findings. */
#ifndef DAEMON_JUDGE_H
#define DAEMON_JUDGE_H

#include <signal.h>
#include <stdbool.h>
#include <stdint.h>

#include "daemon/base/err.h"

struct store;

struct judge_options {
	bool    all;		/* every account, not only those that are due */
	int64_t as_of;		/* NO_TIME = each account's end of cover */
	bool    progress;
	/* As in ingest.h: when it is to end soon, nothing has changed and -1 is given. */
	const volatile sig_atomic_t *stop;
	void  (*tick)(void *ctx, const char *doing, int percent);
	void   *tick_ctx;
};

/* One transaction: either all due accounts are judged and the accounts compared, or
 * nothing has changed. Views are built and judged on all cores, saved on one. */
int judge_due(struct store *s, const struct judge_options *o, int64_t *judged, int64_t *raised,
    int64_t *cleared, struct err *e);

#endif
