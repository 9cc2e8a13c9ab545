#include "daemon/lock.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/civil.h"

static void
read_holder(int fd, char *out, size_t size)
{
	ssize_t n = pread(fd, out, size - 1, 0);

	out[n < 0 ? 0 : n] = '\0';
	out[strcspn(out, "\n")] = '\0';
}

int
lock_take(const char *store, const char *who, struct err *e)
{
	struct arena a = { 0 };
	const char *path = arena_fmt(&a, "%s.lock", store);
	int fd = open(path, O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0660);
	char holder[64];
	int n;

	if (fd < 0) {
		err_set(e, ERR_IO, path, 0, "cannot make the lock: %s", strerror(errno));
		goto done;
	}
	if (flock(fd, LOCK_EX | LOCK_NB) != 0) {
		if (errno == EWOULDBLOCK) {
			read_holder(fd, holder, sizeof holder);
			err_set(e, ERR_STORE, store, 0, "is in the hands of another tripsift (%s); nothing "
			    "was done", *holder ? holder : "just starting");
		} else {
			err_set(e, ERR_IO, path, 0, "cannot lock: %s", strerror(errno));
		}
		close(fd);
		fd = -1;
		goto done;
	}
	n = snprintf(holder, sizeof holder, "%s, process %ld\n", who, (long)getpid());
	/* Only for people: the lock itself is the system's. */
	if (ftruncate(fd, 0) != 0 || pwrite(fd, holder, (size_t)n, 0) != n) {
		err_set(e, ERR_IO, path, 0, "cannot write: %s", strerror(errno));
		close(fd);
		fd = -1;
	}
done:
	arena_release(&a);
	return fd;
}

void
lock_beat(int lock)
{
	/* A sign that cannot be left is none. */
	if (futimens(lock, NULL) != 0)
		return;
}

int64_t
lock_beaten(const char *store)
{
	struct arena a = { 0 };
	struct stat st;
	int rc = stat(arena_fmt(&a, "%s.lock", store), &st);

	arena_release(&a);
	return rc ? NO_TIME : (int64_t)st.st_mtim.tv_sec * SECOND + st.st_mtim.tv_nsec / 1000000;
}

const char *
lock_holder(struct arena *a, const char *store)
{
	int fd = open(arena_fmt(a, "%s.lock", store), O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
	char holder[64] = "";

	if (fd < 0)
		return "";
	if (flock(fd, LOCK_SH | LOCK_NB) != 0)
		read_holder(fd, holder, sizeof holder);
	close(fd);
	return arena_fmt(a, "%s", holder);
}
