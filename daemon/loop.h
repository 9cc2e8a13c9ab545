/* loop.h - why the daemon wakes: a signal, something in a folder, or time.
 *
 * Signals set a flag, whenever they come. They are blocked between looking at the flags and
 * going to sleep, so that none is slept over. Long work looks at loop_stop() by itself.
 */
#ifndef DAEMON_LOOP_H
#define DAEMON_LOOP_H

#include <signal.h>
#include <stdint.h>

#include "daemon/base/err.h"

enum wake {
	WAKE_STOP,	/* SIGTERM, SIGINT */
	WAKE_RELOAD,	/* SIGHUP */
	WAKE_STATUS,	/* SIGUSR1 */
	WAKE_INPUT,	/* the descriptor has something to read */
	WAKE_TIME,
};

int loop_init(struct err *e);
/* The next reason; each signal is told once, but WAKE_STOP again and again. `fd` -1 =
 * none. `ms` is at most how long it sleeps, 0 = it only looks. */
enum wake loop_wait(int fd, int64_t ms);
/* Nonzero once the daemon is to end. */
const volatile sig_atomic_t *loop_stop(void);
/* Monotonic clock, ms. */
int64_t loop_now(void);

#endif
