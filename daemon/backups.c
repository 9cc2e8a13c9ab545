#include "daemon/backups.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

static const char *
base_name(const struct store *s)
{
	const char *path = store_path(s), *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

/* "STORE.2026-10-01", and nothing else: what else lies there is not ours to remove. */
static bool
is_backup(const char *name, const char *base)
{
	static const char form[] = "0000-00-00";
	size_t n = strlen(base);

	if (strncmp(name, base, n) != 0 || name[n] != '.' || strlen(name + n + 1) != strlen(form))
		return false;
	for (size_t i = 0; form[i]; i++) {
		char c = name[n + 1 + i];

		if (form[i] == '0' ? c < '0' || c > '9' : c != form[i])
			return false;
	}
	return true;
}

bool
backups_is_one(const struct store *s, const char *name)
{
	return is_backup(name, base_name(s));
}

static int
newest_first(const void *a, const void *b)
{
	return strcmp(*(const char *const *)b, *(const char *const *)a);
}

static int
prune(const char *folder, const char *base, size_t keep, struct arena *a, struct err *e)
{
	DIR *dir = opendir(folder);
	const char **name = NULL;
	struct dirent *entry;
	size_t n = 0, cap = 0;
	int rc = 0;

	if (!dir)
		return err_set(e, ERR_IO, folder, 0, "cannot be read: %s", strerror(errno));
	while ((entry = readdir(dir)) != NULL) {
		if (!is_backup(entry->d_name, base))
			continue;
		name = x_grow(name, &cap, n + 1, sizeof *name);
		name[n++] = arena_fmt(a, "%s", entry->d_name);
	}
	if (n)
		qsort(name, n, sizeof *name, newest_first);
	for (size_t i = keep; rc == 0 && i < n; i++)
		if (unlinkat(dirfd(dir), name[i], 0) != 0)
			rc = err_set(e, ERR_IO, folder, 0, "%s cannot be removed: %s", name[i],
			    strerror(errno));
	closedir(dir);
	free(name);
	return rc;
}

int
backups_make(struct store *s, const char *folder, size_t keep, int64_t now,
    const volatile sig_atomic_t *stop,
    void (*tick)(void *ctx, const char *doing, int percent), void *tick_ctx, struct arena *a,
    const char **path, struct err *e)
{
	char day[CIVIL_TEXT];

	*path = arena_fmt(a, "%s/%s.%.10s", folder, base_name(s), civil_rfc3339(now, day));
	if (store_backup(s, *path, stop, tick, tick_ctx, e) < 0)
		return -1;
	return prune(folder, base_name(s), keep, a, e);
}

static int64_t
at(const struct stat *st)
{
	return st->st_mtim.tv_sec * SECOND + st->st_mtim.tv_nsec / 1000000;
}

int64_t
backups_newest(const struct store *s, const char *folder)
{
	DIR *dir = opendir(folder);
	int64_t newest = NO_TIME;
	struct dirent *entry;
	struct stat st;

	while (dir && (entry = readdir(dir)) != NULL)
		if (is_backup(entry->d_name, base_name(s)) &&
		    fstatat(dirfd(dir), entry->d_name, &st, AT_SYMLINK_NOFOLLOW) == 0 &&
		    (newest == NO_TIME || at(&st) > newest))
			newest = at(&st);
	if (dir)
		closedir(dir);
	return newest;
}

int
backups_disk_days(struct store *s, int64_t now, int *days, struct err *e)
{
	struct arena a = { 0 };
	const char *path = store_path(s);
	const char *folder = arena_text(&a, (struct span){ path,
	    strlen(path) - strlen(base_name(s)) });
	struct statvfs disk;
	int64_t daily;
	int rc = store_growth(s, now, &daily, e);

	*days = -1;
	if (rc == 0 && daily > 0 && statvfs(*folder ? folder : ".", &disk) == 0) {
		double left = (double)disk.f_bavail * (double)disk.f_frsize / (double)daily;

		if (left < 365)
			*days = (int)left;
	}
	arena_release(&a);
	return rc;
}
