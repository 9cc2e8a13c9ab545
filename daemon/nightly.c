#include "daemon/nightly.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include "daemon/cmd.h"
#include "daemon/pages.h"
#include "daemon/report/board.h"
#include "daemon/report/csvout.h"
#include "daemon/report/findings.h"
#include "daemon/report/outfile.h"
#include "daemon/report/settings.h"
#include "daemon/sheets.h"
#include "parsers/reader.h"
#include "rules/override.h"

/* ---- which files ------------------------------------------------------------ */

static int
fingerprint(const char *path, int64_t *size, uint32_t *crc, struct err *e)
{
	enum { CHUNK = 1 << 18 };
	int fd = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
	unsigned char *chunk = x_alloc(CHUNK);
	ssize_t n = -1;
	int rc = 0;

	*size = 0;
	*crc = 0;
	while (fd >= 0 && (n = read(fd, chunk, CHUNK)) > 0) {
		*crc = (uint32_t)crc32(*crc, chunk, (uInt)n);
		*size += n;
	}
	if (n < 0)
		rc = err_set(e, ERR_IO, path, 0, "cannot be read: %s", strerror(errno));
	if (fd >= 0)
		close(fd);
	free(chunk);
	return rc;
}

static bool
unfinished(const char *name)
{
	const char *dot = strrchr(name, '.');

	return name[0] == '.' || (dot && (strcasecmp(dot, ".part") == 0 ||
	    strcasecmp(dot, ".tmp") == 0));
}

struct found {
	const char *path;
	bool        known;
	bool        wordings;	/* which are not known */
};

/* False: no file that is to be read. One that cannot even be looked at is read: what is wrong is said there. */
static bool
look_at(struct store *s, struct found *c, bool covers_all, struct ingest_inside *inside, int *rc,
    struct err *e)
{
	struct reader_options options = { 0 };
	struct reader *r;
	char full[PATH_MAX];
	struct stat st;
	struct err unread;
	int64_t size;
	uint32_t crc;

	if (stat(c->path, &st) == 0 && !S_ISREG(st.st_mode)) {
		if (S_ISDIR(st.st_mode))
			ingest_inside_add(inside, c->path);
		return false;
	}
	if (!realpath(c->path, full) || fingerprint(c->path, &size, &crc, &unread) < 0)
		return true;
	*rc = store_knows(s, full, size, crc, covers_all, &c->known, e);
	if (*rc == 0 && !c->known && (r = reader_open(c->path, &options, &unread)) != NULL) {
		c->wordings = reader_info(r)->kind == FILE_WORDINGS;
		reader_close(r);
	}
	return true;
}

static int
by_path(const void *a, const void *b)
{
	return strcmp(((const struct found *)a)->path, ((const struct found *)b)->path);
}

int
nightly_files(struct store *s, const char *dir, bool covers_all, struct arena *a,
    struct nightly_folder *out, struct err *e)
{
	DIR *d = opendir(dir);
	struct found *list = NULL;
	struct dirent *entry;
	size_t m = 0, cap = 0;
	bool again = false;
	int rc = 0;

	*out = (struct nightly_folder){ 0 };
	if (!d)
		return err_set(e, ERR_IO, dir, 0, "cannot be read: %s", strerror(errno));
	while (rc == 0 && (entry = readdir(d)) != NULL) {
		struct found c = { .path = arena_fmt(a, "%s%s%s", dir,
		    dir[strlen(dir) - 1] == '/' ? "" : "/", entry->d_name) };

		if (unfinished(entry->d_name) || ingest_is_store(s, c.path) ||
		    !look_at(s, &c, covers_all, &out->inside, &rc, e))
			continue;
		again |= c.wordings;
		list = x_grow(list, &cap, m + 1, sizeof *list);
		list[m++] = c;
	}
	closedir(d);
	if (m)
		qsort(list, m, sizeof *list, by_path);
	out->path = arena_take(a, (m + 1) * sizeof *out->path);
	for (size_t i = 0; i < m; i++) {
		if (!list[i].known || again)
			out->path[out->n++] = list[i].path;
		else
			out->n_known++;
	}
	free(list);
	return rc;
}

int64_t
nightly_last(const struct tz *tz, double hour, int64_t now)
{
	int64_t seconds = now / SECOND, local = seconds + tz_offset(tz, seconds);
	int64_t wall = local - (local % 86400 + 86400) % 86400 + (int64_t)(hour * 3600 + 0.5);
	int32_t first, second;

	for (;; wall -= 86400) {
		tz_local(tz, wall, &first, &second);
		if ((wall - first) * SECOND <= now)
			return (wall - first) * SECOND;
	}
}

/* ---- what is told ----------------------------------------------------------- */

/* `before`: against the night before the last, which has been told already. */
static int
collect(struct store *s, const struct nightly_options *o, bool before, struct arena *a,
    struct digest *d, struct err *e)
{
	struct finding_filter all = { .level = -1, .state = "all", .since = NO_TIME,
	    .as_of = o->now };
	struct stored_finding *finding;
	struct told *told;
	struct account_info *uncovered, *account;
	struct night_file *file;
	struct night_reason *reason;
	struct night_change *change;
	struct night_decision *decision;
	struct night_removal *removal;
	struct setting_row *row;
	struct store_status status;
	struct text_zone *zone;
	struct page clock = { 0 };
	size_t n;

	*d = (struct digest){ .at = o->now, .failed = o->failed, .n_failed = o->n_failed,
	    .n_known = o->n_known, .damage = o->damage };
	if ((before ? store_night_before : store_night)(s, &d->last, e) ||
	    store_findings(s, &all, a, &finding, &d->n_finding, e) ||
	    (before ? store_told_before : store_told)(s, a, &told, &d->n_told, e) ||
	    store_uncovered(s, a, &uncovered, &d->n_uncovered, e) ||
	    store_accounts(s, a, &account, &d->n_account, e) ||
	    store_night_files(s, d->last.file, a, &file, &d->n_file, e) ||
	    store_night_reasons(s, d->last.file, a, &reason, &d->n_reason, e) ||
	    store_night_changes(s, d->last.file, a, &change, &d->n_change, e) ||
	    store_night_decisions(s, d->last.decision, a, &decision, &d->n_decision, e) ||
	    store_night_removals(s, d->last.removal, a, &removal, &d->n_removal, e) ||
	    store_settings(s, a, &row, &n, e) || store_status(s, a, &status, e))
		return -1;
	zone = arena_take(a, (d->n_finding + 1) * sizeof *zone);
	for (size_t i = 0; i < d->n_finding; i++) {
		cmd_zone(&clock, cmd_tz(o->zones, finding[i].timezone));
		zone[i] = clock.zone;
	}
	d->finding = finding;
	d->zone = zone;
	d->told = told;
	d->uncovered = uncovered;
	d->account = account;
	d->file = file;
	d->reason = reason;
	d->change = change;
	d->decision = decision;
	d->removal = removal;
	d->cover_from = status.cover_from;
	d->cover_to = status.cover_to;
	d->due = status.due;
	d->aside_limit = settings_of_the_store(&override_nightly, "set_aside", row, n);
	d->expected = nightly_last(tz_machine(o->zones),
	    o->expected < 0 ? settings_of_the_store(&override_nightly, "expected",
	    row, n) : o->expected, o->now);
	return 0;
}

struct listed {
	struct stored_finding *finding;
	struct text_zone      *zone;
	enum digest_change    *change;
	size_t                 n;
};

/* Open findings, then those that this night tells as cleared. */
static void
list_all(struct arena *a, const struct digest *d, struct listed *l)
{
	size_t most = d->n_finding + 1;

	*l = (struct listed){ .finding = arena_take(a, most * sizeof *l->finding),
	    .zone = arena_take(a, most * sizeof *l->zone),
	    .change = arena_take(a, most * sizeof *l->change) };
	for (int cleared = 0; cleared <= 1; cleared++) {
		for (size_t i = 0; i < d->n_finding; i++) {
			enum digest_change c = digest_change(d, &d->finding[i]);

			if (cleared != (d->finding[i].cleared != NO_TIME) || c == DIGEST_GONE ||
			    (c == DIGEST_PASSED && !d->last.id))
				continue;
			l->finding[l->n] = d->finding[i];
			l->zone[l->n] = d->zone[i];
			l->change[l->n++] = c;
		}
	}
}

static void
write_board(FILE *f, const struct nightly_options *o, struct arena *a, const struct digest *d,
    const struct listed *l, bool beside, struct html_sites sites)
{
	struct board b = { .finding = l->finding, .zone = l->zone, .change = l->change,
	    .n_finding = l->n, .filter = "", .rest = "findings.csv", .uncovered = d->uncovered,
	    .n_uncovered = d->n_uncovered, .expected = d->expected,
	    .accounts = (int64_t)d->n_account, .cover_from = d->cover_from,
	    .cover_to = d->cover_to, .due = d->due, .at = d->at, .beside = beside,
	    .sites = sites, .failed = d->failed, .n_failed = d->n_failed };
	struct account_info *behind;
	struct page p;

	page_init(&p, f);
	cmd_zone(&p, tz_machine(o->zones));
	b.n_behind = digest_behind(d, a, &behind);
	b.behind = behind;
	b.alert = digest_stale(&p, d);
	b.since = arena_fmt(a, "New and cleared: %s.", digest_against(&p, d));
	for (size_t i = 0; i < l->n; i++)
		if (l->finding[i].cleared == NO_TIME)
			b.open[l->finding[i].level]++;
	board_html(&p, &b);
	page_release(&p);
}

struct asides { struct csvout w; int64_t since; };

static int
aside_row(void *ctx, const struct aside_row *row)
{
	struct asides *x = ctx;

	if (row->file <= x->since)
		return 0;
	csvout_text(&x->w, row->file_name);
	csvout_int(&x->w, row->line);
	csvout_text(&x->w, row->kind);
	csvout_text(&x->w, row->reason);
	csvout_span(&x->w, (struct span){ row->raw, row->raw_n });
	csvout_end(&x->w);
	return ferror(x->w.f);
}

enum { DIGEST, CSV, JSON, ASIDE, BOARD, TREND, RULES, OUTPUTS };
static const char *const file_name[OUTPUTS] = {
	"digest.txt", "findings.csv", "findings.json", "set-aside.csv", "board.html",
	"trend.html", "rules.html"
};

const char *
nightly_file(size_t i)
{
	return i < OUTPUTS ? file_name[i] : NULL;
}

static int
write_trend(struct store *s, const struct nightly_options *o, FILE *f,
    const struct html_sites *sites, struct err *e)
{
	struct page p;
	int rc;

	page_init(&p, f);
	cmd_zone(&p, tz_machine(o->zones));
	rc = pages_trend(s, &p, o->now, sites, e);
	page_release(&p);
	return rc;
}

static int
write_rules(struct store *s, const struct nightly_options *o, FILE *f, struct err *e)
{
	struct page p;
	int rc;

	page_init(&p, f);
	cmd_zone(&p, tz_machine(o->zones));
	rc = pages_rules(s, &p, o->now, e);
	page_release(&p);
	return rc;
}

static int
write_all(struct store *s, const struct nightly_options *o, struct arena *a,
    const struct digest *d, struct outfile *out, struct sheets *sheets, struct err *e)
{
	struct json j = { .f = out[JSON].f };
	struct asides asides = { .since = d->last.file };
	struct html_sites sites;
	struct listed l;
	struct page p;

	page_init(&p, out[DIGEST].f);
	cmd_zone(&p, tz_machine(o->zones));
	digest_text(&p, d);
	page_release(&p);
	list_all(a, d, &l);
	findings_csv(out[CSV].f, l.finding, l.n);
	json_open(&j, NULL, '{');
	findings_json(&j, l.finding, l.n);
	json_close(&j, '}');
	json_end(&j);
	if (sheets_write(sheets, s, o->out, o->zones, o->now, l.finding, l.n, e))
		return -1;
	sites = (struct html_sites){ sheets->name, sheets->n };
	write_board(out[BOARD].f, o, a, d, &l, true, sites);
	if (write_trend(s, o, out[TREND].f, &sites, e) ||
	    write_rules(s, o, out[RULES].f, e))
		return -1;
	csvout_init(&asides.w, out[ASIDE].f);
	csvout_header(&asides.w, "from_file,from_line,kind,reason,raw");
	return store_asides(s, aside_row, &asides, e) < 0 ? -1 : 0;
}

static int
place_all(struct outfile *out, struct err *e)
{
	for (int i = 0; i < OUTPUTS; i++)
		if (outfile_seal(&out[i], e) < 0)
			return -1;
	for (int i = 0; i < OUTPUTS; i++)
		if (outfile_close(&out[i], e) < 0)
			return -1;
	return 0;
}

/* Reading, writing and marking stand in one transaction: what somebody else adds
 * meanwhile is not marked as told. */
int
nightly_tell(struct store *s, const struct nightly_options *o, struct arena *a,
    const char **asks, struct err *e)
{
	struct outfile out[OUTPUTS] = { 0 };
	struct sheets sheets = { .stop = o->stop, .tick = o->tick, .tick_ctx = o->tick_ctx };
	struct page p = { 0 };
	struct digest d;
	int rc = store_begin(s, e);

	if (rc)
		return -1;
	for (int i = 0; rc == 0 && i < OUTPUTS; i++)
		rc = outfile_open(&out[i], arena_fmt(a, "%s/%s", o->out, file_name[i]), e);
	if (rc == 0 && (collect(s, o, false, a, &d, e) || write_all(s, o, a, &d, out, &sheets, e) ||
	    place_all(out, e) || sheets_place(&sheets, e) || store_night_done(s, o->now, e) ||
	    store_commit(s, e)))
		rc = -1;
	for (int i = 0; i < OUTPUTS; i++)
		outfile_drop(&out[i]);
	sheets_release(&sheets);
	if (rc) {
		store_abort(s);
		return -1;
	}
	*asks = arena_text(a, span_of(digest_attention(&p, &d)));
	page_release(&p);
	return 0;
}

int
nightly_board(struct store *s, const struct nightly_options *o, struct err *e)
{
	struct arena a = { 0 };
	struct outfile out = { 0 };
	struct night last;
	struct listed l;
	struct digest d;
	int rc = outfile_open(&out, arena_fmt(&a, "%s/%s", o->out, file_name[BOARD]), e);

	if (rc == 0)
		rc = store_night(s, &last, e) || collect(s, o, true, &a, &d, e) ? -1 : 0;
	if (rc == 0) {
		list_all(&a, &d, &l);
		/* Before the first night it is the only page. */
		write_board(out.f, o, &a, &d, &l, last.id != 0, sheets_there(&a, o->out));
		rc = outfile_close(&out, e);
	}
	outfile_drop(&out);
	arena_release(&a);
	return rc;
}
