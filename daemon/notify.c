#include "daemon/notify.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "daemon/base/span.h"

int
notify(const char *fmt, ...)
{
	const char *path = getenv("NOTIFY_SOCKET");
	struct sockaddr_un to = { .sun_family = AF_UNIX };
	size_t n = path ? strlen(path) : 0;
	char text[512];
	va_list ap;
	int fd, len, rc;

	if (n < 2 || n >= sizeof to.sun_path || (path[0] != '/' && path[0] != '@'))
		return n ? -1 : 1;
	va_start(ap, fmt);
	len = vsnprintf(text, sizeof text, fmt, ap);
	va_end(ap);
	if (len < 0)
		return -1;
	if ((size_t)len >= sizeof text)
		len = sizeof text - 1;
	memcpy(to.sun_path, path, n);
	if (path[0] == '@')
		to.sun_path[0] = '\0';
	fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
	if (fd < 0)
		return -1;
	rc = sendto(fd, text, (size_t)len, MSG_NOSIGNAL | MSG_DONTWAIT, (struct sockaddr *)&to,
	    (socklen_t)(offsetof(struct sockaddr_un, sun_path) + n)) == len ? 0 : -1;
	close(fd);
	return rc;
}

int64_t
notify_watchdog_ms(void)
{
	const char *pid = getenv("WATCHDOG_PID");
	int64_t us, who;

	if (!span_to_int(span_of(getenv("WATCHDOG_USEC")), 1, INT64_MAX / 2, &us))
		return 0;
	if (pid && (!span_to_int(span_of(pid), 1, INT64_MAX / 2, &who) || who != getpid()))
		return 0;
	return us < 2000 ? 1 : us / 2000;
}

void
notify_reloading(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	notify("RELOADING=1\nMONOTONIC_USEC=%" PRId64,
	    (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000);
}
