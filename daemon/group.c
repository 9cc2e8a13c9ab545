#include "daemon/group.h"

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/arena.h"
#include "daemon/base/span.h"

static bool
is_member(gid_t gid)
{
	int n = getgroups(0, NULL);
	gid_t *list = x_alloc(((size_t)(n > 0 ? n : 0) + 1) * sizeof *list);
	bool member = geteuid() == 0 || getegid() == gid;

	n = getgroups(n > 0 ? n : 0, list);
	for (int i = 0; i < n; i++)
		member |= list[i] == gid;
	free(list);
	return member;
}

int
group_begin(const char *name, gid_t *gid, struct err *e)
{
	struct group entry, *found = NULL;
	char buffer[16384];
	int64_t number;

	*gid = GROUP_NONE;
	if (!name)
		return 0;
	if (getgrnam_r(name, &entry, buffer, sizeof buffer, &found) == 0 && found)
		*gid = found->gr_gid;
	else if (span_to_int(span_of(name), 0, INT32_MAX, &number))
		*gid = (gid_t)number;
	else
		return err_set(e, ERR_USAGE, NULL, 0, "--group: there is no group \"%s\" here", name);
	if (!is_member(*gid))
		return err_set(e, ERR_USAGE, NULL, 0, "--group: this user is no member of \"%s\"", name);
	umask(007);
	return 0;
}

/* Is it so already? Then it need not be ours. */
static bool
is_open(const struct stat *st, gid_t gid, mode_t mode)
{
	return st->st_gid == gid && (st->st_mode & mode) == mode && (st->st_mode & 07) == 0;
}

int
group_folder(const char *path, gid_t gid, struct err *e)
{
	const mode_t mode = S_ISGID | 0770;
	struct stat st;
	int fd, rc = 0;

	if (gid == GROUP_NONE || !path)
		return 0;
	fd = open(path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	if (fd < 0 || fstat(fd, &st) != 0)
		rc = -1;
	/* Where the bit may not be given (a supervisor can forbid that), the rest is done. */
	else if (!is_open(&st, gid, mode) && ((st.st_gid != gid && fchown(fd, (uid_t)-1, gid) != 0) ||
	    (fchmod(fd, mode) != 0 && fchmod(fd, 0770) != 0)))
		rc = -1;
	if (rc)
		err_set(e, ERR_IO, path, 0, "cannot be opened to the group: %s", strerror(errno));
	if (fd >= 0)
		close(fd);
	return rc;
}

int
group_place(const char *store, gid_t gid, struct err *e)
{
	const char *slash = strrchr(store, '/');
	struct arena a = { 0 };
	const char *folder = !slash ? "." : slash == store ? "/" : arena_text(&a,
	    (struct span){ store, (size_t)(slash - store) });
	struct stat st;
	int rc = 0;

	if (gid != GROUP_NONE && stat(folder, &st) == 0 &&
	    (st.st_gid != gid || (st.st_mode & (S_ISGID | 0070)) != (S_ISGID | 0070)))
		rc = err_set(e, ERR_USAGE, NULL, 0, "--group: the store lies in a folder that is not open "
		    "to the group; run: chgrp %ld %.300s && chmod g+rwxs %.300s", (long)gid, folder,
		    folder);
	arena_release(&a);
	return rc;
}

/* By name: to close one of these files would give back the locks that SQLite holds on it. */
static int
open_file(const char *path, gid_t gid, struct err *e)
{
	struct stat st;

	if (lstat(path, &st) != 0 || !S_ISREG(st.st_mode) || is_open(&st, gid, 0660))
		return 0;
	if ((st.st_gid != gid && lchown(path, (uid_t)-1, gid) != 0) || chmod(path, 0660) != 0)
		return err_set(e, ERR_IO, path, 0, "cannot be opened to the group: %s", strerror(errno));
	return 0;
}

int
group_store(const char *store, gid_t gid, struct err *e)
{
	static const char *const part[] = { "", "-wal", "-shm", ".lock" };
	struct arena a = { 0 };
	int rc = 0;

	for (size_t i = 0; gid != GROUP_NONE && rc == 0 && i < sizeof part / sizeof *part; i++)
		rc = open_file(arena_fmt(&a, "%s%s", store, part[i]), gid, e);
	arena_release(&a);
	return rc;
}
