/* shim.c - stands between the program and the system: LD_PRELOAD=shim.so tripsift ...
 *
 *   SHIM_ROOT   a folder: what happens below it is looked at, nothing else
 *   SHIM_LOG    every change below it is written here, with its content; see replay.py
 *   SHIM_FAIL   "CALL N ERRNO TIMES": from the N-th call on, so many fail. CALL is write,
 *               sync, open, rename, unlink, mkdir or malloc (of the whole program)
 *   SHIM_HIT    a file that is made when a call has failed
 *   SHIM_COUNT  a file that gets at the end how many calls of that kind there were
 *   SHIM_CLOCK  a file with seconds that are added to the wall clock, read at each look
 *   SHIM_WARP   set: sleeping takes no time, and the monotonic clock goes on by as much
 *   SHIM_FS     what statfs() says of every folder, a number of <linux/magic.h>
 *
 * Changes are recorded in the order in which they are done: one at a time. What stdio
 * writes by itself is seen when it is flushed, as one write of all that is new. The index
 * of the write-ahead log (-shm) is memory that is shared, and no part of what is kept.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdio_ext.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statfs.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

enum { PATH = 4096, FILES = 512 };

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static char root[PATH];
static int  log_fd = -1;
static struct { char call[16]; long at, times; int error; } fault;
static long calls;
static long warped;			/* ns */
static struct { ino_t ino; off_t size; } seen[FILES];	/* by stdio, up to here */
static size_t n_seen;

__attribute__((constructor)) static void
begin(void)
{
	const char *dir = getenv("SHIM_ROOT"), *log = getenv("SHIM_LOG"), *fail = getenv("SHIM_FAIL");

	if (dir && strlen(dir) < PATH)
		memcpy(root, dir, strlen(dir) + 1);
	if (log)
		log_fd = (int)syscall(SYS_openat, AT_FDCWD, log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
	if (fail && sscanf(fail, "%15s %ld %d %ld", fault.call, &fault.at, &fault.error, &fault.times) != 4)
		abort();
}

__attribute__((destructor)) static void
end(void)
{
	const char *name = getenv("SHIM_COUNT");
	char text[32];
	long fd;

	if (!name || (fd = syscall(SYS_openat, AT_FDCWD, name, O_WRONLY | O_CREAT | O_TRUNC, 0600)) < 0)
		return;
	snprintf(text, sizeof text, "%ld", calls);
	syscall(SYS_write, fd, text, strlen(text));
	syscall(SYS_close, fd);
}

/* ---- which file ------------------------------------------------------------- */

static int
fd_path(int fd, char out[PATH])
{
	char name[64];
	ssize_t n;

	if (fd == AT_FDCWD)
		return getcwd(out, PATH) ? 0 : -1;
	snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
	n = readlink(name, out, PATH - 1);
	out[n < 0 ? 0 : n] = '\0';
	return n < 0 ? -1 : 0;
}

static void
full_path(int dir, const char *path, char out[PATH])
{
	char folder[PATH] = "";

	if (*path != '/')
		fd_path(dir, folder);
	snprintf(out, PATH, "%.2000s%s%.2000s", folder, *folder && strcmp(path, ".") ? "/" : "",
	    strcmp(path, ".") ? path : "");
}

static int
is_ours(const char *path)
{
	size_t n = strlen(root), m = strlen(path);

	return n && strncmp(path, root, n) == 0 && (path[n] == '/' || !path[n]) &&
	    !(m > 4 && strcmp(path + m - 4, "-shm") == 0) &&
	    !(m > 5 && strcmp(path + m - 5, ".lock") == 0);
}

static int
fd_ours(int fd)
{
	char path[PATH];

	return fd_path(fd, path) == 0 && is_ours(path);
}

/* ---- faults ----------------------------------------------------------------- */

static int
fails(const char *call)
{
	const char *hit = getenv("SHIM_HIT");
	long n;

	if (!fault.at || strcmp(call, fault.call) != 0)
		return 0;
	n = __atomic_add_fetch(&calls, 1, __ATOMIC_SEQ_CST);
	if (n < fault.at || n >= fault.at + fault.times)
		return 0;
	if (hit) {
		long fd = syscall(SYS_openat, AT_FDCWD, hit, O_WRONLY | O_CREAT, 0600);

		if (fd >= 0)
			syscall(SYS_close, fd);
	}
	errno = fault.error;
	return 1;
}

/* ---- the record ------------------------------------------------------------- */

static void
put(const char *p, size_t n)
{
	while (n) {
		long done = syscall(SYS_write, log_fd, p, n);

		if (done <= 0)
			abort();
		p += done;
		n -= (size_t)done;
	}
}

__attribute__((format(printf, 1, 2))) static void
say(const char *fmt, ...)
{
	char line[2 * PATH + 64];
	va_list ap;
	int n;

	if (log_fd < 0)
		return;
	va_start(ap, fmt);
	n = vsnprintf(line, sizeof line, fmt, ap);
	va_end(ap);
	put(line, (size_t)n);
}

static ino_t
ino_of(int fd)
{
	struct stat st;

	return fstat(fd, &st) == 0 ? st.st_ino : 0;
}

static void
say_write(ino_t ino, off_t at, const void *p, size_t n)
{
	if (log_fd < 0)
		return;
	say("write\t%lu\t%lld\t%zu\n", (unsigned long)ino, (long long)at, n);
	put(p, n);
}

/* ---- calls ------------------------------------------------------------------ */

static int
do_open(int dir, const char *path, int flags, mode_t mode)
{
	char full[PATH];
	struct stat st;
	int fd, fresh;

	full_path(dir, path, full);
	if (!is_ours(full))
		return (int)syscall(SYS_openat, dir, path, flags, mode);
	if (fails("open"))
		return -1;
	pthread_mutex_lock(&lock);
	fresh = flags & O_CREAT && fstatat(dir, path, &st, AT_SYMLINK_NOFOLLOW) != 0;
	fd = (int)syscall(SYS_openat, dir, path, flags, mode);
	/* It may have the number of one that is gone. */
	for (size_t i = 0; fd >= 0 && fresh && i < n_seen; i++)
		if (seen[i].ino == ino_of(fd))
			seen[i].size = 0;
	if (fd >= 0 && fresh)
		say("create\t%lu\t%s\n", (unsigned long)ino_of(fd), full);
	else if (fd >= 0 && flags & O_TRUNC)
		say("cut\t%lu\t0\n", (unsigned long)ino_of(fd));
	pthread_mutex_unlock(&lock);
	return fd;
}

#define MODE(flags, last) \
	mode_t mode = 0; \
	if ((flags) & (O_CREAT | O_TMPFILE)) { \
		va_list ap; \
		va_start(ap, last); \
		mode = va_arg(ap, mode_t); \
		va_end(ap); \
	}

int open(const char *path, int flags, ...) { MODE(flags, flags) return do_open(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE(flags, flags) return do_open(AT_FDCWD, path, flags, mode); }
int openat(int dir, const char *path, int flags, ...) { MODE(flags, flags) return do_open(dir, path, flags, mode); }
int openat64(int dir, const char *path, int flags, ...) { MODE(flags, flags) return do_open(dir, path, flags, mode); }
int __open_2(const char *path, int flags);
int __open64_2(const char *path, int flags);
int __openat_2(int dir, const char *path, int flags);
int __openat64_2(int dir, const char *path, int flags);
int __open_2(const char *path, int flags) { return do_open(AT_FDCWD, path, flags, 0); }
int __open64_2(const char *path, int flags) { return do_open(AT_FDCWD, path, flags, 0); }
int __openat_2(int dir, const char *path, int flags) { return do_open(dir, path, flags, 0); }
int __openat64_2(int dir, const char *path, int flags) { return do_open(dir, path, flags, 0); }

static ssize_t
do_write(int fd, const void *p, size_t n, off_t at)
{
	ssize_t done;

	if (fd == 1 || fd == 2) {
		pthread_mutex_lock(&lock);
		say("said\t%d\t%zu\n", fd, n);
		if (log_fd >= 0)
			put(p, n);
		done = syscall(SYS_write, fd, p, n);
		pthread_mutex_unlock(&lock);
		return done;
	}
	if (!fd_ours(fd))
		return at < 0 ? syscall(SYS_write, fd, p, n) : syscall(SYS_pwrite64, fd, p, n, at);
	if (fails("write"))
		return -1;
	pthread_mutex_lock(&lock);
	if (at < 0) {
		off_t now = lseek(fd, 0, SEEK_CUR);

		done = syscall(SYS_write, fd, p, n);
		at = now;
	} else {
		done = syscall(SYS_pwrite64, fd, p, n, at);
	}
	if (done > 0)
		say_write(ino_of(fd), at, p, (size_t)done);
	pthread_mutex_unlock(&lock);
	return done;
}

ssize_t write(int fd, const void *p, size_t n) { return do_write(fd, p, n, -1); }
ssize_t pwrite(int fd, const void *p, size_t n, off_t at) { return do_write(fd, p, n, at); }
ssize_t pwrite64(int fd, const void *p, size_t n, off64_t at) { return do_write(fd, p, n, at); }

static int
do_cut(int fd, off_t size)
{
	int rc;

	if (!fd_ours(fd))
		return (int)syscall(SYS_ftruncate, fd, size);
	if (fails("write"))
		return -1;
	pthread_mutex_lock(&lock);
	rc = (int)syscall(SYS_ftruncate, fd, size);
	if (rc == 0)
		say("cut\t%lu\t%lld\n", (unsigned long)ino_of(fd), (long long)size);
	pthread_mutex_unlock(&lock);
	return rc;
}

int ftruncate(int fd, off_t size) { return do_cut(fd, size); }
int ftruncate64(int fd, off64_t size) { return do_cut(fd, size); }

/* What stdio wrote since the last time: its files only grow. */
static void
catch_up(int fd)
{
	char name[64], chunk[65536];
	struct stat st;
	size_t i = 0;
	ssize_t n;
	int from;

	if (fstat(fd, &st) != 0)
		return;
	while (i < n_seen && seen[i].ino != st.st_ino)
		i++;
	if (i == n_seen && n_seen < FILES) {
		seen[n_seen].ino = st.st_ino;
		seen[n_seen++].size = 0;
	}
	if (i == FILES)
		abort();
	snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
	from = (int)syscall(SYS_openat, AT_FDCWD, name, O_RDONLY | O_CLOEXEC);
	while (from >= 0 && (n = pread(from, chunk, sizeof chunk, seen[i].size)) > 0) {
		say_write(st.st_ino, seen[i].size, chunk, (size_t)n);
		seen[i].size += n;
	}
	if (from >= 0)
		syscall(SYS_close, from);
}

int
fflush(FILE *f)
{
	int (*real)(FILE *) = (int (*)(FILE *))dlsym(RTLD_NEXT, "fflush");
	int rc, fd = f ? fileno(f) : -1;

	if (fd == 1) {
		rc = real(f);
		pthread_mutex_lock(&lock);
		say("said\t1\t0\n");
		pthread_mutex_unlock(&lock);
		return rc;
	}
	if (fd < 0 || !fd_ours(fd))
		return real(f);
	if (__fpending(f) && fails("write"))
		return EOF;
	pthread_mutex_lock(&lock);
	rc = real(f);
	if (log_fd >= 0)
		catch_up(fd);
	pthread_mutex_unlock(&lock);
	return rc;
}

static int
do_sync(int fd, long call)
{
	int rc;

	if (!fd_ours(fd))
		return (int)syscall(call, fd);
	if (fails("sync"))
		return -1;
	pthread_mutex_lock(&lock);
	/* Nothing is brought to a disk here; the record says what would have been. */
	rc = log_fd >= 0 ? 0 : (int)syscall(call, fd);
	if (rc == 0) {
		char path[PATH] = "";
		struct stat st;

		fd_path(fd, path);
		if (fstat(fd, &st) == 0)
			say("%s\t%lu\t%s\n", S_ISDIR(st.st_mode) ? "syncdir" : "sync",
			    (unsigned long)st.st_ino, path);
	}
	pthread_mutex_unlock(&lock);
	return rc;
}

int fsync(int fd) { return do_sync(fd, SYS_fsync); }
int fdatasync(int fd) { return do_sync(fd, SYS_fdatasync); }

static int
do_rename(int a, const char *from, int b, const char *to, unsigned flags)
{
	char old[PATH], new[PATH];
	int rc;

	full_path(a, from, old);
	full_path(b, to, new);
	if (!is_ours(old) && !is_ours(new))
		return (int)syscall(SYS_renameat2, a, from, b, to, flags);
	if (fails("rename"))
		return -1;
	pthread_mutex_lock(&lock);
	rc = (int)syscall(SYS_renameat2, a, from, b, to, flags);
	if (rc == 0)
		say("rename\t%s\t%s\n", old, new);
	pthread_mutex_unlock(&lock);
	return rc;
}

int rename(const char *from, const char *to) { return do_rename(AT_FDCWD, from, AT_FDCWD, to, 0); }
int renameat(int a, const char *from, int b, const char *to) { return do_rename(a, from, b, to, 0); }
int renameat2(int a, const char *from, int b, const char *to, unsigned flags) { return do_rename(a, from, b, to, flags); }

static int
do_unlink(int dir, const char *path, int flags)
{
	char full[PATH];
	int rc;

	full_path(dir, path, full);
	if (!is_ours(full))
		return (int)syscall(SYS_unlinkat, dir, path, flags);
	if (fails("unlink"))
		return -1;
	pthread_mutex_lock(&lock);
	rc = (int)syscall(SYS_unlinkat, dir, path, flags);
	if (rc == 0)
		say("unlink\t%s\n", full);
	pthread_mutex_unlock(&lock);
	return rc;
}

int unlink(const char *path) { return do_unlink(AT_FDCWD, path, 0); }
int unlinkat(int dir, const char *path, int flags) { return do_unlink(dir, path, flags); }
int rmdir(const char *path) { return do_unlink(AT_FDCWD, path, AT_REMOVEDIR); }

static int
do_mkdir(int dir, const char *path, mode_t mode)
{
	char full[PATH];
	int rc;

	full_path(dir, path, full);
	if (!is_ours(full))
		return (int)syscall(SYS_mkdirat, dir, path, mode);
	if (fails("mkdir"))
		return -1;
	pthread_mutex_lock(&lock);
	rc = (int)syscall(SYS_mkdirat, dir, path, mode);
	if (rc == 0)
		say("mkdir\t%s\n", full);
	pthread_mutex_unlock(&lock);
	return rc;
}

int mkdir(const char *path, mode_t mode) { return do_mkdir(AT_FDCWD, path, mode); }
int mkdirat(int dir, const char *path, mode_t mode) { return do_mkdir(dir, path, mode); }

static int
do_link(int a, const char *from, int b, const char *to, int flags)
{
	char old[PATH], new[PATH];
	int rc;

	full_path(a, from, old);
	full_path(b, to, new);
	if (is_ours(new) && fails("rename"))
		return -1;
	pthread_mutex_lock(&lock);
	rc = (int)syscall(SYS_linkat, a, from, b, to, flags);
	if (rc == 0 && is_ours(new))
		say("link\t%s\t%s\n", old, new);
	pthread_mutex_unlock(&lock);
	return rc;
}

int link(const char *from, const char *to) { return do_link(AT_FDCWD, from, AT_FDCWD, to, 0); }
int linkat(int a, const char *from, int b, const char *to, int flags) { return do_link(a, from, b, to, flags); }

/* ---- memory ----------------------------------------------------------------- */

void *__libc_malloc(size_t n);
void *__libc_calloc(size_t n, size_t size);
void *__libc_realloc(void *p, size_t n);

void *malloc(size_t n) { return fails("malloc") ? NULL : __libc_malloc(n); }
void *calloc(size_t n, size_t size) { return fails("malloc") ? NULL : __libc_calloc(n, size); }
void *realloc(void *p, size_t n) { return fails("malloc") ? NULL : __libc_realloc(p, n); }

/* ---- the kind of file system ------------------------------------------------ */

static int
do_statfs(int rc, struct statfs *out)
{
	const char *type = getenv("SHIM_FS");

	if (rc == 0 && type)
		out->f_type = (__typeof__(out->f_type))strtoul(type, NULL, 0);
	return rc;
}

int statfs(const char *path, struct statfs *out) { return do_statfs((int)syscall(SYS_statfs, path, out), out); }
int fstatfs(int fd, struct statfs *out) { return do_statfs((int)syscall(SYS_fstatfs, fd, out), out); }
int statfs64(const char *path, struct statfs64 *out) { return statfs(path, (struct statfs *)out); }
int fstatfs64(int fd, struct statfs64 *out) { return fstatfs(fd, (struct statfs *)out); }

/* ---- clocks ----------------------------------------------------------------- */

static long
jump(void)
{
	const char *name = getenv("SHIM_CLOCK");
	char text[32] = "";
	long fd, n = 0;

	if (!name || (fd = syscall(SYS_openat, AT_FDCWD, name, O_RDONLY)) < 0)
		return 0;
	n = syscall(SYS_read, fd, text, sizeof text - 1);
	syscall(SYS_close, fd);
	return n > 0 ? strtol(text, NULL, 10) : 0;
}

int
clock_gettime(clockid_t which, struct timespec *t)
{
	int rc = (int)syscall(SYS_clock_gettime, which, t);

	if (rc == 0 && which == CLOCK_REALTIME) {
		t->tv_sec += jump();
	} else if (rc == 0 && which == CLOCK_MONOTONIC) {
		long more = t->tv_nsec + __atomic_load_n(&warped, __ATOMIC_SEQ_CST);

		t->tv_sec += more / 1000000000;
		t->tv_nsec = more % 1000000000;
	}
	return rc;
}

time_t
time(time_t *out)
{
	struct timespec t;

	clock_gettime(CLOCK_REALTIME, &t);
	if (out)
		*out = t.tv_sec;
	return t.tv_sec;
}

static void
pass(long ns)
{
	__atomic_add_fetch(&warped, ns, __ATOMIC_SEQ_CST);
	sched_yield();
}

int
nanosleep(const struct timespec *t, struct timespec *left)
{
	if (!getenv("SHIM_WARP"))
		return (int)syscall(SYS_nanosleep, t, left);
	pass(t->tv_sec * 1000000000 + t->tv_nsec);
	return 0;
}

int
usleep(useconds_t us)
{
	struct timespec t = { us / 1000000, us % 1000000 * 1000 };

	return nanosleep(&t, NULL);
}

int
ppoll(struct pollfd *p, nfds_t n, const struct timespec *t, const sigset_t *mask)
{
	struct timespec none = { 0, 0 }, wait;
	int rc;

	if (t)
		wait = *t;
	rc = (int)syscall(SYS_ppoll, p, n, !t ? NULL : getenv("SHIM_WARP") ? &none : &wait, mask, 8);
	if (rc == 0 && t && getenv("SHIM_WARP"))
		pass(t->tv_sec * 1000000000 + t->tv_nsec);
	return rc;
}
