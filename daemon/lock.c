#include "daemon/lock.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/civil.h"

enum { LOCK_TEXT = 512 };	/* both lines; a longer one is cut */

static void
read_lock(int fd, char out[static LOCK_TEXT])
{
	ssize_t n = pread(fd, out, LOCK_TEXT - 1, 0);

	out[n < 0 ? 0 : n] = '\0';
}

int
lock_take(const char *store, const char *who, struct err *e)
{
	struct arena a = { 0 };
	const char *path = arena_fmt(&a, "%s.lock", store);
	int fd = open(path, O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0660);
	char holder[LOCK_TEXT];
	int n;

	if (fd < 0) {
		err_set(e, ERR_IO, path, 0, "cannot make the lock: %s", strerror(errno));
		goto done;
	}
	if (flock(fd, LOCK_EX | LOCK_NB) != 0) {
		if (errno == EWOULDBLOCK) {
			read_lock(fd, holder);
			holder[strcspn(holder, "\n")] = '\0';
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
lock_beat(int lock, const char *doing)
{
	char text[LOCK_TEXT];
	size_t first, n;

	read_lock(lock, text);
	first = strcspn(text, "\n") + 1;
	n = strcspn(doing, "\n");
	if (n > LOCK_TEXT - 1 - first)
		n = LOCK_TEXT - 1 - first;
	/* A sign that cannot be left is none. */
	if (pwrite(lock, doing, n, (off_t)first) != (ssize_t)n ||
	    ftruncate(lock, (off_t)(first + n)) != 0 || futimens(lock, NULL) != 0)
		return;
}

struct lock_look
lock_look(struct arena *a, const char *store)
{
	struct lock_look out = { .holder = "", .doing = "", .beat = NO_TIME };
	int fd = open(arena_fmt(a, "%s.lock", store), O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
	char text[LOCK_TEXT];
	struct stat st;

	if (fd < 0)
		return out;
	if (fstat(fd, &st) == 0)
		out.beat = (int64_t)st.st_mtim.tv_sec * SECOND + st.st_mtim.tv_nsec / 1000000;
	if (flock(fd, LOCK_SH | LOCK_NB) != 0) {
		size_t n;

		read_lock(fd, text);
		n = strcspn(text, "\n");
		out.holder = arena_fmt(a, "%.*s", (int)n, text);
		out.doing = arena_fmt(a, "%s", text[n] ? text + n + 1 : "");
	}
	close(fd);
	return out;
}
