#include "daemon/base/disk.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/arena.h"

int
disk_sync_names(int fd)
{
	return fsync(fd) != 0 && errno != EINVAL && errno != EROFS ? -1 : 0;
}

int
disk_sync_name_of(const char *path)
{
	struct arena a = { 0 };
	size_t n = strlen(path);
	const char *folder;
	int fd, rc, fault;

	while (n > 1 && path[n - 1] == '/')
		n--;
	while (n && path[n - 1] != '/')
		n--;
	while (n > 1 && path[n - 1] == '/')
		n--;
	folder = n ? arena_bytes(&a, path, n) : ".";
	fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	rc = fd < 0 ? (errno == EACCES ? 0 : -1) : disk_sync_names(fd);
	fault = errno;
	if (fd >= 0)
		close(fd);
	arena_release(&a);
	errno = fault;
	return rc;
}

int
disk_folder(const char *path)
{
	struct stat st;

	if (mkdir(path, 0770) != 0 && errno != EEXIST)
		return -1;
	if (stat(path, &st) == 0 && !S_ISDIR(st.st_mode))
		errno = ENOTDIR;
	else if (disk_sync_name_of(path) == 0)
		return 0;
	return -1;
}
