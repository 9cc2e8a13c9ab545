#include "parsers/reader.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"
#include "daemon/base/serial.h"
#include "parsers/beside.h"
#include "parsers/bytes.h"
#include "parsers/csv.h"
#include "parsers/direction.h"
#include "parsers/wordings.h"

/* ---- kinds and columns ---- */

static const struct span columns[COL_COUNT] = {
#define X(id, text) SPAN(text),
	COLUMN_LIST(X)
#undef X
};

#define C(id) (UINT64_C(1) << COL_##id)
_Static_assert(COL_COUNT <= 64, "sets of columns are 64 bits");

/* What each kind requires and allows. The first kind that has all it requires
 * is taken, so those whose columns another kind could have too stand first. */
static const struct {
	enum file_kind kind;
	const char    *text;
	uint64_t       required, optional;
} kinds[] = {
	{ FILE_EVENTS, "events", C(ACCOUNT) | C(TIME) | C(EVENT),
	  C(ZONE) | C(PARTITION) | C(SERIAL) | C(USER) | C(TEXT) | C(RECEIVED) | C(SIGNAL) |
	  C(RECEIVER) | C(LINE) },
	{ FILE_PLAN, "plan", C(ACCOUNT) | C(SERIAL) | C(VISIT),
	  C(ZONE) | C(DEVICE) | C(NAME) | C(ORDER) | C(REPLACES) },
	{ FILE_SITES, "sites", C(ACCOUNT) | C(TIMEZONE),
	  C(NAME) | C(GROUP) | C(WAS) | C(SINCE) },
	{ FILE_SERVICE, "service", C(ACCOUNT) | C(TIME) | C(WHAT),
	  C(ZONE) | C(SERIAL) | C(WHO) },
	{ FILE_SETTINGS, "settings", C(RULE) | C(SETTING) | C(VALUE), C(SCOPE) | C(WHO) },
	{ FILE_DECISIONS, "decisions", C(FINDING) | C(DECISION) | C(WHO), C(UNTIL) | C(WHY) },
	{ FILE_WORDINGS, "wordings", C(WHAT) | C(MATCH) | C(GIVES), 0 },
	/* And one of zone and serial: see `either`. */
	{ FILE_ROSTER, "roster", C(ACCOUNT) | C(DEVICE),
	  C(ZONE) | C(SERIAL) | C(NAME) | C(PARTITION) | C(CELL) | C(CELLS) | C(INSTALLED) |
	  C(CHECKIN) | C(AS_OF) },
};
#define KINDS (sizeof kinds / sizeof *kinds)
_Static_assert(KINDS == FILE_KINDS, "every kind has its row");

static const uint64_t either = C(ZONE) | C(SERIAL);	/* a roster has at least one */

const char *
file_kind_text(enum file_kind k)
{
	for (size_t i = 0; i < KINDS; i++) {
		if (kinds[i].kind == k)
			return kinds[i].text;
	}
	return "";
}

const char *
column_text(enum column c)
{
	return columns[c].p;
}

bool
column_find(struct span name, enum column *out)
{
	for (enum column c = 0; c < COL_COUNT; c++) {
		if (span_eq_fold(name, columns[c])) {
			*out = c;
			return true;
		}
	}
	return false;
}

/* ---- the reader ---- */

/* Event cells repeat row by row: their meanings are kept in a small table. */
enum { MEMO_SLOTS = 1024, MEMO_TEXT = 20 };
struct memo {
	unsigned char  n;		/* bytes in use; 0 = free */
	char           text[MEMO_TEXT];
	struct meaning meaning;
	const char    *reason;
};

enum { NO_COLUMN = WORDINGS_PASS_OVER };

struct reader {
	struct reader_info info;
	struct bytes      *bytes;
	struct csv        *csv;
	struct arena       kept;	/* what info points to */
	struct arena       joined;	/* of one row: cells made of several */
	enum csv_encoding  encoding;
	struct beside      beside;	/* the header as read, and what is no row */
	bool               other_header;	/* what follows stands below another header */
	struct stamp_tally tally;	/* what the order of day and month rests on */
	struct code_message message;	/* of one row */
	uint64_t           n_wrapped, wrapped_line;	/* cells as a spreadsheet writes them */
	uint64_t           n_lost, lost_line;		/* serials in powers of ten */
	const struct wordings *columns;	/* wordings that fit; NULL = none */
	struct wordings_run *run;	/* NULL: no wordings apply */
	size_t             header_n;	/* columns of the header */
	int               *map;		/* header column -> enum column, or NO_COLUMN */
	struct stamp_memo  dates, received_dates;
	struct memo        memo[MEMO_SLOTS];
};

/* Our column for a header's cell, by wordings first; NO_COLUMN. */
static int
column_of(const struct wordings *w, struct span name)
{
	enum column own;
	int c;

	if (w && wordings_column(w, name, &c))
		return c;
	return column_find(name, &own) ? (int)own : NO_COLUMN;
}

/* Which of our columns a header names. */
static uint64_t
known_columns(const struct csv_row *header, const struct wordings *w)
{
	uint64_t set = 0;

	for (size_t i = 0; i < header->n; i++) {
		int c = column_of(w, header->cell[i]);

		if (c != NO_COLUMN)
			set |= UINT64_C(1) << c;
	}
	return set;
}

static bool
has_kind(size_t i, uint64_t set)
{
	return (set & kinds[i].required) == kinds[i].required &&
	    (kinds[i].kind != FILE_ROSTER || set & either);
}

/* The kind of file that a header is of; KINDS = none. */
static size_t
kind_of(const struct csv_row *header, const struct wordings *w)
{
	uint64_t set = known_columns(header, w);
	size_t i = 0;

	while (i < KINDS && !has_kind(i, set))
		i++;
	return i;
}

/* The header is the first of the first records that is of a kind. Else it is the one that
 * names most of our columns, so that its fault can be told. *at = records above it. */
static enum csv_result
find_header(struct csv *csv, char separator, const struct wordings *w,
    struct csv_row *row, size_t *at, struct err *e)
{
	enum csv_result got;
	int known, most = 0;

	csv_rewind(csv, separator, true);
	*at = 0;
	for (size_t i = 0; i <= BESIDE_ABOVE && (got = csv_next(csv, row, e)) > 0; i++) {
		if (got == CSV_ASIDE)
			continue;
		known = __builtin_popcountll(known_columns(row, w));
		if (known > most || kind_of(row, w) < KINDS) {
			most = known;
			*at = i;
		}
		if (kind_of(row, w) < KINDS)
			return CSV_ROW;
	}
	csv_rewind(csv, separator, true);
	for (size_t i = 0; (got = csv_next(csv, row, e)) > 0 && i < *at; i++)
		;
	return got;
}

/* How well a separator fits: a header of a kind first, then how many of our columns it
 * names, then how many of the rows below have as many cells. */
static int
fitness(struct csv *csv, char separator, const struct wordings *w)
{
	enum { ROWS = 20 };
	struct csv_row row;
	struct err e;
	size_t at, n;
	int fit;

	if (find_header(csv, separator, w, &row, &at, &e) != CSV_ROW)
		return 0;
	n = row.n;
	fit = (kind_of(&row, w) < KINDS ? 100000 : 0) +
	    __builtin_popcountll(known_columns(&row, w)) * (ROWS + 1);
	for (int i = 0; i < ROWS && csv_next(csv, &row, &e) > 0; i++)
		fit += row.n == n;
	return fit;
}

/* A spreadsheet's first line "sep=;": the separator, 0 if there is none. */
static char
said_separator(struct span head)
{
	size_t i = head.n && *head.p == '"';
	char c;

	if (head.n < i + 5 || !span_eq_fold((struct span){ head.p + i, 4 }, SPAN("sep=")))
		return 0;
	c = head.p[i + 4];
	for (i += 5; i < head.n && head.p[i] != '\n' && head.p[i] != '\r'; i++) {
		if (head.p[i] != c && head.p[i] != '"' && head.p[i] != ' ')
			return 0;
	}
	return strchr(",;\t|", c) ? c : 0;
}

static char
find_separator(struct csv *csv, struct span head, const struct wordings *w)
{
	static const char candidates[] = { ',', ';', '\t', '|' };
	char best = said_separator(head);
	int most = -1;

	if (w && wordings_separator(w))
		return wordings_separator(w);
	for (size_t i = 0; i < sizeof candidates && (most >= 0 || !best); i++) {
		int fit = fitness(csv, candidates[i], w);

		if (fit > most) {
			most = fit;
			best = candidates[i];
		}
	}
	return best;
}

/* No kind fits: which one is nearest, and what does it lack? */
static int
no_kind(struct reader *r, uint64_t set, uint64_t line, struct err *e)
{
	char missing[200] = "";
	size_t best = 0, n = 0;
	int best_score = -1;
	uint64_t lacks;

	for (size_t i = 0; i < KINDS; i++) {
		int score = 2 * __builtin_popcountll(set & kinds[i].required) +
		    __builtin_popcountll(set & kinds[i].optional) -
		    __builtin_popcountll(kinds[i].required & ~set);

		if (score > best_score) {
			best_score = score;
			best = i;
		}
	}
	if (!set)
		return err_set(e, ERR_DATA, bytes_name(r->bytes), line,
		    "the header names no column that is known here (events need account,"
		    " time, event)");
	lacks = kinds[best].required & ~set;
	for (enum column c = 0; c < COL_COUNT; c++) {
		if (lacks >> c & 1)
			n += (size_t)snprintf(missing + n, sizeof missing - n, "%s%s",
			    n ? ", " : "", column_text(c));
	}
	if (!lacks)
		snprintf(missing, sizeof missing, "zone or serial");
	return err_set(e, ERR_DATA, bytes_name(r->bytes), line,
	    "the header is of no known kind; nearest is %s, which lacks: %s",
	    kinds[best].text, missing);
}

static void
note_ignored(struct reader *r, struct span name)
{
	const char *sep = *r->info.ignored ? ", " : "";

	if (name.n)
		r->info.ignored = arena_fmt(&r->kept, "%s%s%.*s", r->info.ignored, sep,
		    (int)(name.n > 200 ? 200 : name.n), name.p);
}

/* Several columns of theirs may make one of ours, if wordings say so. */
static int
map_column(struct reader *r, const struct csv_row *header, size_t k, uint64_t use,
    uint64_t *seen, struct err *e)
{
	const struct wordings *w = r->columns;
	struct span name = header->cell[k];
	int c = column_of(w, name), theirs;

	r->map[k] = NO_COLUMN;
	if (c == NO_COLUMN || !(use >> c & 1)) {
		if (!w || !wordings_column(w, name, &theirs) || theirs != WORDINGS_PASS_OVER)
			note_ignored(r, name);
		return 0;
	}
	if (*seen >> c & 1 && (!w || !wordings_column(w, name, &theirs)))
		return err_set(e, ERR_DATA, bytes_name(r->bytes), header->line,
		    "the column \"%s\" stands twice in the header", column_text((enum column)c));
	*seen |= UINT64_C(1) << c;
	r->map[k] = c;
	if (w && wordings_column(w, name, &theirs))
		r->info.mapped = arena_fmt(&r->kept, "%s%s%.*s is %s", r->info.mapped,
		    *r->info.mapped ? ", " : "", (int)(name.n > 200 ? 200 : name.n), name.p,
		    column_text((enum column)c));
	return 0;
}

/* The header as it is kept: with our names where wordings gave others. */
static struct span
kept_header(struct reader *r, const struct csv_row *header)
{
	const char *text = "";

	if (!r->columns)
		return (struct span){ arena_text(&r->kept, header->raw), header->raw.n };
	for (size_t k = 0; k < header->n; k++)
		text = arena_fmt(&r->kept, "%s%.*s%s", text, k > 0, &r->info.separator,
		    r->map[k] == NO_COLUMN ? "-" : column_text((enum column)r->map[k]));
	return span_of(text);
}

static int
read_header(struct reader *r, const struct csv_row *header, struct err *e)
{
	size_t i = kind_of(header, r->columns);
	uint64_t seen = 0, use;

	if (i == KINDS)
		return no_kind(r, known_columns(header, r->columns), header->line, e);
	use = kinds[i].required | kinds[i].optional;
	r->info.kind = kinds[i].kind;
	r->info.ignored = r->info.mapped = "";
	r->header_n = header->n;
	r->map = arena_take(&r->kept, header->n * sizeof *r->map);
	for (size_t k = 0; k < header->n; k++) {
		if (map_column(r, header, k, use, &seen, e) < 0)
			return -1;
	}
	r->beside.header = (struct span){ arena_text(&r->kept, header->raw), header->raw.n };
	r->info.header = kept_header(r, header);
	return 0;
}

static int
by_value(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
}

/* Where several columns make one, a blank stands between what they hold. */
static void
add_cell(struct arena *a, struct span *to, struct span cell)
{
	char *text;

	if (to->n && cell.n) {
		text = arena_take(a, to->n + cell.n + 2);
		memcpy(text, to->p, to->n);
		text[to->n] = ' ';
		memcpy(text + to->n + 1, cell.p, cell.n);
		*to = (struct span){ text, to->n + 1 + cell.n };
	} else if (cell.n || !to->p) {
		*to = cell;
	}
}

/* Cells with the marks of a spreadsheet: ="0012" and '0012 are the text 0012 wherever a
 * number is meant as a text; and anywhere '=x is =x, as our own exports write it. */
static void
unwrap(struct reader *r, enum column c, uint64_t line, struct span *s)
{
	static const uint64_t texts = C(ACCOUNT) | C(ZONE) | C(PARTITION) | C(SERIAL) | C(USER) |
	    C(RECEIVER) | C(LINE) | C(REPLACES) | C(WAS);
	bool text = texts >> c & 1;

	if (s->n > 1 && *s->p == '\'' && (text || strchr("=+-@\t\r\n", s->p[1])))
		*s = span_trim((struct span){ s->p + 1, s->n - 1 });
	if (!text)
		return;
	if (s->n > 2 && s->p[0] == '=' && s->p[1] == '"' && s->p[s->n - 1] == '"')
		*s = span_trim((struct span){ s->p + 2, s->n - 3 });
	if (r->n_wrapped++ == 0)
		r->wrapped_line = line;
}

/* Cells to their columns; the reason if there are more than the header has. */
static const char *
place_cells(struct reader *r, const struct csv_row *from, struct row *row)
{
	size_t n = from->n < r->header_n ? from->n : r->header_n;
	const bool join = r->columns != NULL;
	const int *map = r->map;

	if (join)
		arena_reset(&r->joined);
	for (size_t i = 0; i < n; i++) {
		struct span *to;

		if (map[i] == NO_COLUMN)
			continue;
		to = &row->cell[map[i]];
		if (join)
			add_cell(&r->joined, to, from->cell[i]);
		else
			*to = from->cell[i];
		if (to->n && (*to->p == '\'' || *to->p == '='))
			unwrap(r, (enum column)map[i], from->line, to);
	}
	for (size_t i = n; i < from->n; i++) {
		if (from->cell[i].n)
			return "more cells than the header has columns";
	}
	return NULL;
}

/* ---- what the head tells, and the whole file where the head does not ---- */

/* To the first record below the header. */
static void
to_rows(const struct reader *r, struct csv *csv)
{
	struct csv_row row;
	struct err e;

	csv_rewind(csv, r->info.separator, true);
	for (size_t i = 0; i <= r->beside.n_above; i++)
		csv_next(csv, &row, &e);
}

static int
tally(struct reader *r, struct csv *csv, struct err *e)
{
	static const enum column times[] = { COL_TIME, COL_RECEIVED, COL_INSTALLED, COL_AS_OF,
		COL_SINCE, COL_UNTIL, COL_VISIT };
	struct csv_row from;
	enum csv_result got;

	memset(&r->tally, 0, sizeof r->tally);
	to_rows(r, csv);
	while ((got = csv_next(csv, &from, e)) > 0) {
		struct row row = { 0 };

		if (got != CSV_ROW)
			continue;
		place_cells(r, &from, &row);
		for (size_t i = 0; i < sizeof times / sizeof *times; i++) {
			if (row.cell[times[i]].n)
				stamp_tally_add(&r->tally, row.cell[times[i]], from.line);
		}
	}
	return got;
}

/* The same over the whole file, from a second reading of it. */
static int
tally_all(struct reader *r, const struct csv_options *o, struct err *e)
{
	struct bytes *twin = bytes_again(r->bytes, BYTES_SPOOL, e);
	struct csv *csv;
	int rc;

	if (!twin)
		return -1;
	csv = csv_open(twin, o);
	csv_encoding(csv, r->encoding);
	rc = tally(r, csv, e);
	csv_close(csv);
	bytes_close(twin);
	return rc;
}

static int
decide_order(struct reader *r, const struct csv_options *o, struct err *e)
{
	enum stamp_order order = STAMP_UNDECIDED;
	const char *why;

	if (r->info.wordings)
		order = (enum stamp_order)wordings_time(r->info.wordings);
	if (order == STAMP_UNDECIDED) {
		if (tally(r, r->csv, e) < 0 || (stamp_tally_open(&r->tally) &&
		    !csv_survey_whole(r->csv) && tally_all(r, o, e) < 0))
			return -1;
		why = stamp_tally_order(&r->tally, &order);
		if (why)
			return err_set(e, ERR_DATA, bytes_name(r->bytes), 0, "%s", why);
	}
	r->dates.order = r->received_dates.order = order;
	return 0;
}

/* Direction and middle of the head's times. */
static void
survey_times(struct reader *r)
{
	struct direction *d = x_calloc(1, sizeof *d);
	int64_t *walls = NULL;
	size_t n = 0, cap = 0;
	struct csv_row from;
	enum csv_result got;
	struct stamp st;
	struct err e;

	while ((got = csv_next(r->csv, &from, &e)) > 0) {
		struct row row = { 0 };

		if (got != CSV_ROW)
			continue;
		place_cells(r, &from, &row);
		if (!stamp_read(r->dates.order, row.cell[COL_RECEIVED], &st, NULL))
			direction_add(d, row.cell[COL_ACCOUNT], DIRECTION_RECEIVED, st.wall);
		if (stamp_read(r->dates.order, row.cell[COL_TIME], &st, NULL))
			continue;
		direction_add(d, row.cell[COL_ACCOUNT], DIRECTION_TIME, st.wall);
		walls = x_grow(walls, &cap, n + 1, sizeof *walls);
		walls[n++] = st.wall;
	}
	r->info.newest_first = direction_newest_first(d);
	if (n) {
		qsort(walls, n, sizeof *walls, by_value);
		r->info.middle = walls[n / 2];
	}
	free(walls);
	free(d);
}

/* The header as the wordings, or the file alone, would have it. */
static enum csv_result
look(struct reader *r, const struct wordings *w, struct span head, struct csv_row *row,
    struct err *e)
{
	static const enum csv_encoding encoding[] = { [ENCODING_UTF8] = CSV_UTF8,
		[ENCODING_1252] = CSV_1252, [ENCODING_UTF16] = CSV_EITHER };

	r->encoding = w ? encoding[wordings_encoding(w)] : CSV_EITHER;
	csv_encoding(r->csv, r->encoding);
	r->info.separator = find_separator(r->csv, head, w);
	return find_header(r->csv, r->info.separator, w, row, &r->beside.n_above, e);
}

/* What has events or devices of which wordings can tell without naming columns. */
static bool
has_wordings(size_t i)
{
	return i < KINDS && (kinds[i].kind == FILE_EVENTS || kinds[i].kind == FILE_ROSTER ||
	    kinds[i].kind == FILE_PLAN);
}

static bool
wordings_fit(const struct csv_row *header, const struct wordings *w)
{
	size_t kind = kind_of(header, w);
	int c;

	if (!wordings_has_columns(w))
		return has_wordings(kind);
	for (size_t k = 0; k < header->n && kind < KINDS; k++) {
		if (wordings_column(w, header->cell[k], &c))
			return true;
	}
	return false;
}

static int
choose_wordings(struct reader *r, const struct reader_options *o, struct span head,
    struct err *e)
{
	struct csv_row row;
	struct err ignored;

	for (size_t i = 0; i < o->n_wordings; i++) {
		const struct wordings *w = o->wordings[i];

		if (look(r, w, head, &row, &ignored) != CSV_ROW || !wordings_fit(&row, w))
			continue;
		if (r->columns)
			return err_set(e, ERR_DATA, bytes_name(r->bytes), row.line,
			    "two files of wordings fit it, %s and %s; say with --wordings which"
			    " one is meant", wordings_name(r->columns), wordings_name(w));
		r->columns = w;
	}
	r->info.fits = r->columns;
	r->info.wordings = r->columns;
	if (!r->columns && o->named && look(r, NULL, head, &row, &ignored) == CSV_ROW &&
	    has_wordings(kind_of(&row, NULL)))
		r->info.wordings = o->wordings[0];
	if (r->info.wordings)
		r->run = wordings_run_new(r->info.wordings);
	return 0;
}

/* The lines above the header are kept: joined files have them once more. */
static void
keep_above(struct reader *r)
{
	struct csv_row row;
	struct err e;

	csv_rewind(r->csv, r->info.separator, true);
	for (size_t i = 0; i < r->beside.n_above; i++) {
		csv_next(r->csv, &row, &e);
		r->beside.above[i] = (struct span){ arena_text(&r->kept, row.raw), row.raw.n };
	}
	r->beside.n_title = r->beside.n_above;
}

static int
begin(struct reader *r, const struct reader_options *o, struct err *e)
{
	struct csv_options co = { 0 };
	struct csv_row row;
	struct span head;

	if (o)
		co = (struct csv_options){ o->read_size, o->row_limit, o->cell_limit };
	r->info.middle = NO_TIME;
	r->csv = csv_open(r->bytes, &co);
	if (csv_survey(r->csv, &head, e) < 0)
		return -1;
	if (o && o->n_wordings && choose_wordings(r, o, head, e) < 0)
		return -1;
	switch (look(r, r->columns, head, &row, e)) {
	case CSV_END:
		return err_set(e, ERR_DATA, bytes_name(r->bytes), 0, "is empty");
	case CSV_ASIDE:
		return err_set(e, ERR_DATA, bytes_name(r->bytes), row.line,
		    "the header cannot be read: %s", row.reason);
	case CSV_ERR:
		return -1;
	case CSV_ROW:
		break;
	}
	if (read_header(r, &row, e) < 0)
		return -1;
	keep_above(r);
	if (decide_order(r, &co, e) < 0)
		return -1;
	to_rows(r, r->csv);
	survey_times(r);
	csv_begin(r->csv);
	to_rows(r, r->csv);
	r->n_wrapped = 0;
	bytes_settle(r->bytes);
	return 0;
}

static struct reader *
reader_on(struct bytes *bytes, const struct reader_options *o, struct err *e)
{
	struct reader *r;

	if (!bytes)
		return NULL;
	r = x_calloc(1, sizeof *r);
	r->bytes = bytes;
	r->info.gzip = bytes_is_gzip(bytes);
	if (begin(r, o, e) < 0) {
		reader_close(r);
		return NULL;
	}
	return r;
}

struct reader *
reader_open(const char *path, const struct reader_options *o, struct err *e)
{
	return reader_on(bytes_open(path, e), o, e);
}

struct reader *
reader_memory(const char *name, const void *bytes, size_t n,
    const struct reader_options *o, struct err *e)
{
	return reader_on(bytes_memory(name, bytes, n, o ? o->read_size : 0, e), o, e);
}

const struct reader_info *
reader_info(const struct reader *r)
{
	return &r->info;
}

const struct wordings_run *
reader_wordings(const struct reader *r)
{
	return r->run;
}

void
reader_progress(const struct reader *r, uint64_t *done, uint64_t *all)
{
	*done = bytes_size(r->bytes);
	*all = bytes_expected(r->bytes);
}

void
reader_close(struct reader *r)
{
	if (!r)
		return;
	csv_close(r->csv);
	bytes_close(r->bytes);
	wordings_run_free(r->run);
	arena_release(&r->kept);
	arena_release(&r->joined);
	free(r);
}

/* ---- checking one row; each returns NULL or the reason ---- */

static const char *
event_meaning(struct reader *r, struct span cell, struct meaning *out)
{
	unsigned hash = 0;
	struct memo *m;

	if (cell.n == 0 || cell.n > MEMO_TEXT)
		return code_meaning(cell, out);
	for (size_t i = 0; i < cell.n; i++)
		hash = hash * 33 + (unsigned char)cell.p[i];
	m = &r->memo[hash % MEMO_SLOTS];
	if (m->n != cell.n || memcmp(m->text, cell.p, cell.n) != 0) {
		m->reason = code_meaning(cell, &m->meaning);
		m->n = (unsigned char)cell.n;
		memcpy(m->text, cell.p, cell.n);
	}
	if (m->reason)
		return m->reason;
	*out = m->meaning;
	return NULL;
}

static const char *
check_signal(struct span s)
{
	static const char *const units[] = { "dBm", "%", "bars" };
	double v;

	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		struct span unit = span_of(units[i]);

		if (s.n > unit.n &&
		    span_eq_fold((struct span){ s.p + s.n - unit.n, unit.n }, unit) &&
		    span_to_num(span_trim((struct span){ s.p, s.n - unit.n }), &v))
			return NULL;
	}
	return "signal needs a number with dBm, % or bars";
}

/* A spreadsheet writes one digit before the point, which spares most cells the look. */
static bool
in_powers_of_ten(struct span s)
{
	return s.n > 3 && (s.p[1] == '.' || s.p[1] == ',' || (s.p[1] & ~0x20) == 'E') &&
	    serial_lost_digits(s);
}

static struct span
without_zeros(struct span s)
{
	while (s.n && *s.p == '0') {
		s.p++;
		s.n--;
	}
	return s;
}

/* Two numbers that are not the same; a name is neither the same nor another. */
static bool
other_number(struct span cell, const char *number)
{
	for (size_t i = 0; i < cell.n; i++) {
		if (cell.p[i] < '0' || cell.p[i] > '9')
			return false;
	}
	return cell.n && !span_eq(without_zeros(cell), without_zeros(span_of(number)));
}

/* A DC-05 message in the event cell: its parts fill the cells that are blank, and the
 * event cell becomes its code. Accounts of a message have four digits always, so the
 * zeros in front do not count. */
static const char *
take_message(struct reader *r, struct span cell[COL_COUNT])
{
	struct code_message *m = &r->message;
	struct span account = cell[COL_ACCOUNT];
	const char *why;

	if (cell[COL_EVENT].n < 9 || !code_message(cell[COL_EVENT], m, &why))
		return NULL;
	if (why)
		return why;
	if (*m->account && account.n &&
	    !span_eq_fold(without_zeros(account), without_zeros(span_of(m->account))))
		return "account differs from that of the DC-05 message";
	if (other_number(cell[COL_ZONE], m->zone))
		return "zone differs from that of the DC-05 message";
	if (other_number(cell[COL_PARTITION], m->partition))
		return "partition differs from that of the DC-05 message";
	if (!account.n)
		cell[COL_ACCOUNT] = span_of(m->account);
	if (!cell[COL_ZONE].n)
		cell[COL_ZONE] = span_of(m->zone);
	if (!cell[COL_PARTITION].n)
		cell[COL_PARTITION] = span_of(m->partition);
	cell[COL_EVENT] = span_of(m->event);
	return NULL;
}

static const char *
check_event(struct reader *r, struct row *row)
{
	const struct span *cell = row->cell;
	const char *why = take_message(r, row->cell);

	if (why)
		return why;
	if (cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (in_powers_of_ten(cell[COL_ACCOUNT]))
		return "account in powers of ten has lost its digits";
	why = stamp_parse_memo(&r->dates, cell[COL_TIME], &row->time);
	if (why)
		return why;
	row->has_time = true;
	why = r->run ? wordings_event(r->run, cell[COL_EVENT], cell[COL_TEXT], &row->meaning)
	    : event_meaning(r, cell[COL_EVENT], &row->meaning);
	if (why)
		return why;
	if (cell[COL_RECEIVED].n) {
		if (stamp_parse_memo(&r->received_dates, cell[COL_RECEIVED], &row->received))
			return "received is not readable as a time";
		row->has_received = true;
	}
	if (cell[COL_SIGNAL].n)
		return check_signal(cell[COL_SIGNAL]);
	return NULL;
}

/* An optional date or time. */
static const char *
check_day(const struct reader *r, struct span s, bool *has, struct stamp *out,
    const char *reason)
{
	bool alone;

	if (s.n == 0)
		return NULL;
	if (stamp_read(r->dates.order, s, out, &alone))
		return reason;
	*has = true;
	return NULL;
}

static const char *
check_kind(struct reader *r, struct span s, enum kind *out)
{
	if (r->run)
		return wordings_device(r->run, s, out);
	if (s.n && !kind_find(s, out))
		return "device kind not recognised";
	return NULL;
}

static const char *
check_roster(struct reader *r, struct row *row)
{
	const struct span *cell = row->cell;
	const char *why;

	if (cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (cell[COL_DEVICE].n == 0)
		return "no device kind";
	if (cell[COL_ZONE].n == 0 && cell[COL_SERIAL].n == 0)
		return "no zone and no serial";
	if ((why = check_kind(r, cell[COL_DEVICE], &row->kind)) ||
	    (why = check_day(r, cell[COL_INSTALLED], &row->has_installed, &row->installed,
	    "installed is not readable as a date")) ||
	    (why = check_day(r, cell[COL_AS_OF], &row->has_as_of, &row->as_of,
	    "as_of is not readable as a date or time")))
		return why;
	if (cell[COL_CELLS].n && !span_to_int(cell[COL_CELLS], 1, 99, &row->cells))
		return "cells is not a number from 1 to 99";
	if (cell[COL_CHECKIN].n && !span_to_duration(cell[COL_CHECKIN], &row->checkin))
		return "checkin is not an interval such as 200s, 90m, 12h";
	return NULL;
}

static const char *
check_sites(const struct reader *r, struct row *row)
{
	if (row->cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (row->cell[COL_TIMEZONE].n == 0)
		return "no timezone";
	return check_day(r, row->cell[COL_SINCE], &row->has_since, &row->since,
	    "since is not readable as a date or time");
}

/* The two ends of a visit: `to` counts from a date alone as the end of that day. */
static bool
visit_end(enum stamp_order order, struct span s, struct stamp *from, struct stamp *to, bool *alone)
{
	s = span_trim(s);
	if (stamp_read(order, s, from, alone))
		return false;
	*to = *from;
	if (*alone)
		to->wall += 86400;
	return true;
}

/* Not known where one of the two is local and the other has an offset. A day that ends
 * when the visit begins was over before. */
static bool
ends_before(const struct stamp *from, const struct stamp *to, bool day)
{
	bool local = from->offset == OFFSET_LOCAL;
	int64_t length = to->wall - from->wall;

	if (local != (to->offset == OFFSET_LOCAL))
		return false;
	if (!local)
		length -= (to->offset - from->offset) * 60;
	return day ? length <= 0 : length < 0;
}

static const char *
check_plan(struct reader *r, struct row *row)
{
	const struct span *cell = row->cell;
	const enum stamp_order order = r->dates.order;
	struct span visit = cell[COL_VISIT];
	struct stamp other;
	bool day;
	size_t n;

	if (cell[COL_ACCOUNT].n == 0)
		return "no account";
	if (cell[COL_SERIAL].n == 0)
		return "no serial";
	if (visit.n == 0)
		return "no visit";
	if (!visit_end(order, visit, &row->visit_from, &row->visit_to, &day)) {
		/* A date may have slashes too: the one between is that with a time on both sides. */
		for (n = 1; n < visit.n; n++) {
			if (visit.p[n] == '/' &&
			    visit_end(order, (struct span){ visit.p, n }, &row->visit_from, &other,
			    &day) && visit_end(order, (struct span){ visit.p + n + 1,
			    visit.n - n - 1 }, &other, &row->visit_to, &day))
				break;
		}
		if (n >= visit.n)
			return "visit is not a date, a time or from/to";
		if (ends_before(&row->visit_from, &row->visit_to, day))
			return "visit ends before it begins";
	}
	row->has_visit = true;
	if (cell[COL_ORDER].n && !span_to_int(cell[COL_ORDER], 1, 1000000, &row->order))
		return "order is not a number from 1 to 1000000";
	return check_kind(r, cell[COL_DEVICE], &row->kind);
}

static const char *
check_service(const struct reader *r, struct row *row)
{
	const char *why;

	if (row->cell[COL_ACCOUNT].n == 0)
		return "no account";
	why = stamp_read(r->dates.order, row->cell[COL_TIME], &row->time, NULL);
	if (why)
		return why;
	row->has_time = true;
	return row->cell[COL_WHAT].n ? NULL : "not said what was done";
}

static const char *
check_settings(struct row *row)
{
	if (row->cell[COL_RULE].n == 0)
		return "no rule";
	if (row->cell[COL_SETTING].n == 0)
		return "no setting";
	return row->cell[COL_VALUE].n ? NULL : "no value";
}

static const char *
check_decisions(const struct reader *r, struct row *row)
{
	static const char *const words[] = { "seen", "planned", "expected" };
	const struct span *cell = row->cell;
	size_t i = 0;

	if (cell[COL_FINDING].n == 0)
		return "no finding";
	if (cell[COL_DECISION].n == 0)
		return "no decision";
	if (cell[COL_WHO].n == 0)
		return "not said who decided";
	while (i < 3 && !span_eq_fold(cell[COL_DECISION], span_of(words[i])))
		i++;
	if (i == 3)
		return "decision is not one of seen, planned, expected";
	if (i > 0 && cell[COL_UNTIL].n == 0)
		return "planned and expected need until";
	return check_day(r, cell[COL_UNTIL], &row->has_until, &row->until,
	    "until is not readable as a date or time");
}

static const char *
check_row(struct reader *r, struct row *row)
{
	switch (r->info.kind) {
	case FILE_EVENTS:    return check_event(r, row);
	case FILE_ROSTER:    return check_roster(r, row);
	case FILE_SITES:     return check_sites(r, row);
	case FILE_PLAN:      return check_plan(r, row);
	case FILE_SERVICE:   return check_service(r, row);
	case FILE_SETTINGS:  return check_settings(row);
	case FILE_DECISIONS: return check_decisions(r, row);
	case FILE_WORDINGS:  break;	/* whole or not at all: see wordings_add() */
	case FILE_KINDS:     break;
	}
	return NULL;
}

__attribute__((format(printf, 3, 4)))
static const char *
note(struct arena *a, const char *text, const char *fmt, ...)
{
	const char *more;
	va_list ap;

	va_start(ap, fmt);
	more = arena_vfmt(a, fmt, ap);
	va_end(ap);
	return *text ? arena_fmt(a, "%s; %s", text, more) : more;
}

/* A header that is not the file's own: its columns may stand in another order, so that
 * what follows cannot be read under this one. NULL: it is none, or the same in other
 * letters. */
static bool
is_other_header(const struct reader *r, const struct csv_row *from, bool *same)
{
	*same = false;
	if (r->info.kind == FILE_WORDINGS || kind_of(from, r->columns) == KINDS)
		return false;
	*same = from->n == r->header_n;
	for (size_t i = 0; *same && i < from->n; i++)
		*same = column_of(r->columns, from->cell[i]) == r->map[i];
	return !*same;
}

/* A record as a row: its reason, or NULL. False: it is no row at all. */
static bool
take_record(struct reader *r, const struct csv_row *from, struct row *row)
{
	uint64_t headers = r->beside.n_header;
	struct span raw = from->raw;
	bool same = false;

	row->reason = from->reason;
	if (!row->reason)
		row->reason = place_cells(r, from, row);
	if (!row->reason)
		row->reason = check_row(r, row);
	if (row->reason || r->info.kind != FILE_EVENTS) {
		if (is_other_header(r, from, &same)) {
			r->other_header = true;
			row->reason = "a header other than the one above";
		}
	}
	if (beside_rows(&r->beside, same ? r->beside.header : raw, !row->reason)) {
		if (r->beside.n_header > headers)
			r->other_header = false;
		return false;
	}
	if (r->other_header && !row->reason)
		row->reason = "stands below a header other than the file's first";
	return true;
}

enum read_result
reader_next(struct reader *r, struct row *row, struct err *e)
{
	struct csv_row from;

	do {
		memset(row, 0, sizeof *row);
		switch (csv_next(r->csv, &from, e)) {
		case CSV_ERR:
			return READ_ERR;
		case CSV_END:
			r->info.size = bytes_size(r->bytes);
			r->info.crc32 = bytes_crc32(r->bytes);
			return READ_END;
		case CSV_ROW:
		case CSV_ASIDE:
			break;
		}
	} while (!take_record(r, &from, row));
	if (in_powers_of_ten(row->cell[COL_SERIAL]) && r->n_lost++ == 0)
		r->lost_line = from.line;
	row->line = from.line;
	row->raw = from.raw;
	return row->reason ? READ_ASIDE : READ_ROW;
}

const char *
reader_note(struct reader *r)
{
	struct arena *a = &r->kept;
	const char *text = "", *beside = beside_text(a, &r->beside);
	uint64_t line = 0, n = csv_1252(r->csv, &line);
	enum stamp_order order = r->dates.order;

	if (*r->info.ignored)
		text = note(a, text, "columns passed over: %s", r->info.ignored);
	if (order != STAMP_UNDECIDED && r->tally.proof[order])
		text = note(a, text, "dates are read %s first, as line %llu proves",
		    order == STAMP_DAY_FIRST ? "day" : "month",
		    (unsigned long long)r->tally.line[order]);
	if (r->info.newest_first)
		text = note(a, text, "stands newest first");
	if (*beside)
		text = note(a, text, "no rows, and passed over: %s", beside);
	if (n)
		text = note(a, text, "%llu rows were not UTF-8 and were read as Windows-1252, first"
		    " line %llu", (unsigned long long)n, (unsigned long long)line);
	if (r->n_wrapped)
		text = note(a, text, "%llu cells had the marks of a spreadsheet (=\"0012\", '0012) and"
		    " were read without, first line %llu", (unsigned long long)r->n_wrapped,
		    (unsigned long long)r->wrapped_line);
	if (r->n_lost)
		text = note(a, text, "%llu serials in powers of ten have lost their digits, first line"
		    " %llu", (unsigned long long)r->n_lost, (unsigned long long)r->lost_line);
	if (bytes_behind(r->bytes))
		text = note(a, text, "%llu bytes behind the end of the gzip data are no part of it and"
		    " were left", (unsigned long long)bytes_behind(r->bytes));
	return text;
}

bool
reader_cells(struct arena *a, struct span header, char separator, struct span raw,
    struct span cell[COL_COUNT])
{
	struct span text[2] = { header, raw };
	int *map = NULL;
	size_t map_n = 0;
	bool ok = true;

	memset(cell, 0, COL_COUNT * sizeof *cell);
	for (int i = 0; i < 2 && ok; i++) {
		struct csv_options o = { .read_size = text[i].n, .row_limit = text[i].n + 1,
			.cell_limit = text[i].n + 1 };
		struct err e;
		struct bytes *b = bytes_memory("row", text[i].p, text[i].n, 0, &e);
		struct csv *c = b ? csv_open(b, &o) : NULL;
		struct csv_row row;

		if (c)
			csv_rewind(c, separator, false);
		ok = c && csv_next(c, &row, &e) == CSV_ROW && row.raw.n == text[i].n;
		if (ok && i == 0) {
			map_n = row.n;
			map = arena_take(a, map_n * sizeof *map + 1);
		}
		for (size_t k = 0; ok && k < row.n; k++) {
			enum column col;

			if (i == 0)
				map[k] = column_find(row.cell[k], &col) ? (int)col : NO_COLUMN;
			else if (k < map_n && map[k] != NO_COLUMN)
				add_cell(a, &cell[map[k]], (struct span){
				    arena_text(a, row.cell[k]), row.cell[k].n });
		}
		csv_close(c);
		bytes_close(b);
	}
	return ok;
}
