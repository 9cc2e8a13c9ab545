#include <string.h>

#include "daemon/cmd.h"
#include "daemon/report/csvout.h"
#include "daemon/report/findings.h"
#include "daemon/report/outfile.h"
#include "parsers/reader.h"

struct options {
	struct opts_common common;
	const char        *out, *account, *kind;
	bool               set_aside;
};

static const struct opt options[] = {
	{ 'o', "out", "FILE", "write to FILE, which appears only when it is whole (default: "
	  "standard output)", OPT_TEXT, offsetof(struct options, out), 0, 0, NULL },
	{ 'a', "account", "ACCOUNT", "events, findings, decisions: only of this account", OPT_TEXT,
	  offsetof(struct options, account), 0, 0, NULL },
	{ 'k', "kind", "KIND", "aside: rows of this kind of file (events, roster, sites, ...)",
	  OPT_TEXT, offsetof(struct options, kind), 0, 0, NULL },
	{ 0, "set-aside", NULL, "the same as the part \"aside\"", OPT_FLAG,
	  offsetof(struct options, set_aside), 0, 0, NULL },
	OPTS_COMMON(struct options),
	OPTS_END
};

struct export {
	struct store         *s;
	const struct options *o;
	FILE                 *f;
	struct csvout         w;
	struct arena          arena;
};

/* ---- events ------------------------------------------------------------------ */

static int
event_row(void *ctx, const struct log_row *r)
{
	struct export *x = ctx;
	const char *const cell[] = {
		r->account, r->time, r->event, r->zone, r->partition, r->serial, r->user, r->text,
		r->received, r->signal, r->receiver, r->line, r->utc, r->word, r->marks, r->file,
	};

	for (size_t i = 0; i < sizeof cell / sizeof *cell; i++)
		csvout_text(&x->w, cell[i]);
	csvout_int(&x->w, r->row_line);
	csvout_end(&x->w);
	return ferror(x->f);	/* no use in going on when nobody takes it */
}

/* An account that nobody knows is a slip of the finger, not an empty table. */
static int
known(struct export *x, struct err *e)
{
	struct account_info *a;
	size_t n;

	if (!x->o->account)
		return 0;
	if (store_accounts(x->s, &x->arena, &a, &n, e) < 0)
		return -1;
	for (size_t i = 0; i < n; i++)
		if (strcasecmp(a[i].account, x->o->account) == 0)
			return 0;
	return err_set(e, ERR_USAGE, NULL, 0, "no account %s in the store", x->o->account);
}

static int
events(struct export *x, struct err *e)
{
	if (known(x, e))
		return -1;
	csvout_header(&x->w, "account,time,event,zone,partition,serial,user,text,received,signal,"
	    "receiver,line,utc,word,marks,from_file,from_line");
	return store_event_log(x->s, x->o->account, event_row, x, e) < 0 ? -1 : 0;
}

/* ---- findings, decisions ----------------------------------------------------- */

static int
all_findings(struct export *x, struct stored_finding **f, size_t *n, struct err *e)
{
	struct finding_filter filter = { .account = x->o->account, .level = -1, .state = "all",
		.since = NO_TIME, .as_of = NO_TIME };

	return store_findings(x->s, &filter, &x->arena, f, n, e);
}

static int
findings(struct export *x, struct err *e)
{
	struct stored_finding *f;
	size_t n;

	if (all_findings(x, &f, &n, e) < 0)
		return -1;
	findings_csv(x->f, f, n);
	return 0;
}

static int
decisions(struct export *x, struct err *e)
{
	struct stored_finding *f;
	struct stored_decision *d;
	size_t n, n_decision;

	if (all_findings(x, &f, &n, e) < 0)
		return -1;
	csvout_header(&x->w, "finding,decision,who,until,why,at,holds,lifted");
	for (size_t i = 0; i < n; i++) {
		if (store_decisions(x->s, f[i].id, &x->arena, &d, &n_decision, e) < 0)
			return -1;
		for (size_t k = 0; k < n_decision; k++) {
			csvout_text(&x->w, f[i].id);
			csvout_text(&x->w, d[k].decision);
			csvout_text(&x->w, d[k].who);
			csvout_time(&x->w, d[k].until);
			csvout_text(&x->w, d[k].why);
			csvout_time(&x->w, d[k].at);
			csvout_text(&x->w, d[k].holds ? "yes" : "no");
			csvout_text(&x->w, d[k].lifted);
			csvout_end(&x->w);
		}
	}
	return 0;
}

/* ---- files ------------------------------------------------------------------- */

static int
files(struct export *x, struct err *e)
{
	struct file_info *f;
	size_t n;

	if (store_files(x->s, &x->arena, &f, &n, e) < 0)
		return -1;
	csvout_header(&x->w, "file,kind,place,size,crc32,taken,rows,stored,repeated,set_aside,"
	    "from,to,ignored_columns,expired");
	for (size_t i = 0; i < n; i++) {
		csvout_text(&x->w, f[i].name);
		csvout_text(&x->w, f[i].kind);
		csvout_text(&x->w, f[i].place);
		csvout_int(&x->w, f[i].size);
		csvout_text(&x->w, arena_fmt(&x->arena, "%08llx", (unsigned long long)f[i].crc32));
		csvout_time(&x->w, f[i].taken);
		csvout_int(&x->w, f[i].rows);
		csvout_int(&x->w, f[i].stored);
		csvout_int(&x->w, f[i].repeated);
		csvout_int(&x->w, f[i].set_aside);
		csvout_time(&x->w, f[i].from);
		csvout_time(&x->w, f[i].to);
		csvout_text(&x->w, f[i].ignored);
		csvout_int(&x->w, f[i].expired);
		csvout_end(&x->w);
	}
	return 0;
}

/* ---- set-aside rows ------------------------------------------------------------ */

/* Two passes over the rows: which kinds and columns there are, then the rows. */
struct asides {
	struct export *x;
	const char    *kind;		/* NULL = not chosen yet */
	struct { const char *kind; int64_t rows; } seen[FILE_KINDS + 1];
	size_t         n_seen;
	bool           column[COL_COUNT];
	struct arena   arena;		/* of one row */
};

static int
survey_row(void *ctx, const struct aside_row *row)
{
	struct asides *a = ctx;
	struct span cell[COL_COUNT] = { 0 };
	struct span header = span_of(row->header);
	size_t i = 0;

	while (i < a->n_seen && strcmp(a->seen[i].kind, row->kind) != 0)
		i++;
	if (i == a->n_seen && i < FILE_KINDS + 1) {
		a->n_seen++;
		a->seen[i].kind = arena_text(&a->x->arena, span_of(row->kind));
	}
	if (i < a->n_seen)
		a->seen[i].rows++;
	if (a->kind && strcmp(a->kind, row->kind) != 0)
		return 0;
	/* The header read as a row of its own has a cell wherever it has a column. */
	arena_reset(&a->arena);
	if (reader_cells(&a->arena, header, row->separator, header, cell)) {
		for (int c = 0; c < COL_COUNT; c++)
			a->column[c] |= cell[c].n > 0;
	}
	return 0;
}

static int
aside_row(void *ctx, const struct aside_row *row)
{
	struct asides *a = ctx;
	struct csvout *w = &a->x->w;
	struct span cell[COL_COUNT] = { 0 }, raw = { row->raw, row->raw_n };
	bool readable;

	if (strcmp(a->kind, row->kind) != 0)
		return 0;
	arena_reset(&a->arena);
	readable = reader_cells(&a->arena, span_of(row->header), row->separator, raw, cell);
	for (int c = 0; c < COL_COUNT; c++) {
		if (a->column[c])
			csvout_span(w, readable ? cell[c] : (struct span){ NULL, 0 });
	}
	csvout_text(w, row->file_name);
	csvout_int(w, row->line);
	csvout_text(w, row->reason);
	csvout_span(w, readable ? (struct span){ NULL, 0 } : raw);
	csvout_end(w);
	return ferror(a->x->f);
}

static int
asides(struct export *x, struct err *e)
{
	struct asides a = { .x = x, .kind = x->o->kind };
	bool known = !a.kind;
	int rc = -1;

	for (int k = 0; k < FILE_KINDS && !known; k++)
		known = strcmp(a.kind, file_kind_text((enum file_kind)k)) == 0;
	if (!known) {
		err_set(e, ERR_USAGE, NULL, 0, "--kind: no kind of file is called \"%s\"", a.kind);
		goto done;
	}
	if (store_asides(x->s, survey_row, &a, e) < 0)
		goto done;
	if (!a.kind && a.n_seen > 1) {
		const char *list = "";

		for (size_t i = 0; i < a.n_seen; i++)
			list = arena_fmt(&x->arena, "%s%s%s (%lld)", list, i ? ", " : "",
			    a.seen[i].kind, (long long)a.seen[i].rows);
		err_set(e, ERR_USAGE, NULL, 0, "rows of several kinds are set aside: %s; say which "
		    "with --kind", list);
		goto done;
	}
	if (!a.kind)
		a.kind = a.n_seen ? a.seen[0].kind : file_kind_text(FILE_EVENTS);
	for (int c = 0; c < COL_COUNT; c++) {
		if (a.column[c])
			csvout_text(&x->w, column_text((enum column)c));
	}
	csvout_text(&x->w, "from_file");
	csvout_text(&x->w, "from_line");
	csvout_text(&x->w, "reason");
	csvout_text(&x->w, "raw");
	csvout_end(&x->w);
	rc = store_asides(x->s, aside_row, &a, e) < 0 ? -1 : 0;
done:
	arena_release(&a.arena);
	return rc;
}

/* ------------------------------------------------------------------------------- */

static const struct {
	const char *name;
	int       (*write)(struct export *x, struct err *e);
} parts[] = {
	{ "events", events }, { "findings", findings }, { "aside", asides },
	{ "decisions", decisions }, { "files", files },
};

static int
write_part(struct export *x, const char *what, struct err *e)
{
	enum { N = sizeof parts / sizeof *parts };
	const char *name[N + 1] = { NULL }, *near;

	for (size_t i = 0; i < N; i++) {
		name[i] = parts[i].name;
		if (strcmp(what, parts[i].name) == 0)
			return parts[i].write(x, e);
	}
	near = opts_nearest(what, name);
	return err_set(e, ERR_USAGE, NULL, 0, "export: \"%s\" is not one of events, findings, "
	    "aside, decisions, files%s%s", what, near ? "; nearest: " : "", near ? near : "");
}

static int
run(const struct command *self, int argc, char **argv)
{
	struct options o = { 0 };
	struct export x = { .o = &o };
	struct outfile file = { 0 };
	struct err e;
	int out = cmd_options(self, &argc, argv, &o, 0, 1);

	if (out != OUT_GO_ON)
		return out;
	if (argc + o.set_aside != 1) {
		err_set(&e, ERR_USAGE, NULL, 0, "export: one part, please: events, findings, aside, "
		    "decisions or files");
		return cmd_fail(&e);
	}
	x.s = cmd_store(&o.common, STORE_READ, &e);
	if (!x.s || (o.out && outfile_open(&file, o.out, &e) < 0))
		goto fail;
	x.f = o.out ? file.f : stdout;
	csvout_init(&x.w, x.f);
	if (write_part(&x, o.set_aside ? "aside" : argv[0], &e) < 0 || (o.out && outfile_close(&file, &e) < 0))
		goto fail;
	out = OUT_DONE;
	goto done;
fail:
	out = cmd_fail(&e);
done:
	outfile_drop(&file);
	store_close(x.s);
	arena_release(&x.arena);
	return out;
}

const struct command cmd_export = {
	.name = "export",
	.operands = "events|findings|aside|decisions|files",
	.purpose = "events, findings, set-aside rows, decisions, files as CSV",
	.about = "Writes one part of the store as CSV. \"aside\" writes the rows that were set "
	    "aside, of one kind of file at a time, under our column names with file, line and "
	    "reason: mend them and read the file with \"tripsift ingest\". Text that a "
	    "spreadsheet would take for a formula gets a ' in front; take it off in mended rows.",
	.examples = "tripsift export aside --kind events --out mend.csv\n"
	    "tripsift export events --account 1042 > 1042.csv\n",
	.exits = "0 done; 2 wrong usage; 3 no store, or writing failed.",
	.opt = options,
	.run = run,
};
