#include "parsers/reader_part.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

static struct reader *
reader_on(struct bytes *bytes, const struct reader_options *o, struct err *e)
{
	struct reader *r;

	if (!bytes)
		return NULL;
	r = x_calloc(1, sizeof *r);
	r->bytes = bytes;
	r->info.gzip = bytes_is_gzip(bytes);
	if (reader_begin(r, o, e) < 0) {
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
	dc09log_release(&r->log);
	arena_release(&r->kept);
	arena_release(&r->joined);
	free(r);
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
	if (r->info.kind == FILE_WORDINGS || reader_kind(from, r->columns) == FILE_KINDS)
		return false;
	*same = from->n == r->header_n;
	for (size_t i = 0; *same && i < from->n; i++)
		*same = reader_column(r->columns, from->cell[i]) == r->map[i];
	return !*same;
}

/* A record as a row: its reason, or NULL. False: it is no row at all. */
static bool
take_record(struct reader *r, const struct csv_row *from, struct row *row)
{
	uint64_t headers = r->beside.n_header;
	struct span raw = from->raw;
	bool same = false;

	row->line = from->line;
	row->reason = from->reason;
	if (r->log.on) {
		if (!row->reason && !dc09log_row(&r->log, from->bytes, row))
			return false;
		if (!row->reason)
			row->reason = reader_check(r, row);
		return true;
	}
	if (!row->reason)
		row->reason = reader_place(r, from, row);
	if (!row->reason)
		row->reason = reader_check(r, row);
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
	row->raw = from.raw;
	return row->reason ? READ_ASIDE : READ_ROW;
}

const char *
reader_note(struct reader *r)
{
	struct arena *a = &r->kept;
	const char *text = "", *beside = r->log.on ? dc09log_text(a, &r->log)
	    : beside_text(a, &r->beside);
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
	if (n && r->encoding != CSV_1252)	/* else wordings say so */
		text = note(a, text, "read as Windows-1252, not being UTF-8: %llu, first line %llu",
		    (unsigned long long)n, (unsigned long long)line);
	if (r->n_wrapped)
		text = note(a, text, "cells read without the marks of a spreadsheet (=\"0012\","
		    " '0012): %llu, first line %llu", (unsigned long long)r->n_wrapped,
		    (unsigned long long)r->wrapped_line);
	if (r->n_lost)
		text = note(a, text, "serials in powers of ten, which have lost digits: %llu, first"
		    " line %llu", (unsigned long long)r->n_lost, (unsigned long long)r->lost_line);
	if (bytes_behind(r->bytes))
		text = note(a, text, "bytes behind the end of the gzip data, no part of it and left:"
		    " %llu", (unsigned long long)bytes_behind(r->bytes));
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
	if (separator == DC09LOG_SEPARATOR) {	/* its lines have no cells, only its header */
		if (!span_eq(header, raw))
			return false;
		separator = ',';
	}
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
				reader_add_cell(a, &cell[map[k]], (struct span){
				    arena_text(a, row.cell[k]), row.cell[k].n });
		}
		csv_close(c);
		bytes_close(b);
	}
	return ok;
}
