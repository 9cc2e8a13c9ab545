/* log.c - events as the view event_log shows them, without SQLite's JSON functions: some
 * releases refuse these inside a view as long as the schema is not trusted. */
#include <stdio.h>
#include <stdlib.h>

#include "daemon/store/load.h"
#include "daemon/store/stored.h"

struct place { const char *partition, *zone, *serial; };

struct reading_log {
	struct store *s;
	struct arena  account, row;	/* points; one row's texts */
	struct place *place;
	size_t        n_place, cap_place;
	struct log_row out;
	int         (*each)(void *ctx, const struct log_row *row);
	void         *ctx;
};

static int
read_places(struct reading_log *l, int64_t account, struct err *e)
{
	sqlite3_stmt *st = db_stmt(l->s,
	    "SELECT partition, zone, serial FROM point WHERE account = ?1 ORDER BY n", e);
	int rc;

	l->n_place = 0;
	if (!st)
		return -1;
	sqlite3_bind_int64(st, 1, account);
	while ((rc = db_step(l->s, st, e)) > 0) {
		l->place = x_grow(l->place, &l->cap_place, l->n_place + 1, sizeof *l->place);
		l->place[l->n_place++] = (struct place){ db_text(st, 0, &l->account),
		    db_text(st, 1, &l->account), db_text(st, 2, &l->account) };
	}
	return rc;
}

/* "2026-10-01 08:15:30.250+02:00", the offset only where one was written. */
static const char *
wall_text(struct arena *a, int64_t wall, int ms, int16_t offset)
{
	struct civil c;
	char fraction[8] = "", zone[16] = "";

	civil_from_ms(wall * SECOND, &c);
	if (ms)
		snprintf(fraction, sizeof fraction, ".%03d", ms);
	if (offset != OFFSET_NONE)
		snprintf(zone, sizeof zone, "%c%02d:%02d", offset < 0 ? '-' : '+', abs(offset) / 60,
		    abs(offset) % 60);
	return arena_fmt(a, "%04d-%02d-%02d %02d:%02d:%02d%s%s", c.year, c.month, c.day, c.hour,
	    c.minute, c.second, fraction, zone);
}

static int
marks_text(struct reading_log *l, int marks, const char **out, struct err *e)
{
	sqlite3_stmt *st;

	*out = "";
	if (!marks)
		return 0;
	if (!(st = db_stmt(l->s,
	    "SELECT group_concat(mark, ' ') FROM mark WHERE bit & ?1", e)))
		return -1;
	sqlite3_bind_int(st, 1, marks);
	if (db_step(l->s, st, e) < 0)
		return -1;
	*out = db_text(st, 0, &l->row);
	sqlite3_reset(st);
	return 0;
}

static int
tell_row(struct reading_log *l, const struct block_row *r, struct err *e)
{
	struct store *s = l->s;
	struct log_row *o = &l->out;
	char utc[CIVIL_TEXT];

	if (r->point >= l->n_place || r->cell - 1 >= s->n_cell || r->word >= WORD_COUNT)
		return err_set(e, ERR_STORE, s->path, 0, "an event names what is not there");
	o->time = wall_text(&l->row, r->wall, r->ms, r->offset);
	o->received = r->has_received ? wall_text(&l->row, r->received, r->received_ms,
	    r->received_offset) : "";
	o->utc = arena_text(&l->row, span_of(civil_rfc3339((r->wall - r->shift) * SECOND + r->ms, utc)));
	o->event = s->cell[r->cell - 1];
	o->word = word_text(r->word);
	o->partition = l->place[r->point].partition;
	o->zone = l->place[r->point].zone;
	o->serial = l->place[r->point].serial;
	o->user = arena_text(&l->row, r->user);
	o->signal = arena_text(&l->row, r->signal);
	o->text = arena_text(&l->row, r->text);
	o->row_line = r->line;
	if (r->phrase && stored_phrase(s, r->phrase, &l->row, &o->text, e))
		return -1;
	return marks_text(l, r->marks, &o->marks, e) ? -1 : l->each(l->ctx, o);
}

static int
tell_account(struct reading_log *l, int64_t id, struct err *e)
{
	struct block_base base = { .word = l->s->cell_word, .marks = l->s->cell_marks,
	    .n_cell = (uint32_t)l->s->n_cell };
	struct block_row row[BLOCK_EVENTS];
	struct arena escaped = { 0 };
	sqlite3_stmt *st;
	int rc, n;

	arena_reset(&l->account);
	if (read_places(l, id, e) || !(st = db_stmt(l->s, "SELECT r.block, r.lo, r.offset, r.shift,"
	    " b.events, f.name FROM run r CROSS JOIN block b ON b.id = r.block"
	    " CROSS JOIN file f ON f.id = r.file WHERE r.account = ?1 ORDER BY r.block", e)))
		return -1;
	sqlite3_bind_int64(st, 1, id);
	while ((rc = db_step(l->s, st, e)) > 0) {
		arena_reset(&escaped);
		block_base_of(st, 1, &base);
		n = block_read(&base, db_span(st, 4), &escaped, row);
		rc = n < 0 ? err_set(e, ERR_STORE, l->s->path, 0, "block %lld cannot be read",
		    (long long)sqlite3_column_int64(st, 0)) : 0;
		l->out.file = (const char *)sqlite3_column_text(st, 5);
		for (int i = 0; rc == 0 && i < n; i++) {
			arena_reset(&l->row);
			rc = tell_row(l, &row[i], e);
		}
		if (rc)
			break;
	}
	sqlite3_reset(st);
	arena_release(&escaped);
	return rc;
}

int
store_event_log(struct store *s, const char *account,
    int (*each)(void *ctx, const struct log_row *row), void *ctx, struct err *e)
{
	struct reading_log l = { .s = s, .each = each, .ctx = ctx };
	struct arena names = { 0 };
	struct { int64_t id; const char *account, *receiver, *line; } *list = NULL;
	size_t n = 0, cap = 0;
	sqlite3_stmt *st = db_stmt(s, "SELECT id, account, receiver, line FROM account"
	    " WHERE ?1 IS NULL OR account = ?1 ORDER BY id", e);
	int rc = st ? load_cells(s, e) : -1;

	if (rc == 0 && account)
		db_bind_text(st, 1, account);
	while (rc == 0 && (rc = db_step(s, st, e)) > 0) {
		list = x_grow(list, &cap, n + 1, sizeof *list);
		list[n].id = sqlite3_column_int64(st, 0);
		list[n].account = db_text(st, 1, &names);
		list[n].receiver = db_text(st, 2, &names);
		list[n++].line = db_text(st, 3, &names);
		rc = 0;
	}
	for (size_t i = 0; rc == 0 && i < n; i++) {
		l.out.account = list[i].account;
		l.out.receiver = list[i].receiver;
		l.out.line = list[i].line;
		rc = tell_account(&l, list[i].id, e);
	}
	free(list);
	free(l.place);
	arena_release(&names);
	arena_release(&l.account);
	arena_release(&l.row);
	return rc;
}
