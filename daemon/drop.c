/* drop.c - what waits in the folders, and the claim. What leaves work/: drop_out.c. */
#include "daemon/drop.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/inotify.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/base/disk.h"
#include "daemon/drop_part.h"

/* One that somebody began to write and never closed is taken after this time without a
 * change: the closing may have been missed. Common practice, no source. */
#define NEVER_CLOSED (5 * MINUTE)

bool
drop_ignores(const char *name)
{
	const char *dot = strrchr(name, '.');

	return name[0] == '.' || (dot && (strcasecmp(dot, ".part") == 0 ||
	    strcasecmp(dot, ".tmp") == 0));
}

const char *
drop_path(const struct drop *d, struct arena *a, const char *folder)
{
	return *folder ? arena_fmt(a, "%s/%s", d->dir, folder) : d->dir;
}

/* ---- opening ---------------------------------------------------------------- */

static const char *const tray_name[TRAYS] = { "inbox", "desk" };

static int
open_folder(struct drop *d, const char *name, mode_t mode, int *fd, struct err *e)
{
	if (mkdirat(d->root, name, mode) != 0 && errno != EEXIST)
		return err_set(e, ERR_IO, d->dir, 0, "cannot make %s/: %s", name, strerror(errno));
	*fd = openat(d->root, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	if (*fd < 0)
		return err_set(e, ERR_IO, d->dir, 0, "%s/ cannot be opened: %s", name, strerror(errno));
	return 0;
}

enum { TELL = IN_CLOSE_WRITE | IN_MOVED_TO | IN_MODIFY | IN_CREATE | IN_ONLYDIR };

/* Told anew at each look: one that is told already keeps its number. */
static void
watch_sub(struct drop *d, const char *name)
{
	struct arena a = { 0 };
	int wd = d->notify < 0 ? -1 : inotify_add_watch(d->notify, arena_fmt(&a, "%s/%s/%s", d->dir,
	    tray_name[TRAY_INBOX], name), TELL | IN_DONT_FOLLOW);

	if (wd >= 0) {
		d->sub = x_grow(d->sub, &d->cap_sub, d->n_sub + 1, sizeof *d->sub);
		d->sub[d->n_sub++] = (struct sub){ wd, x_text(name) };
	}
	arena_release(&a);
}

static int
watch_trays(struct drop *d)
{
	struct arena a = { 0 };
	int rc = 0;

	d->notify = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
	for (int t = 0; d->notify >= 0 && t < TRAYS; t++) {
		d->watch[t] = inotify_add_watch(d->notify, drop_path(d, &a, tray_name[t]),
		    TELL);
		if (d->watch[t] < 0)
			rc = -1;
	}
	arena_release(&a);
	return rc;
}

struct drop *
drop_open(const char *dir, int64_t settle, bool groups, struct err *e)
{
	struct drop *d = x_calloc(1, sizeof *d);
	char full[PATH_MAX];

	d->settle = settle;
	d->groups = groups;
	d->root = d->work = d->done = d->failed = d->notify = d->day = -1;
	for (int t = 0; t < TRAYS; t++)
		d->tray[t] = d->claimed[t] = -1;
	if (disk_folder(dir) != 0) {
		err_set(e, ERR_IO, dir, 0, "cannot be made: %s", strerror(errno));
		goto fail;
	}
	d->root = open(dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (d->root < 0 || !realpath(dir, full)) {
		err_set(e, ERR_IO, dir, 0, "cannot be opened: %s", strerror(errno));
		goto fail;
	}
	d->dir = x_text(full);
	if (open_folder(d, "inbox", 0770, &d->tray[TRAY_INBOX], e) ||
	    open_folder(d, "desk", 0770, &d->tray[TRAY_DESK], e) ||
	    open_folder(d, "work", 0700, &d->work, e) ||
	    open_folder(d, "work/inbox", 0700, &d->claimed[TRAY_INBOX], e) ||
	    open_folder(d, "work/desk", 0700, &d->claimed[TRAY_DESK], e) ||
	    open_folder(d, "done", 0770, &d->done, e) ||
	    open_folder(d, "failed", 0770, &d->failed, e))
		goto fail;
	/* Made just now, or by one that was stopped before it came to this: a folder that is
	 * forgotten takes its files along. */
	if (disk_sync_names(d->work) != 0 || disk_sync_names(d->root) != 0) {
		err_set(e, ERR_IO, d->dir, 0, "cannot be written: %s", strerror(errno));
		goto fail;
	}
	/* Without it, looking every now and then does the same, only later. */
	watch_trays(d);
	return d;
fail:
	drop_close(d);
	return NULL;
}

static void
free_list(struct waiting *list, size_t n)
{
	for (size_t i = 0; i < n; i++)
		free(list[i].name);
	free(list);
}

static void
free_subs(struct drop *d)
{
	for (size_t i = 0; i < d->n_sub; i++)
		free(d->sub[i].name);
	free(d->sub);
	d->sub = NULL;
	d->n_sub = d->cap_sub = 0;
}

void
drop_close(struct drop *d)
{
	int *fd[] = { &d->root, &d->tray[0], &d->tray[1], &d->work, &d->claimed[0], &d->claimed[1],
	    &d->done, &d->failed, &d->notify, &d->day };

	for (size_t i = 0; i < d->n_leaving; i++)
		free(d->leaving[i].name);
	free(d->leaving);
	for (size_t i = 0; i < sizeof fd / sizeof *fd; i++)
		if (*fd[i] >= 0)
			close(*fd[i]);
	free_list(d->list, d->n);
	free_list(d->heard, d->n_heard);
	free_subs(d);
	free(d->dir);
	free(d);
}

/* ---- listening -------------------------------------------------------------- */

int
drop_fd(const struct drop *d)
{
	return d->notify;
}

static void
hear(struct drop *d, const struct inotify_event *ev)
{
	const char *name = ev->name;
	struct arena a = { 0 };
	struct waiting *w;
	int t = 0;

	/* A closing may be among what was lost. */
	for (size_t i = 0; ev->mask & IN_Q_OVERFLOW && i < d->n; i++)
		d->list[i].open = false;
	while (t < TRAYS && d->watch[t] != ev->wd)
		t++;
	if (!ev->len || drop_ignores(ev->name))
		return;
	for (size_t i = 0; t == TRAYS && i < d->n_sub; i++)
		if (d->sub[i].watch == ev->wd) {
			name = arena_fmt(&a, "%s/%s", d->sub[i].name, ev->name);
			t = TRAY_INBOX;
		}
	if (t == TRAYS)
		return;
	/* A large file is told of at each write; the last word counts. */
	w = d->n_heard ? &d->heard[d->n_heard - 1] : NULL;
	if (!w || w->tray != (enum tray)t || strcmp(w->name, name) != 0) {
		d->heard = x_grow(d->heard, &d->cap_heard, d->n_heard + 1, sizeof *d->heard);
		w = &d->heard[d->n_heard++];
		*w = (struct waiting){ .tray = (enum tray)t, .name = x_text(name) };
	}
	arena_release(&a);
	w->moved = (ev->mask & IN_MOVED_TO) != 0;
	w->open = (ev->mask & IN_MODIFY) != 0;
	w->made = (ev->mask & IN_CREATE) != 0;
}

void
drop_listen(struct drop *d)
{
	_Alignas(struct inotify_event) char bytes[16384];
	ssize_t n;

	while (d->notify >= 0 && (n = read(d->notify, bytes, sizeof bytes)) > 0) {
		for (char *p = bytes; p < bytes + n;) {
			const struct inotify_event *ev = (const struct inotify_event *)(void *)p;

			hear(d, ev);
			p += sizeof *ev + ev->len;
		}
	}
}

/* ---- looking ---------------------------------------------------------------- */

static int
by_place(const void *a, const void *b)
{
	const struct waiting *x = a, *y = b;

	/* The desk first: what it says of sites holds for the exports beside it. */
	return x->tray != y->tray ? (int)y->tray - (int)x->tray : strcmp(x->name, y->name);
}

static const char *
odd_kind(const struct stat *st)
{
	if (S_ISLNK(st->st_mode))
		return "a symbolic link";
	if (S_ISDIR(st->st_mode))
		return "a folder";
	if (S_ISFIFO(st->st_mode))
		return "a pipe";
	if (!S_ISREG(st->st_mode))
		return "a device or socket";
	/* Somebody else keeps a name for it, and could change it while it is read. */
	return st->st_nlink > 1 ? "a file with more than one name" : NULL;
}

static bool
unchanged(const struct waiting *a, const struct waiting *b)
{
	return a->ino == b->ino && a->size == b->size && a->mtime == b->mtime;
}

int
drop_folder_of(int tray, const char *name, const char **leaf)
{
	const char *slash = strchr(name, '/');
	char group[NAME_MAX + 1];

	*leaf = slash ? slash + 1 : name;
	if (!slash)
		return openat(tray, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	snprintf(group, sizeof group, "%.*s", (int)(slash - name), name);
	return openat(tray, group, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
}

/* One folder's things; `group` NULL = the tray itself. One that is gone again has none. */
static int
list_folder(struct drop *d, enum tray t, const char *group, int64_t now, struct waiting **list,
    size_t *n, size_t *cap, struct err *e)
{
	struct arena a = { 0 };
	const char *leaf;
	int fd = drop_folder_of(d->tray[t], group ? arena_fmt(&a, "%s/", group) : "", &leaf), rc = 0;
	DIR *dir = fd < 0 ? NULL : fdopendir(fd);
	struct dirent *entry;

	if (group && dir)
		watch_sub(d, group);
	while (dir && rc == 0 && (entry = readdir(dir)) != NULL) {
		struct stat st;

		if (drop_ignores(entry->d_name) ||
		    fstatat(fd, entry->d_name, &st, AT_SYMLINK_NOFOLLOW) != 0)
			continue;
		if (d->groups && t == TRAY_INBOX && !group && S_ISDIR(st.st_mode)) {
			rc = list_folder(d, t, entry->d_name, now, list, n, cap, e);
			continue;
		}
		*list = x_grow(*list, cap, *n + 1, sizeof **list);
		(*list)[(*n)++] = (struct waiting){ .tray = t, .since = now, .odd = odd_kind(&st),
		    .name = x_text(group ? arena_fmt(&a, "%s/%s", group, entry->d_name) : entry->d_name),
		    .ino = st.st_ino, .size = st.st_size,
		    .mtime = (int64_t)st.st_mtim.tv_sec * 1000000000 + st.st_mtim.tv_nsec };
	}
	if (dir)
		closedir(dir);
	else if (!group || (errno != ENOENT && errno != EACCES && errno != ENOTDIR && errno != ELOOP))
		rc = err_set(e, ERR_IO, d->dir, 0, "%s/ cannot be read: %s", tray_name[t],
		    strerror(errno));
	arena_release(&a);
	return rc;
}

/* What was known of a file goes on with it; what was heard meanwhile is added. */
static void
carry_over(struct drop *d, struct waiting *list, size_t n, int64_t now)
{
	for (size_t i = 0, j = 0; i < n && j < d->n;) {
		int c = by_place(&list[i], &d->list[j]);

		if (c == 0) {
			struct waiting *w = &list[i], *old = &d->list[j];

			w->told = old->told && old->ino == w->ino;
			if (unchanged(w, old)) {
				w->since = old->since;
				w->moved = old->moved;
				w->stuck = old->stuck;
				w->odd = old->stuck ? old->odd : w->odd;
			}
			w->open = old->open;
			i++;
			j++;
		} else if (c < 0) {
			i++;
		} else {
			j++;
		}
	}
	for (size_t i = 0; i < d->n_heard; i++) {
		struct waiting *w = n ? bsearch(&d->heard[i], list, n, sizeof *list, by_place) : NULL;

		if (w) {
			w->moved = d->heard[i].moved;
			/* A second name for a whole file is made too, but never empty. */
			w->open = d->heard[i].open || (d->heard[i].made && w->size == 0);
			if (!w->moved)
				w->since = now;
		}
	}
	free_list(d->heard, d->n_heard);
	d->heard = NULL;
	d->n_heard = d->cap_heard = 0;
}

int
drop_look(struct drop *d, int64_t now, void (*odd)(const char *name, const char *why),
    struct err *e)
{
	struct arena a = { 0 };
	struct waiting *list = NULL;
	size_t n = 0, cap = 0;

	free_subs(d);
	if (list_folder(d, TRAY_DESK, NULL, now, &list, &n, &cap, e) ||
	    list_folder(d, TRAY_INBOX, NULL, now, &list, &n, &cap, e)) {
		free_list(list, n);
		return -1;
	}
	if (n)
		qsort(list, n, sizeof *list, by_place);
	carry_over(d, list, n, now);
	for (size_t i = 0; i < n; i++) {
		if (list[i].odd && !list[i].told)
			odd(arena_fmt(&a, "%s/%s", tray_name[list[i].tray], list[i].name), list[i].odd);
		list[i].told = list[i].odd != NULL;
	}
	free_list(d->list, d->n);
	d->list = list;
	d->n = n;
	arena_release(&a);
	return 0;
}

/* ms until the file may be whole; 0 = it is. */
static int64_t
until_whole(const struct drop *d, const struct waiting *w, int64_t now)
{
	int64_t at = w->since + (w->open && d->settle ? NEVER_CLOSED : d->settle);

	return w->moved || at <= now ? 0 : at - now;
}

size_t
drop_waiting(const struct drop *d)
{
	size_t n = 0;

	for (size_t i = 0; i < d->n; i++)
		n += !d->list[i].odd;
	return n;
}

int64_t
drop_next(const struct drop *d, int64_t now)
{
	int64_t next = -1;

	for (size_t i = 0; i < d->n; i++) {
		int64_t ms = d->list[i].odd ? -1 : until_whole(d, &d->list[i], now);

		if (ms >= 0 && (next < 0 || ms < next))
			next = ms;
	}
	return next;
}

static int
by_age(const void *a, const void *b)
{
	const struct waiting *x = *(struct waiting *const *)a, *y = *(struct waiting *const *)b;

	if (x->tray != y->tray || x->mtime == y->mtime)
		return by_place(x, y);
	return x->mtime < y->mtime ? -1 : 1;
}

/* To the same name in work/. 0, or -1 and errno. */
static int
claim(struct drop *d, const struct waiting *w)
{
	const char *leaf;
	int from = drop_folder_of(d->tray[w->tray], w->name, &leaf), rc = from < 0 ? -1 : 0, fault;

	if (rc == 0 && leaf > w->name) {
		struct arena a = { 0 };
		const char *group = arena_text(&a, (struct span){ w->name, (size_t)(leaf - 1 - w->name) });

		/* A folder that is forgotten takes its files along. */
		if ((mkdirat(d->claimed[w->tray], group, 0700) != 0 && errno != EEXIST) ||
		    disk_sync_names(d->claimed[w->tray]) != 0)
			rc = -1;
		arena_release(&a);
	}
	if (rc == 0)
		rc = renameat(from, leaf, d->claimed[w->tray], w->name);
	fault = errno;
	if (from >= 0)
		close(from);
	errno = fault;
	return rc;
}

int
drop_claim(struct drop *d, int64_t now, size_t most, struct err *e)
{
	struct waiting **ready = x_alloc((d->n + 1) * sizeof *ready);
	size_t n = 0, kept = 0;
	int rc = 0;

	for (size_t i = 0; i < d->n; i++)
		if (!d->list[i].odd && until_whole(d, &d->list[i], now) == 0)
			ready[n++] = &d->list[i];
	if (n)
		qsort(ready, n, sizeof *ready, by_age);
	for (size_t i = 0; rc == 0 && i < n && i < most; i++) {
		struct waiting *w = ready[i];

		/* ENOENT: somebody took it back. One that may not be moved must not hold up the
		 * others. */
		if (claim(d, w) == 0 || errno == ENOENT || errno == ENOTDIR || errno == ELOOP) {
			w->gone = true;
		} else if (errno == EACCES || errno == EPERM) {
			w->stuck = true;
			w->odd = "a file that may not be moved (folder or owner)";
		} else {
			rc = err_set(e, ERR_IO, d->dir, 0, "%s/%s cannot be moved to work/: %s",
			    tray_name[w->tray], w->name, strerror(errno));
		}
	}
	for (size_t i = 0; i < d->n; i++) {
		if (d->list[i].gone)
			free(d->list[i].name);
		else
			d->list[kept++] = d->list[i];
	}
	d->n = kept;
	free(ready);
	return rc;
}

/* ---- work ------------------------------------------------------------------- */

static int
by_file(const void *a, const void *b)
{
	const struct drop_file *x = a, *y = b;
	const struct timespec *s = &x->st.st_mtim, *t = &y->st.st_mtim;

	if (x->tray != y->tray)
		return (int)y->tray - (int)x->tray;
	if (s->tv_sec != t->tv_sec)
		return s->tv_sec < t->tv_sec ? -1 : 1;
	if (s->tv_nsec != t->tv_nsec)
		return s->tv_nsec < t->tv_nsec ? -1 : 1;
	return strcmp(x->name, y->name);
}

struct work_list { struct drop_file *file; size_t n, cap; };

/* `group` "" = the tray itself. A folder in it is a group's, whether or not groups are asked
 * for now; an empty one is taken away. */
static int
list_work(struct drop *d, enum tray t, const char *group, struct arena *a, struct work_list *out,
    struct err *e)
{
	const char *at = *group ? group : ".";
	int fd = openat(d->claimed[t], at, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC), rc = 0;
	DIR *dir = fd < 0 ? NULL : fdopendir(fd);
	struct dirent *entry;
	bool empty = true;

	if (!dir)
		return err_set(e, ERR_IO, d->dir, 0, "work/ cannot be read: %s", strerror(errno));
	while (rc == 0 && (entry = readdir(dir)) != NULL) {
		struct drop_file f = { .tray = t, .group = group };

		if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0 ||
		    fstatat(fd, entry->d_name, &f.st, AT_SYMLINK_NOFOLLOW) != 0)
			continue;
		empty = false;
		if (!*group && S_ISDIR(f.st.st_mode)) {
			rc = list_work(d, t, arena_fmt(a, "%s", entry->d_name), a, out, e);
			continue;
		}
		f.name = arena_fmt(a, "%s%s%s", group, *group ? "/" : "", entry->d_name);
		f.path = arena_fmt(a, "%s/%s", tray_name[t], f.name);
		out->file = x_grow(out->file, &out->cap, out->n + 1, sizeof *out->file);
		out->file[out->n++] = f;
	}
	closedir(dir);
	if (rc == 0 && empty && *group)
		unlinkat(d->claimed[t], group, AT_REMOVEDIR);
	return rc;
}

int
drop_work(struct drop *d, struct arena *a, struct drop_file **out, size_t *n, struct err *e)
{
	struct work_list list = { 0 };
	int rc = 0;

	for (int t = 0; t < TRAYS && rc == 0; t++)
		rc = list_work(d, (enum tray)t, "", a, &list, e);
	if (list.n)
		qsort(list.file, list.n, sizeof *list.file, by_file);
	*n = rc ? 0 : list.n;
	*out = arena_take(a, (*n + 1) * sizeof **out);
	if (*n)
		memcpy(*out, list.file, *n * sizeof **out);
	free(list.file);
	return rc;
}

/* ---- counted from outside ---------------------------------------------------- */

static bool
is_note(const char *name)
{
	size_t n = strlen(name), m = strlen(DROP_NOTE);

	return n > m && strcmp(name + n - m, DROP_NOTE) == 0;
}

static int64_t
at_least(int64_t least, int64_t n)
{
	return n > least ? n : least;
}

/* `deep`: also in its folders, which are groups. */
static int64_t
count_files(int at, const char *folder, bool deep)
{
	int fd = openat(at, folder, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	DIR *dir = fd < 0 ? NULL : fdopendir(fd);
	struct dirent *entry;
	struct stat st;
	int64_t n = dir ? 0 : -1;

	while (dir && (entry = readdir(dir)) != NULL) {
		if (drop_ignores(entry->d_name) || is_note(entry->d_name) ||
		    fstatat(fd, entry->d_name, &st, AT_SYMLINK_NOFOLLOW) != 0)
			continue;
		if (!odd_kind(&st))
			n++;
		else if (deep && S_ISDIR(st.st_mode))
			n += at_least(0, count_files(fd, entry->d_name, false));
	}
	if (dir)
		closedir(dir);
	return n;
}

struct drop_census
drop_count(const char *dir, bool groups)
{
	struct arena a = { 0 };
	struct drop_census c = { 0 };

	for (int t = 0; t < TRAYS && c.waiting >= 0; t++) {
		int64_t n = count_files(AT_FDCWD, arena_fmt(&a, "%s/%s", dir, tray_name[t]),
		    groups && t == TRAY_INBOX);

		c.waiting = n < 0 ? -1 : c.waiting + n;
	}
	c.failed = count_files(AT_FDCWD, arena_fmt(&a, "%s/failed", dir), false);
	arena_release(&a);
	return c;
}
