/* notify.h - telling a service manager how the daemon is.
 *
 * The published protocol (sd_notify(3)): one datagram of VARIABLE=VALUE lines to the
 * socket that $NOTIFY_SOCKET names, an absolute path or @ and an abstract name. Nothing
 * happens where it is not set.
 */
#ifndef DAEMON_NOTIFY_H
#define DAEMON_NOTIFY_H

#include <stdint.h>

/* Failing to tell stops nothing: 0 sent, 1 nobody asked, -1 not sent. */
int notify(const char *fmt, ...) __attribute__((format(printf, 1, 2)));
/* How often WATCHDOG=1 must come, ms: half of what the manager waits ($WATCHDOG_USEC, when
 * $WATCHDOG_PID is us or not set). 0 = never. */
int64_t notify_watchdog_ms(void);
/* RELOADING=1 with the monotonic clock, as the service manager wants it. */
void notify_reloading(void);

#endif
