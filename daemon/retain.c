#include "daemon/retain.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/backups.h"
#include "daemon/base/disk.h"
#include "daemon/nightly.h"
#include "daemon/report/settings.h"
#include "rules/override.h"

#define NOTE ".why.txt"

/* What one step works with. */
struct step {
	struct store               *s;
	const struct retain_options *o;
	struct retained            *out;
	int64_t                     before;	/* older ones go */
	const char                **gone;	/* places that the store knew; lent */
	size_t                      n_gone, cap_gone;
	const char                **day;	/* folders of done/ that were looked at; lent */
	size_t                      n_day, cap_day;
	struct arena                arena;
};

static const struct removed none = { 0, 0, NO_TIME, NO_TIME };

static int
fault(const char *folder, const char *what, const char *name, struct err *e)
{
	return err_set(e, ERR_IO, folder, 0, "%s%s%s: %s", what, *name ? " " : "", name,
	    strerror(errno));
}

static void
count(struct step *x, int64_t bytes, int64_t at)
{
	struct removed *r = &x->out->sum;

	r->n++;
	r->bytes += bytes;
	r->oldest = r->oldest == NO_TIME || at < r->oldest ? at : r->oldest;
	r->newest = r->newest == NO_TIME || at > r->newest ? at : r->newest;
}

/* A file there that is no link; 1, or 0. */
static bool
plain(int folder, const char *name, struct stat *st)
{
	return fstatat(folder, name, st, AT_SYMLINK_NOFOLLOW) == 0 && S_ISREG(st->st_mode);
}

static int64_t
changed(const struct stat *st)
{
	return st->st_mtim.tv_sec * SECOND;
}

/* The names in a folder, in order; one that is missing is empty. Lent. */
static int
by_name(const void *a, const void *b)
{
	return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static int
list(struct step *x, int folder, const char *path, const char ***out, size_t *n, struct err *e)
{
	DIR *d = fdopendir(folder);
	const char **name = NULL;
	struct dirent *entry;
	size_t cap = 0;

	*n = 0;
	if (!d) {
		close(folder);
		return fault(path, "cannot be read", "", e);
	}
	while ((entry = readdir(d)) != NULL) {
		name = x_grow(name, &cap, *n + 1, sizeof *name);
		name[(*n)++] = arena_fmt(&x->arena, "%s", entry->d_name);
	}
	closedir(d);
	*out = arena_keep(&x->arena, name, *n, sizeof *name);
	if (*n)
		qsort(*out, *n, sizeof **out, by_name);
	return 0;
}

/* -1 = it cannot be opened; a folder that is not there is none. */
static int
open_folder(int at, const char *path)
{
	return openat(at, path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
}

/* Was there no folder of that name? */
static bool
is_none(void)
{
	return errno == ENOENT || errno == ENOTDIR || errno == ELOOP;
}

/* "2026-10-01": the end of that day, UTC. NO_TIME when it is none. */
static int64_t
day_end(const char *name)
{
	static const char form[] = "0000-00-00";
	int part[3] = { 0 }, at = 0;
	struct civil c;

	if (strlen(name) != strlen(form))
		return NO_TIME;
	for (size_t i = 0; form[i]; i++) {
		if (form[i] == '-' ? name[i] != '-' : name[i] < '0' || name[i] > '9')
			return NO_TIME;
		if (form[i] == '-')
			at++;
		else
			part[at] = part[at] * 10 + name[i] - '0';
	}
	if (part[1] < 1 || part[1] > 12 || part[2] < 1 || part[2] > civil_month_days(part[0], part[1]))
		return NO_TIME;
	c = (struct civil){ .year = part[0], .month = part[1], .day = part[2] };
	return civil_to_ms(&c) + DAY;
}

/* Before it is noted that they are gone, they are: what comes back when the machine stops
 * would be counted twice, or nobody's any more. */
static int
make_sure(struct step *x, int folder, const char *path, int rc, struct err *e)
{
	if (!x->out->sum.n || x->o->how.dry || disk_sync_names(folder) == 0)
		return rc;
	x->out->sum = none;
	x->n_gone = 0;
	return rc ? rc : fault(path, "cannot be written", "", e);
}

/* ---- done ------------------------------------------------------------------- */

/* A file as the store knows it; one that was read twice has two rows of one place. */
struct known { const char *place; bool there; };

static int
by_place(const void *a, const void *b)
{
	return strcmp(((const struct known *)a)->place, ((const struct known *)b)->place);
}

static struct known *
first_of(const struct known *place, struct known *known, size_t n)
{
	struct known *k = bsearch(place, known, n, sizeof *known, by_place);

	while (k && k > known && by_place(k - 1, place) == 0)
		k--;
	return k;
}

static void
forget(struct step *x, const char *place)
{
	x->gone = x_grow(x->gone, &x->cap_gone, x->n_gone + 1, sizeof *x->gone);
	x->gone[x->n_gone++] = place;
}

/* Those that the store thinks in that folder and are not: it is there, so a removal was cut
 * short before it was noted. */
static void
done_before(struct step *x, const char *path, int64_t at, const struct known *known, size_t n)
{
	size_t len = strlen(path);

	for (size_t i = 0; i < n; i++) {
		if (known[i].there || strncmp(known[i].place, path, len) != 0 ||
		    strchr(known[i].place + len, '/'))
			continue;
		if (i == 0 || strcmp(known[i].place, known[i - 1].place) != 0)
			count(x, 0, at);
		forget(x, known[i].place);
	}
}

/* Files of one day. */
static int
done_day(struct step *x, int done, const char *day, int64_t end, struct known *known,
    size_t n_known, struct err *e)
{
	const char *path = arena_fmt(&x->arena, "%s/done/%s/", x->o->folder, day);
	int folder = open_folder(done, day), rc;
	const char **name;
	size_t n;

	if (folder < 0)
		return is_none() ? 0 : fault(x->o->folder, "cannot be read: done/", day, e);
	if ((rc = list(x, dup(folder), day, &name, &n, e)) < 0) {
		close(folder);
		return rc;
	}
	for (size_t i = 0; rc == 0 && i < n; i++) {
		struct known place = { arena_fmt(&x->arena, "%s%s", path, name[i]), false };
		struct known *file = first_of(&place, known, n_known);
		struct stat st;

		if (strcmp(name[i], ".") == 0 || strcmp(name[i], "..") == 0)
			continue;
		for (struct known *k = file; k && k < known + n_known && by_place(k, &place) == 0; k++)
			k->there = true;
		if (!file || !plain(folder, name[i], &st)) {
			x->out->left++;
			continue;
		}
		if (!x->o->how.dry && unlinkat(folder, name[i], 0) != 0) {
			rc = fault(x->o->folder, "cannot remove from done/", name[i], e);
			break;
		}
		count(x, st.st_size, end - DAY);
		for (struct known *k = file; k < known + n_known && by_place(k, &place) == 0; k++)
			forget(x, k->place);
	}
	if (rc == 0)
		done_before(x, path, end - DAY, known, n_known);
	rc = make_sure(x, folder, x->o->folder, rc, e);
	close(folder);
	x->day = x_grow(x->day, &x->cap_day, x->n_day + 1, sizeof *x->day);
	x->day[x->n_day++] = day;
	return rc;
}

static int
done(struct step *x, struct err *e)
{
	struct file_info *file;
	struct known *known;
	const char **day;
	size_t n, n_file;
	int folder, rc;

	if (store_files(x->s, &x->arena, &file, &n_file, e))
		return -1;
	known = arena_take(&x->arena, (n_file + 1) * sizeof *known);
	for (size_t i = 0; i < n_file; i++)
		known[i] = (struct known){ file[i].place, false };
	qsort(known, n_file, sizeof *known, by_place);
	folder = open_folder(AT_FDCWD, arena_fmt(&x->arena, "%s/done", x->o->folder));
	if (folder < 0)
		return errno == ENOENT ? 0 : fault(x->o->folder, "cannot be read:", "done/", e);
	rc = list(x, dup(folder), "done/", &day, &n, e);
	for (size_t i = 0; rc == 0 && i < n; i++) {
		int64_t end = day_end(day[i]);

		if (end != NO_TIME && end <= x->before)
			rc = done_day(x, folder, day[i], end, known, n_file, e);
	}
	close(folder);
	return rc;
}

/* ---- failed, backups, pages ------------------------------------------------- */

/* A file and its note. The note goes last: one that is alone is of a removal, or a move, that
 * was cut short. */
static int
failed(struct step *x, struct err *e)
{
	int folder = open_folder(AT_FDCWD, arena_fmt(&x->arena, "%s/failed", x->o->folder)), rc;
	const char **name;
	size_t n, tail = strlen(NOTE);

	if (folder < 0)
		return errno == ENOENT ? 0 : fault(x->o->folder, "cannot be read:", "failed/", e);
	rc = list(x, dup(folder), "failed/", &name, &n, e);
	for (size_t i = 0; rc == 0 && i < n; i++) {
		size_t len = strlen(name[i]);
		const char *file;
		struct stat st, note;

		if (len <= tail || strcmp(name[i] + len - tail, NOTE) != 0)
			continue;
		if (!plain(folder, name[i], &note) || changed(&note) >= x->before)
			continue;
		file = arena_text(&x->arena, (struct span){ name[i], len - tail });
		if (!plain(folder, file, &st))
			st.st_size = 0;
		if (!x->o->how.dry && ((unlinkat(folder, file, 0) != 0 && errno != ENOENT) ||
		    fsync(folder) != 0 || unlinkat(folder, name[i], 0) != 0))
			rc = fault(x->o->folder, "cannot remove from failed/", file, e);
		else
			count(x, st.st_size + note.st_size, changed(&note));
	}
	rc = make_sure(x, folder, x->o->folder, rc, e);
	close(folder);
	return rc;
}

static int
backups(struct step *x, struct err *e)
{
	int folder = open_folder(AT_FDCWD, x->o->backup), rc;
	const char **name;
	size_t n, newest;

	if (folder < 0)
		return errno == ENOENT ? 0 : fault(x->o->backup, "cannot be read", "", e);
	rc = list(x, dup(folder), x->o->backup, &name, &n, e);
	for (newest = n; rc == 0 && newest > 0 && !backups_is_one(x->s, name[newest - 1]); newest--)
		;
	for (size_t i = 0; rc == 0 && i + 1 < newest; i++) {
		int64_t end = backups_is_one(x->s, name[i]) ? day_end(strrchr(name[i], '.') + 1) : NO_TIME;
		struct stat st;

		if (end == NO_TIME || end > x->before || !plain(folder, name[i], &st))
			continue;
		if (!x->o->how.dry && unlinkat(folder, name[i], 0) != 0)
			rc = fault(x->o->backup, "cannot be removed:", name[i], e);
		else
			count(x, st.st_size, end - DAY);
	}
	rc = make_sure(x, folder, x->o->backup, rc, e);
	close(folder);
	return rc;
}

/* The page of that name, if it is old. */
static int
page(struct step *x, int folder, const char *name, struct err *e)
{
	struct stat st;

	if (!plain(folder, name, &st) || changed(&st) >= x->before)
		return 0;
	if (!x->o->how.dry && unlinkat(folder, name, 0) != 0)
		return fault(x->o->out, "cannot be removed:", name, e);
	count(x, st.st_size, changed(&st));
	return 0;
}

/* The folder of the sheets is the program's own. */
static int
sheets(struct step *x, int out, struct err *e)
{
	static const char tail[] = ".html";
	int folder = open_folder(out, "site"), rc;
	const char **name;
	size_t n;

	if (folder < 0)
		return is_none() ? 0 : fault(x->o->out, "cannot be read:", "site/", e);
	rc = list(x, dup(folder), "site/", &name, &n, e);
	for (size_t i = 0; rc == 0 && i < n; i++) {
		size_t len = strlen(name[i]);

		if (len > strlen(tail) && strcmp(name[i] + len - strlen(tail), tail) == 0)
			rc = page(x, folder, name[i], e);
	}
	rc = make_sure(x, folder, x->o->out, rc, e);
	close(folder);
	return rc;
}

static int
pages(struct step *x, struct err *e)
{
	int folder = open_folder(AT_FDCWD, x->o->out), rc = 0;

	if (folder < 0)
		return errno == ENOENT ? 0 : fault(x->o->out, "cannot be read", "", e);
	for (size_t i = 0; rc == 0 && nightly_file(i); i++)
		rc = page(x, folder, nightly_file(i), e);
	rc = make_sure(x, folder, x->o->out, rc, e);
	if (rc == 0)
		rc = sheets(x, folder, e);
	close(folder);
	return rc;
}

/* ---- all of it -------------------------------------------------------------- */

int
retain_settings(struct store *s, struct retained out[KEPT_KINDS], struct err *e)
{
	struct arena a = { 0 };
	struct setting_row *row;
	size_t n;
	int rc = store_settings(s, &a, &row, &n, e);

	for (int k = 0; rc == 0 && k < KEPT_KINDS; k++) {
		const char *name = override_kept.setting[k].name;

		out[k] = (struct retained){ .kind = name, .sum = { 0, 0, NO_TIME, NO_TIME },
		    .days = (int)settings_of_the_store(&override_kept, name, row, n) };
	}
	arena_release(&a);
	return rc;
}

/* In the store the files lie nowhere from now on, and are counted: both or neither. */
static int
note(struct step *x, const struct expire_options *how, struct err *e)
{
	int rc;

	if (!x->out->sum.n || how->dry)
		return 0;
	if (store_begin(x->s, e))
		return -1;
	rc = expire_note(x->s, x->out->kind, how, &x->out->sum, e);
	for (size_t i = 0; rc == 0 && i < x->n_gone; i++)
		rc = store_moved(x->s, x->gone[i], "", e);
	if (rc == 0)
		rc = store_commit(x->s, e);
	if (rc)
		store_abort(x->s);
	return rc;
}

/* Only now, since a day's folder tells that its files may not be noted yet. One in which
 * something is left stays. */
static void
remove_days(struct step *x)
{
	for (size_t i = 0; i < x->n_day && !x->o->how.dry; i++)
		rmdir(arena_fmt(&x->arena, "%s/done/%s", x->o->folder, x->day[i]));
}

/* One kind outside the store: what is old goes, and is noted. */
static int
outside(struct step *x, struct expire_options *how, int (*remove)(struct step *x, struct err *e),
    struct err *e)
{
	int rc = expire_before(x->s, how, &x->before, e), noted;

	x->out->looked = true;
	if (rc || x->before == NO_TIME)
		return rc;
	rc = remove(x, e);
	noted = note(x, how, rc ? &(struct err){ 0 } : e);
	if (rc == 0 && noted == 0)
		remove_days(x);
	free(x->gone);
	free(x->day);
	arena_release(&x->arena);
	return rc ? rc : noted;
}

int
retain_run(struct store *s, const struct retain_options *o, struct retained out[KEPT_KINDS],
    struct err *e)
{
	const struct { bool there; int (*remove)(struct step *x, struct err *e); } what[KEPT_KINDS] = {
		[KEPT_DONE] = { o->folder != NULL, done },
		[KEPT_FAILED] = { o->folder != NULL, failed },
		[KEPT_BACKUPS] = { o->backup != NULL, backups },
		[KEPT_PAGES] = { o->out != NULL, pages },
	};
	struct expire_options how = o->how;
	int rc = retain_settings(s, out, e);

	for (int k = 0; rc == 0 && k < KEPT_KINDS; k++) {
		struct step x = { .s = s, .o = o, .out = &out[k] };

		how.days = out[k].days;
		if (k == KEPT_EVENTS)
			rc = expire_events(s, &how, &out[k].sum, e);
		else if (k == KEPT_ASIDE)
			rc = expire_asides(s, &how, &out[k].sum, e);
		else if (what[k].there)
			rc = outside(&x, &how, what[k].remove, e);
		out[k].looked |= k <= KEPT_ASIDE;
	}
	return rc;
}
