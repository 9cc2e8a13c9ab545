#include "daemon/loop.h"

#include <errno.h>
#include <poll.h>
#include <string.h>
#include <time.h>

/* The flags that signals set. */
static volatile sig_atomic_t stop, reload, status;

static void
on_signal(int sig)
{
	if (sig == SIGHUP)
		reload = 1;
	else if (sig == SIGUSR1)
		status = 1;
	else
		stop = 1;
}

static const int signals[] = { SIGTERM, SIGINT, SIGHUP, SIGUSR1 };
enum { SIGNALS = sizeof signals / sizeof *signals };

int
loop_init(struct err *e)
{
	struct sigaction sa = { .sa_handler = on_signal, .sa_flags = SA_RESTART };

	sigemptyset(&sa.sa_mask);
	for (int i = 0; i < SIGNALS; i++)
		if (sigaction(signals[i], &sa, NULL) != 0)
			return err_set(e, ERR_IO, NULL, 0, "sigaction: %s", strerror(errno));
	return 0;
}

enum wake
loop_wait(int fd, int64_t ms)
{
	struct pollfd p = { .fd = fd, .events = POLLIN };
	struct timespec t = { ms / 1000, ms % 1000 * 1000000 };
	sigset_t block, before;
	int n = 0;

	sigemptyset(&block);
	for (int i = 0; i < SIGNALS; i++)
		sigaddset(&block, signals[i]);
	sigprocmask(SIG_BLOCK, &block, &before);
	if (!stop && !reload && !status)
		n = ppoll(&p, fd >= 0, &t, &before);
	sigprocmask(SIG_SETMASK, &before, NULL);
	if (stop)
		return WAKE_STOP;
	if (reload) {
		reload = 0;
		return WAKE_RELOAD;
	}
	if (status) {
		status = 0;
		return WAKE_STATUS;
	}
	return n > 0 ? WAKE_INPUT : WAKE_TIME;
}

const volatile sig_atomic_t *
loop_stop(void)
{
	return &stop;
}

int64_t
loop_now(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}
