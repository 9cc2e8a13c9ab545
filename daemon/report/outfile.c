#include "daemon/report/outfile.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/arena.h"
#include "daemon/base/disk.h"

int
outfile_open(struct outfile *o, const char *path, struct err *e)
{
	size_t n = strlen(path);
	struct stat st;
	int fd;

	/* Renaming onto a device or a pipe would put a file in its place. */
	if (stat(path, &st) == 0 && !S_ISREG(st.st_mode))
		return err_set(e, ERR_IO, path, 0, "is no regular file, so it cannot be replaced");
	*o = (struct outfile){ .path = x_alloc(n + 1), .part = x_alloc(n + 6) };
	memcpy(o->path, path, n + 1);
	snprintf(o->part, n + 6, "%s.part", path);
	/* What an earlier run left half written is nobody's. */
	unlink(o->part);
	fd = open(o->part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0640);
	o->f = fd < 0 ? NULL : fdopen(fd, "w");
	if (!o->f) {
		err_set(e, ERR_IO, path, 0, "cannot write: %s", strerror(errno));
		if (fd >= 0) {
			close(fd);
			unlink(o->part);
		}
		free(o->path);
		free(o->part);
		*o = (struct outfile){ 0 };
		return -1;
	}
	return 0;
}

static int
give_up(struct outfile *o, int fault, struct err *e)
{
	err_set(e, ERR_IO, o->path, 0, "cannot write: %s", strerror(fault));
	outfile_drop(o);
	return -1;
}

int
outfile_seal(struct outfile *o, struct err *e)
{
	int fault = 0;

	errno = 0;
	if (fflush(o->f) != 0 || ferror(o->f) || fsync(fileno(o->f)) != 0)
		fault = errno ? errno : EIO;
	if (fclose(o->f) != 0 && !fault)
		fault = errno;
	o->f = NULL;
	return fault ? give_up(o, fault, e) : 0;
}

int
outfile_close(struct outfile *o, struct err *e)
{
	if (o->f && outfile_seal(o, e) < 0)
		return -1;
	if (rename(o->part, o->path) != 0)
		return give_up(o, errno, e);
	free(o->part);
	o->part = NULL;
	if (disk_sync_name_of(o->path) != 0)
		return give_up(o, errno, e);
	outfile_drop(o);
	return 0;
}

void
outfile_drop(struct outfile *o)
{
	if (o->f)
		fclose(o->f);
	if (o->part)
		unlink(o->part);
	free(o->path);
	free(o->part);
	*o = (struct outfile){ 0 };
}
