/* drop_out.c - out of work/: to done/, to failed/, or back. */
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>
#include <zlib.h>

#include "daemon/base/civil.h"
#include "daemon/base/disk.h"
#include "daemon/drop_part.h"
#include "daemon/report/outfile.h"

enum { LONGEST = 200 };		/* bytes of a name, so that .why.txt and the like fit beside */

static int
fault(const struct drop *d, const char *what, const char *name, struct err *e)
{
	return err_set(e, ERR_IO, d->dir, 0, "%s %s: %s", what, name, strerror(errno));
}

/* The name, or its first bytes when nothing fits beside it; a group's G/NAME is G.NAME. */
static const char *
short_name(struct arena *a, const char *name)
{
	const char *slash = strchr(name, '/');

	if (slash)
		name = arena_fmt(a, "%.*s.%s", (int)(slash - name), name, slash + 1);
	return arena_text(a, (struct span){ name, strnlen(name, LONGEST) });
}

/* "a.csv", then "a.2.csv", "a.3.csv"; `tail` goes behind. */
static const char *
numbered(struct arena *a, const char *name, int n, const char *tail)
{
	const char *dot = strchr(name, '.');
	int stem = dot && dot > name ? (int)(dot - name) : (int)strlen(name);

	return n == 1 ? arena_fmt(a, "%s%s", name, tail)
	              : arena_fmt(a, "%.*s.%d%s%s", stem, name, n, name + stem, tail);
}

static bool
exists(int folder, const char *name)
{
	struct stat st;

	return fstatat(folder, name, &st, AT_SYMLINK_NOFOLLOW) == 0;
}

/* ---- done ------------------------------------------------------------------- */

/* The folder of the day, by the day of UTC: it is the order that counts. */
static int
day_folder(struct drop *d, struct arena *a, const char **name, struct err *e)
{
	char text[CIVIL_TEXT];
	struct stat now, open_one;

	*name = arena_fmt(a, "%.10s", civil_rfc3339((int64_t)time(NULL) * SECOND, text));
	if (mkdirat(d->done, *name, 0770) != 0 && errno != EEXIST)
		return fault(d, "cannot make done/", *name, e);
	if (d->day >= 0 && fstat(d->day, &open_one) == 0 &&
	    fstatat(d->done, *name, &now, AT_SYMLINK_NOFOLLOW) == 0 && now.st_ino == open_one.st_ino)
		return 0;
	/* Midnight: the copies of yesterday first. */
	if (drop_flush(d, e) < 0)
		return -1;
	if (d->day >= 0)
		close(d->day);
	d->day = openat(d->done, *name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	if (d->day < 0)
		return fault(d, "cannot open done/", *name, e);
	/* Also when another made it, who may have been stopped before this. */
	if (disk_sync_names(d->done) != 0) {
		close(d->day);
		d->day = -1;
		return fault(d, "cannot write done/", *name, e);
	}
	return 0;
}

/* The end of a gzip file of one member: CRC-32 and size of what it holds (RFC 1952). */
static bool
holds(int folder, const char *name, uint32_t crc, uint64_t size)
{
	int fd = openat(folder, name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	unsigned char t[8];
	struct stat st;
	bool same = false;

	if (fd < 0)
		return false;
	if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && st.st_size > 18 &&
	    pread(fd, t, 8, st.st_size - 8) == 8) {
		uint32_t c = t[0] | t[1] << 8 | t[2] << 16 | (uint32_t)t[3] << 24;
		uint32_t n = t[4] | t[5] << 8 | t[6] << 16 | (uint32_t)t[7] << 24;

		same = c == crc && n == (uint32_t)size;
	}
	close(fd);
	return same;
}

/* 0 = compressed, 1 = *stop, -1 and *e. */
static int
compress_to(struct drop *d, int from, int to, const volatile sig_atomic_t *stop, uint32_t *crc,
    uint64_t *size, struct err *e)
{
	enum { CHUNK = 1 << 18 };
	int copy = dup(to);
	gzFile gz = copy < 0 ? NULL : gzdopen(copy, "wb4");
	unsigned char *chunk = x_alloc(CHUNK);
	ssize_t n = 0;
	int rc = gz ? 0 : fault(d, "cannot write to", "done/", e);

	*crc = 0;
	*size = 0;
	while (rc == 0 && (n = read(from, chunk, CHUNK)) > 0) {
		*crc = (uint32_t)crc32(*crc, chunk, (uInt)n);
		*size += (uint64_t)n;
		if (*stop)
			rc = 1;
		else if (gzwrite(gz, chunk, (unsigned)n) != n)
			rc = fault(d, "cannot write to", "done/", e);
	}
	if (rc == 0 && n < 0)
		rc = fault(d, "cannot read", "work/", e);
	if (gz && gzclose(gz) != Z_OK && rc == 0)
		rc = fault(d, "cannot write to", "done/", e);
	if (rc == 0 && fsync(to) != 0)
		rc = fault(d, "cannot write to", "done/", e);
	free(chunk);
	return rc;
}

static void
leave_later(struct drop *d, const struct drop_file *f)
{
	d->leaving = x_grow(d->leaving, &d->cap_leaving, d->n_leaving + 1, sizeof *d->leaving);
	d->leaving[d->n_leaving++] = (struct leaving){ f->tray, x_text(f->name), f->st };
}

static bool
same_file(const struct stat *a, const struct stat *b)
{
	return a->st_ino == b->st_ino && a->st_size == b->st_size &&
	    a->st_mtim.tv_sec == b->st_mtim.tv_sec && a->st_mtim.tv_nsec == b->st_mtim.tv_nsec;
}

/* Has it changed since it was listed? Then what was read is not what lies there. */
static bool
changed(struct drop *d, const struct drop_file *f)
{
	struct stat now;

	return fstatat(d->claimed[f->tray], f->name, &now, AT_SYMLINK_NOFOLLOW) != 0 ||
	    !same_file(&now, &f->st);
}

static bool
is_gzip(int fd)
{
	unsigned char magic[2];

	return pread(fd, magic, 2, 0) == 2 && magic[0] == 0x1f && magic[1] == 0x8b;
}

/* As it is, under the first free name. Whoever dropped it may not have brought it to the
 * disk, and nobody keeps another copy any more. */
static int
move_plain(struct drop *d, const struct drop_file *f, int from, int folder, struct arena *a,
    const char **name, struct err *e)
{
	const char *plain = short_name(a, f->name);
	int n = 1;

	if (fsync(from) != 0)
		return fault(d, "cannot bring to the disk", f->path, e);

	for (*name = plain; exists(folder, *name); *name = numbered(a, plain, ++n, ""))
		;
	if (changed(d, f))
		return 1;
	/* Where the machine forgets this move, the file is in work/, and read again. */
	if (renameat(d->claimed[f->tray], f->name, folder, *name) != 0)
		return fault(d, "cannot move to done/", *name, e);
	return 0;
}

/* Compressed beside its place, then named, later taken out of work/. When the machine stops
 * in between, or forgets that it was taken out, the file is read again: then a copy with
 * the same content is there already and is written over. */
static int
move_compressed(struct drop *d, const struct drop_file *f, int from, int folder,
    const volatile sig_atomic_t *stop, struct arena *a, const char **name, struct err *e)
{
	static const char part[] = ".taking.part";
	const char *plain = short_name(a, f->name);
	uint32_t crc;
	uint64_t size;
	int to, rc, n = 1;

	unlinkat(folder, part, 0);
	to = openat(folder, part, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0640);
	if (to < 0)
		return fault(d, "cannot write to", "done/", e);
	rc = compress_to(d, from, to, stop, &crc, &size, e);
	close(to);
	for (*name = numbered(a, plain, n, ".gz"); rc == 0 && exists(folder, *name) &&
	    !holds(folder, *name, crc, size); *name = numbered(a, plain, ++n, ".gz"))
		;
	if (rc == 0 && changed(d, f))
		rc = 2;
	if (rc == 0 && renameat(folder, part, folder, *name) != 0)
		rc = fault(d, "cannot move to done/", *name, e);
	if (rc)
		unlinkat(folder, part, 0);
	else
		leave_later(d, f);
	if (rc == 1)
		return move_plain(d, f, from, folder, a, name, e);
	return rc == 2 ? 1 : rc;
}

int
drop_done(struct drop *d, const struct drop_file *f, const volatile sig_atomic_t *stop,
    struct arena *a, const char **place, struct err *e)
{
	const char *day, *name = "";
	int from, rc;

	if (day_folder(d, a, &day, e) < 0)
		return -1;
	from = openat(d->claimed[f->tray], f->name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	if (from < 0)
		rc = fault(d, "cannot read", f->path, e);
	else if (*stop || is_gzip(from))
		rc = move_plain(d, f, from, d->day, a, &name, e);
	else
		rc = move_compressed(d, f, from, d->day, stop, a, &name, e);
	if (from >= 0)
		close(from);
	*place = arena_fmt(a, "%s/done/%s/%s", d->dir, day, name);
	return rc;
}

int
drop_flush(struct drop *d, struct err *e)
{
	int rc = 0;

	if (d->n_leaving && disk_sync_names(d->day) != 0)
		rc = fault(d, "cannot write", "done/", e);
	for (size_t i = 0; i < d->n_leaving; i++) {
		struct leaving *x = &d->leaving[i];
		struct stat now;

		if (rc == 0 && fstatat(d->claimed[x->tray], x->name, &now, AT_SYMLINK_NOFOLLOW) == 0 &&
		    same_file(&now, &x->st) && unlinkat(d->claimed[x->tray], x->name, 0) != 0)
			rc = fault(d, "cannot take out of work/", x->name, e);
		free(x->name);
	}
	d->n_leaving = 0;
	return rc;
}

/* ---- failed, and back ------------------------------------------------------- */

static bool
ends_with(const char *name, const char *tail)
{
	size_t n = strlen(name), m = strlen(tail);

	return n > m && strcmp(name + n - m, tail) == 0;
}

/* As in move_plain(). One that may not be read, or is no file, is not asked. */
static int
sync_failed(struct drop *d, const struct drop_file *f, struct err *e)
{
	int fd = S_ISREG(f->st.st_mode) ? openat(d->claimed[f->tray], f->name, O_RDONLY | O_NOFOLLOW |
	    O_NONBLOCK | O_CLOEXEC) : -1;
	int rc = fd >= 0 && fsync(fd) != 0 ? fault(d, "cannot bring to the disk", f->path, e) : 0;

	if (fd >= 0)
		close(fd);
	return rc;
}

int
drop_fail(struct drop *d, const struct drop_file *f, const char *why, struct err *e)
{
	struct arena a = { 0 };
	const char *plain = short_name(&a, f->name), *name = plain;
	struct outfile note;
	int n = 1, rc;

	if (sync_failed(d, f, e) < 0) {
		arena_release(&a);
		return -1;
	}

	/* What ends in .why.txt there is a note, and nothing else. A note without its file is
	 * of a move that was cut short: this one. */
	if (ends_with(plain, DROP_NOTE))
		name = plain = arena_fmt(&a, "%s.file", plain);
	while (exists(d->failed, name))
		name = numbered(&a, plain, ++n, "");
	rc = outfile_open(&note, arena_fmt(&a, "%s/failed/%s" DROP_NOTE, d->dir, name), e);
	if (rc == 0) {
		fprintf(note.f, "%s\n", why);
		rc = outfile_close(&note, e);
	}
	/* Where the machine forgets this, the file is in work/, and fails again. */
	if (rc == 0 && renameat(d->claimed[f->tray], f->name, d->failed, name) != 0)
		rc = fault(d, "cannot move to failed/", name, e);
	arena_release(&a);
	return rc;
}

int
drop_back(struct drop *d, const struct drop_file *f, struct err *e)
{
	const char *leaf;
	int to = drop_folder_of(d->tray[f->tray], f->name, &leaf);
	int rc = 0;

	/* Without its folder it stays, and is taken in at the next start. */
	if (to >= 0 && renameat2(d->claimed[f->tray], f->name, to, leaf, RENAME_NOREPLACE) != 0 &&
	    errno != EEXIST && errno != EINVAL)
		rc = fault(d, "cannot move back", f->path, e);
	if (to >= 0)
		close(to);
	return rc;
}

static int
by_name(const void *a, const void *b)
{
	return strcmp(((const struct drop_failed *)a)->name, ((const struct drop_failed *)b)->name);
}

/* The note's first line. */
static const char *
first_line(struct drop *d, struct arena *a, const char *name)
{
	int fd = openat(d->failed, arena_fmt(a, "%s" DROP_NOTE, name),
	    O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
	char text[512];
	ssize_t n = fd < 0 ? -1 : read(fd, text, sizeof text - 1);

	if (fd >= 0)
		close(fd);
	if (n <= 0)
		return "no note";
	text[n] = '\0';
	text[strcspn(text, "\n")] = '\0';
	return arena_fmt(a, "%s", text);
}

int
drop_failures(struct drop *d, struct arena *a, struct drop_failed **out, size_t *n,
    struct err *e)
{
	int fd = openat(d->failed, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	DIR *dir = fd < 0 ? NULL : fdopendir(fd);
	struct drop_failed *list = NULL;
	struct dirent *entry;
	size_t cap = 0;

	*n = 0;
	if (!dir)
		return fault(d, "cannot read", "failed/", e);
	while ((entry = readdir(dir)) != NULL) {
		if (drop_ignores(entry->d_name) || ends_with(entry->d_name, DROP_NOTE))
			continue;
		list = x_grow(list, &cap, *n + 1, sizeof *list);
		list[(*n)++] = (struct drop_failed){ arena_fmt(a, "failed/%s", entry->d_name),
		    first_line(d, a, entry->d_name) };
	}
	closedir(dir);
	if (*n)
		qsort(list, *n, sizeof *list, by_name);
	*out = arena_take(a, (*n + 1) * sizeof *list);
	if (*n)
		memcpy(*out, list, *n * sizeof *list);
	free(list);
	return 0;
}
