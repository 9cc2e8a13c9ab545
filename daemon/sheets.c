#include "daemon/sheets.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

#include "daemon/base/disk.h"
#include "daemon/cmd.h"
#include "daemon/derive.h"
#include "daemon/report/html.h"
#include "daemon/report/site_html.h"
#include "daemon/report/visit_html.h"

/* Tells how far it is; -1 when it is to end. */
static int
go_on(struct sheets *x, const char *doing, size_t i, size_t n, struct err *e)
{
	if (x->stop && *x->stop)
		return err_set(e, ERR_IO, x->folder, 0, "stopped before the end; the pages of before stay");
	if (x->tick)
		x->tick(x->tick_ctx, doing, (int)(i * 100 / n));
	return 0;
}

/* ---- files --------------------------------------------------------------------- */

static int
fault(struct sheets *x, const char *name, struct err *e)
{
	return err_set(e, ERR_IO, arena_fmt(&x->a, "%s/%s", x->folder, name), 0, "cannot write: %s",
	    strerror(errno));
}

static const char *
part_of(struct sheets *x, const char *name)
{
	return arena_fmt(&x->a, "%s.part", name);
}

static int
begin(struct sheets *x, const char *name, struct page *p, const struct tz *zone, struct err *e)
{
	FILE *f;
	int fd;

	unlinkat(x->fd, part_of(x, name), 0);
	fd = openat(x->fd, part_of(x, name), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
	f = fd < 0 ? NULL : fdopen(fd, "w");
	if (!f) {
		fault(x, name, e);
		if (fd >= 0)
			close(fd);
		return -1;
	}
	x->name = x_grow(x->name, &x->cap, x->n + 1, sizeof *x->name);
	x->name[x->n++] = name;
	page_init(p, f);
	cmd_zone(p, zone);
	return 0;
}

static int
finish(struct sheets *x, const char *name, struct page *p, struct err *e)
{
	FILE *f = p->f;
	int wrong;

	page_release(p);
	errno = 0;
	wrong = fflush(f) != 0 || ferror(f);
	if (wrong && !errno)
		errno = EIO;
	if (wrong)
		fault(x, name, e);
	if (fclose(f) != 0 && !wrong)
		return fault(x, name, e);
	return wrong ? -1 : 0;
}

/* ---- one account ------------------------------------------------------------------ */

/* Is there a plan that somebody may still work on? */
static bool
planned(const struct site *site)
{
	for (size_t i = 0; i < site->sessions.n_visit; i++) {
		const struct visit_verdict *x = &site->verdicts.visit[i];

		if (site->v->now == NO_TIME || site->sessions.visit[i].to >= site->v->now - SHEETS_PLAN)
			return true;
		for (size_t k = 0; k < x->n_missing; k++)
			if (x->missing[k].resolved == NO_TIME)
				return true;
	}
	return false;
}

static int
sheets_of(struct sheets *x, struct view *v, const struct stored_finding *f, size_t n,
    const struct tz *zone, int64_t now, struct err *e)
{
	const char *base = html_file_name(&x->a, v->account);
	const char *name = arena_fmt(&x->a, "%s.html", base);
	const char *visit = arena_fmt(&x->a, "%s.visit.html", base);
	struct site_page page = { .beside = true, .at = now };
	struct visit_check check;
	struct site site;
	struct page p;

	site_build(&site, v, f, n);
	if (planned(&site))
		page.visit = visit;
	if (begin(x, name, &p, zone, e))
		return -1;
	site_html(&p, &site, &page);
	if (finish(x, name, &p, e) || !page.visit)
		return page.visit ? -1 : 0;
	if (begin(x, visit, &p, zone, e))
		return -1;
	visit_check(v, NO_TIME, &check);
	visit_html(&p, v, &check, &(struct visit_page){ .beside = true, .site = name, .at = now });
	return finish(x, visit, &p, e);
}

/* An account that only a list names, or names as several, has no view: no sheet then. */
static int
account(struct sheets *x, struct store *s, struct tz_set *zones, const char *name,
    const struct stored_finding *f, size_t n, int64_t now, struct err *e)
{
	struct err own = { 0 };
	struct view v = { 0 };
	int rc;

	if (store_view(s, name, NO_TIME, &v, &own)) {
		view_release(&v);
		if (own.code == ERR_USAGE)
			return 0;
		*e = own;
		return -1;
	}
	derive_local(&v, zones);
	rc = sheets_of(x, &v, f, n, cmd_tz(zones, v.timezone), now, e);
	view_release(&v);
	return rc;
}

/* One after the other, when all are written: the system brings them to the disk together,
 * and each but the first few waits for next to nothing. */
static int
sync_all(struct sheets *x, struct err *e)
{
	for (size_t i = 0; i < x->n; i++) {
		int fd = openat(x->fd, part_of(x, x->name[i]), O_RDONLY | O_NOFOLLOW | O_CLOEXEC);

		if (fd < 0 || fsync(fd) != 0) {
			fault(x, x->name[i], e);
			if (fd >= 0)
				close(fd);
			return -1;
		}
		close(fd);
		if (go_on(x, "pages to the disk", i, x->n, e))
			return -1;
	}
	return 0;
}

/* ---- all of them ------------------------------------------------------------------- */

struct asked { const char *account; size_t order; const struct stored_finding *f; };

/* By account, their findings in the order of lists, what has none last. */
static int
by_account(const void *pa, const void *pb)
{
	const struct asked *a = pa, *b = pb;
	int c = strcasecmp(a->account, b->account);

	return c ? c : (a->order > b->order) - (a->order < b->order);
}

static struct asked *
all_asked(struct sheets *x, const struct stored_finding *f, size_t n, const char *const *plan,
    size_t n_plan, size_t *n_asked)
{
	struct asked *list = arena_take(&x->a, (n + n_plan + 1) * sizeof *list);
	size_t m = 0;

	for (size_t i = 0; i < n; i++)
		if (strcmp(f[i].account, "*") != 0)
			list[m++] = (struct asked){ f[i].account, i, &f[i] };
	for (size_t i = 0; i < n_plan; i++)
		list[m++] = (struct asked){ plan[i], n + i, NULL };
	qsort(list, m, sizeof *list, by_account);
	*n_asked = m;
	return list;
}

static int
by_name(const void *pa, const void *pb)
{
	return strcmp(*(const char *const *)pa, *(const char *const *)pb);
}

int
sheets_write(struct sheets *x, struct store *s, const char *out, struct tz_set *zones,
    int64_t now, const struct stored_finding *finding, size_t n, struct err *e)
{
	struct stored_finding *own = x_calloc(n + 1, sizeof *own);
	const char **plan;
	struct asked *list;
	size_t n_plan, m;
	int64_t end;
	int rc = -1;

	x->folder = arena_fmt(&x->a, "%s/site", out);
	if (disk_folder(x->folder) != 0 ||
	    (x->fd = open(x->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC)) < 0) {
		x->fd = 0;
		err_set(e, ERR_IO, x->folder, 0, "cannot be made or opened: %s", strerror(errno));
	} else if (store_now(s, &end, e) == 0 && store_planned(s, end == NO_TIME ? 0 :
	    end - SHEETS_PLAN, &x->a, &plan, &n_plan, e) == 0) {
		rc = 0;
		list = all_asked(x, finding, n, plan, n_plan, &m);
		for (size_t i = 0, k; i < m && rc == 0; i = k) {
			size_t open = 0;

			for (k = i; k < m && strcasecmp(list[k].account, list[i].account) == 0; k++)
				if (list[k].f && list[k].f->cleared == NO_TIME)
					own[open++] = *list[k].f;
			rc = go_on(x, "pages of sites", i, m, e) ||
			    account(x, s, zones, list[i].account, own, open, now, e) ? -1 : 0;
		}
		rc = rc || sync_all(x, e) ? -1 : 0;
	}
	free(own);
	if (x->n)
		qsort(x->name, x->n, sizeof *x->name, by_name);
	return rc;
}

static bool
ends_with(const char *name, const char *end)
{
	size_t n = strlen(name), m = strlen(end);

	return n > m && strcmp(name + n - m, end) == 0;
}

/* Pages of before, and what an earlier run left half written. */
static int
sweep(struct sheets *x, struct err *e)
{
	int fd = dup(x->fd);
	DIR *d = fd < 0 ? NULL : fdopendir(fd);
	struct dirent *entry;

	if (!d) {
		if (fd >= 0)
			close(fd);
		return fault(x, "", e);
	}
	rewinddir(d);
	while ((entry = readdir(d)) != NULL) {
		const char *name = entry->d_name;

		if (ends_with(name, ".html") && !bsearch(&name, x->name, x->n, sizeof *x->name, by_name))
			unlinkat(x->fd, name, 0);
		else if (ends_with(name, ".html.part"))
			unlinkat(x->fd, name, 0);
	}
	closedir(d);
	return 0;
}

struct html_sites
sheets_there(struct arena *a, const char *out)
{
	DIR *d = opendir(arena_fmt(a, "%s/site", out));
	const char **name = NULL;
	struct dirent *entry;
	size_t n = 0, cap = 0;

	while (d && (entry = readdir(d)) != NULL) {
		if (!ends_with(entry->d_name, ".html"))
			continue;
		name = x_grow(name, &cap, n + 1, sizeof *name);
		name[n++] = arena_fmt(a, "%s", entry->d_name);
	}
	if (d)
		closedir(d);
	if (n)
		qsort(name, n, sizeof *name, by_name);
	return (struct html_sites){ arena_keep(a, name, n, sizeof *name), n };
}

int
sheets_place(struct sheets *x, struct err *e)
{
	for (size_t i = 0; i < x->n; i++)
		if (renameat(x->fd, part_of(x, x->name[i]), x->fd, x->name[i]) != 0)
			return fault(x, x->name[i], e);
	if (sweep(x, e))
		return -1;
	x->n = 0;
	return disk_sync_names(x->fd) ? fault(x, "", e) : 0;
}

void
sheets_release(struct sheets *x)
{
	for (size_t i = 0; i < x->n; i++)
		unlinkat(x->fd, part_of(x, x->name[i]), 0);
	if (x->fd)
		close(x->fd);
	free(x->name);
	arena_release(&x->a);
	*x = (struct sheets){ 0 };
}
