#include "parsers/reader_part.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "parsers/direction.h"

/* ---- where the header is, and what separates its cells ---- */

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
		known = __builtin_popcountll(reader_known(row, w));
		if (known > most || reader_kind(row, w) < FILE_KINDS) {
			most = known;
			*at = i;
		}
		if (reader_kind(row, w) < FILE_KINDS)
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
	fit = (reader_kind(&row, w) < FILE_KINDS ? 100000 : 0) +
	    __builtin_popcountll(reader_known(&row, w)) * (ROWS + 1);
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

static int
by_value(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
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
		reader_place(r, &from, &row);
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
		if (!r->log.on)
			reader_place(r, &from, &row);
		else if (!dc09log_row(&r->log, from.bytes, &row) || row.reason)
			continue;
		st = row.received;
		if (row.has_received ||
		    !stamp_read(r->dates.order, row.cell[COL_RECEIVED], &st, NULL))
			direction_add(d, row.cell[COL_ACCOUNT], DIRECTION_RECEIVED, st.wall);
		st = row.time;
		if (!row.has_time && stamp_read(r->dates.order, row.cell[COL_TIME], &st, NULL))
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
has_wordings(enum file_kind kind)
{
	return kind == FILE_EVENTS || kind == FILE_ROSTER || kind == FILE_PLAN;
}

static bool
wordings_fit(const struct csv_row *header, const struct wordings *w)
{
	enum file_kind kind = reader_kind(header, w);
	int c;

	if (!wordings_has_columns(w))
		return has_wordings(kind);
	for (size_t k = 0; k < header->n && kind < FILE_KINDS; k++) {
		if (wordings_column(w, header->cell[k], &c))
			return true;
	}
	return false;
}

static int
choose_wordings(struct reader *r, const struct reader_options *o, struct span head,
    struct err *e)
{
	bool given = false;
	struct csv_row row;
	struct err ignored;

	for (size_t i = 0; i < o->n_wordings; i++) {
		const struct wordings *w = o->wordings[i];
		bool kept = i >= o->n_wordings - o->n_kept;

		if (kept && (given || !wordings_has_columns(w)))
			continue;
		if (look(r, w, head, &row, &ignored) != CSV_ROW || !wordings_fit(&row, w))
			continue;
		if (r->columns)
			return err_set(e, ERR_DATA, bytes_name(r->bytes), row.line,
			    "two files of wordings fit it, %s and %s; say with --wordings which"
			    " one is meant", wordings_name(r->columns), wordings_name(w));
		r->columns = w;
		given |= !kept;
	}
	r->info.fits = r->columns;
	r->info.wordings = r->columns;
	if (!r->columns && o->named && look(r, NULL, head, &row, &ignored) == CSV_ROW &&
	    has_wordings(reader_kind(&row, NULL)))
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

/* A receiver's log has no header: every line is a row or passed over. */
static void
begin_log(struct reader *r, const struct reader_options *o)
{
	r->info.kind = FILE_EVENTS;
	r->info.header = dc09log_header();
	r->info.separator = DC09LOG_SEPARATOR;
	r->info.ignored = r->info.mapped = "";
	r->beside = (struct beside){ 0 };
	if (o && o->named) {
		r->info.wordings = o->wordings[0];
		r->run = wordings_run_new(r->info.wordings);
		r->log.order = wordings_time(r->info.wordings);
	}
	r->log.on = true;
	csv_encoding(r->csv, CSV_EITHER);
	csv_rewind(r->csv, DC09LOG_SEPARATOR, true);
	survey_times(r);
	memset(r->log.passed, 0, sizeof r->log.passed);
	csv_begin(r->csv);
	bytes_settle(r->bytes);
}

int
reader_begin(struct reader *r, const struct reader_options *o, struct err *e)
{
	struct csv_options co = { 0 };
	enum csv_result got;
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
	got = look(r, r->columns, head, &row, e);
	if (got >= 0 && (got != CSV_ROW || reader_kind(&row, r->columns) == FILE_KINDS) &&
	    dc09log_is(head)) {
		begin_log(r, o);
		return 0;
	}
	switch (got) {
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
	if (reader_header(r, &row, e) < 0)
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
