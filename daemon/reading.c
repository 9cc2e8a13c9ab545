#include "daemon/reading.h"

#include <assert.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/derive.h"
#include "daemon/spread.h"
#include "rules/view.h"

enum {
	BATCHES = 2,
	MEMO = 4096, MEMO_CELL = 40,
	WAITING = 32,		/* rows whose accounts are looked up together */
	WAITING_NAME = 24,	/* longest account that may wait */
};

struct reading {
	struct reading_file *file;
	size_t               n_file;
	struct ingest_options o;
	struct reader_options read;
	struct wordin       *wordin;	/* NULL = none */
	struct arena        *arena;	/* the ingest's: only this thread and, before it
					 * starts, the caller take from it */
	size_t               batch_rows;

	struct accounts      accounts;
	struct waiting {
		uint32_t row, n;
		uint64_t hash;
		char     name[WAITING_NAME];
	} waiting[WAITING];
	size_t               n_waiting;
	const struct tz     *fallback;

	/* event cells, by hash; a cell too long for the memo is searched in the list */
	struct cell_list     cells;
	struct { char cell[MEMO_CELL]; uint16_t n, index; } memo[MEMO];

	/* the file in hand */
	struct reader       *reader;
	size_t               at;
	struct spread        spread, sure;	/* of all rows; of those that no zone can move */
	int64_t              run_at;	/* ms UTC of the last good row; NO_TIME */
	int64_t              jump_at;	/* last row that stood far off */
	int                  jumps;
	bool                 used_fallback;
	uint32_t             n_account;	/* with rows in it */

	/* between the threads */
	pthread_t            thread;
	bool                 started;
	pthread_mutex_t      lock;
	pthread_cond_t       change;
	struct batch         batch[BATCHES];
	struct batch_spare   spare;
	int                  full;	/* batches waiting or lent */
	int                  put, got;	/* next to fill, next to hand out */
	bool                 lent, done, stop;
	uint64_t             progress_done, progress_all;
	size_t               progress_at;	/* `at`, as of the last batch */
};

/* ---- accounts and cells ---------------------------------------------------- */

const struct tz *
reading_zone(struct reading *r, const char *account)
{
	return accounts_zone(&r->accounts, account);
}

int
reading_timezone(void *reading, const char *account, const char *name)
{
	return accounts_timezone(&((struct reading *)reading)->accounts, account, name);
}

int
reading_account(void *reading, const char *account, const char *receiver, const char *line,
    int64_t id)
{
	accounts_add(&((struct reading *)reading)->accounts, span_of(account), span_of(receiver),
	    span_of(line))->store.id = id;
	return 0;
}

static bool
cell_means(const struct cell_list *c, uint32_t i, const struct meaning *m)
{
	return c->hint[i] == m->hint && c->word[i] == m->word && c->marks[i] == wordin_marks(m);
}

/* A cell that means one thing by itself and another with its text, as wordings have it,
 * stands in the list once for each. */
static int
cell_index(struct reading *r, struct span cell, const struct meaning *m)
{
	size_t at = (size_t)span_hash(cell) & (MEMO - 1);
	uint32_t i;

	if (r->memo[at].n == cell.n && cell.n && cell.n < MEMO_CELL &&
	    memcmp(r->memo[at].cell, cell.p, cell.n) == 0 &&
	    cell_means(&r->cells, r->memo[at].index, m))
		return r->memo[at].index;
	for (i = 0; i < r->cells.n; i++)
		if (cell_means(&r->cells, i, m) && span_eq(span_of(r->cells.cell[i]), cell))
			break;
	if (i == CELL_MAX)
		return -1;
	if (i == r->cells.n) {
		r->cells.cell[i] = arena_text(r->arena, cell);
		r->cells.hint[i] = (uint8_t)m->hint;
		r->cells.word[i] = (uint8_t)m->word;
		r->cells.marks[i] = wordin_marks(m);
		__atomic_store_n(&r->cells.n, i + 1, __ATOMIC_RELEASE);
	}
	if (cell.n < MEMO_CELL) {
		memcpy(r->memo[at].cell, cell.p, cell.n);
		r->memo[at].n = (uint16_t)cell.n;
		r->memo[at].index = (uint16_t)i;
	}
	return (int)i;
}

struct cell_list *
reading_cells(struct reading *r)
{
	return &r->cells;
}

/* ---- one row --------------------------------------------------------------- */

void
reading_reason(struct arena *a, struct ingest_file *f, const char *reason, uint64_t line)
{
	struct ingest_reason *more;

	f->set_aside++;
	for (size_t i = 0; i < f->n_reason; i++) {
		if (strcmp(f->reason[i].reason, reason) == 0) {
			f->reason[i].rows++;
			return;
		}
	}
	more = arena_take(a, (f->n_reason + 1) * sizeof *more);
	if (f->n_reason)
		memcpy(more, f->reason, f->n_reason * sizeof *more);
	more[f->n_reason++] = (struct ingest_reason){ reason, 1, (int64_t)line };
	f->reason = more;
}

/* Does the time stand far outside the file's own run? Then the clock was at a default
 * or set wrong, and receipt or the place in the file stands in. */
static bool
clock_is_reset(struct reading *r, int64_t at, int64_t received, int64_t prev, int64_t middle)
{
	if (received != NO_TIME)
		return llabs(at - received) > DERIVE_RESET;
	if ((r->run_at != NO_TIME && llabs(at - r->run_at) <= DERIVE_RESET) ||
	    (prev != NO_TIME && llabs(at - prev) <= DERIVE_RESET) ||
	    (middle != NO_TIME && llabs(at - middle * SECOND) <= DERIVE_RESET) ||
	    (r->run_at == NO_TIME && middle == NO_TIME)) {
		r->jumps = 0;
		return false;
	}
	/* Three rows in a row that agree on another time are a new run of the file, unless
	 * it is a time at which clocks begin. */
	r->jumps = r->jumps && llabs(at - r->jump_at) <= DERIVE_RESET ? r->jumps + 1 : 1;
	r->jump_at = at;
	return r->jumps < 3 || at < DERIVE_BEGIN;
}

static void
resolve(struct reading *r, struct acct *a, struct event_in *ev)
{
	const struct reader_info *info = reader_info(r->reader);
	uint32_t number = (uint32_t)r->at + 1;
	int64_t prev, at, received;

	if (a->seen_file != number) {
		a->seen_file = number;
		r->n_account++;
		a->prev_at = NO_TIME;
	}
	if (!a->tz) {
		a->tz = r->fallback;
		a->guessed = true;
	}
	ev->acct = a;
	r->used_fallback |= a->guessed && ev->offset == OFFSET_NONE;
	prev = a->prev_at;
	derive_time(a->tz, info->newest_first, &a->prev_at, ev);
	at = (ev->wall - ev->shift) * SECOND + ev->ms;
	received = derive_received(a->tz, ev);
	if (clock_is_reset(r, at, received, prev, info->middle)) {
		int64_t stand_in = prev != NO_TIME ? prev : r->run_at != NO_TIME ? r->run_at
		    : info->middle * SECOND;

		a->prev_at = prev;
		ev->marks |= MARK_RESET;
		ev->shift = ev->wall - stand_in / SECOND;
		derive_time(a->tz, info->newest_first, &a->prev_at, ev);
		if (received == NO_TIME)
			return;
	} else {
		r->run_at = at;
	}
	spread_add(&r->spread, received != NO_TIME ? received : at);
	if ((received != NO_TIME ? ev->received_offset : ev->offset) != OFFSET_NONE)
		spread_add(&r->sure, received != NO_TIME ? received : at);
}

/* The accounts of the rows that wait, and what hangs on them. They lie all over memory,
 * so it is asked for all of them before the first one is needed. */
static void
settle(struct reading *r, struct batch *b)
{
	const struct span none = { NULL, 0 };

	for (size_t i = 0; i < r->n_waiting; i++)
		accounts_soon(&r->accounts, r->waiting[i].hash, false);
	for (size_t i = 0; i < r->n_waiting; i++)
		accounts_soon(&r->accounts, r->waiting[i].hash, true);
	for (size_t i = 0; i < r->n_waiting; i++) {
		struct span name = { r->waiting[i].name, r->waiting[i].n };

		resolve(r, accounts_find(&r->accounts, r->waiting[i].hash, name, none, none),
		    &b->row[r->waiting[i].row]);
	}
	r->n_waiting = 0;
}

/* Finds the row's account at once, or lets the row wait for others. NULL, or why not. */
static const char *
find_or_wait(struct reading *r, struct batch *b, const struct row *row, uint32_t at)
{
	struct span account = row->cell[COL_ACCOUNT];
	struct waiting *w;
	struct acct *a;

	if (account.n <= WAITING_NAME && !row->cell[COL_RECEIVER].n && !row->cell[COL_LINE].n &&
	    r->accounts.n_acct + WAITING < ACCOUNTS_MAX) {
		w = &r->waiting[r->n_waiting++];
		w->row = at;
		w->n = (uint32_t)account.n;
		w->hash = span_hash_fold(account);
		memcpy(w->name, account.p, account.n);
		if (r->n_waiting == WAITING)
			settle(r, b);
		return NULL;
	}
	settle(r, b);
	a = accounts_find(&r->accounts, accounts_hash(account, row->cell[COL_RECEIVER],
	    row->cell[COL_LINE]), account, row->cell[COL_RECEIVER], row->cell[COL_LINE]);
	if (!a)
		return "more than 1000000 accounts";
	resolve(r, a, &b->row[at]);
	return NULL;
}

/* Copies a cell behind the texts; the reader lets no NUL byte through. */
static void
put_text(struct batch *b, struct span s)
{
	if (s.n)
		memcpy(b->text + b->n_text, s.p, s.n);
	b->text[b->n_text + s.n] = '\0';
	b->n_text += s.n + 1;
}

static const char *
take_row(struct reading *r, struct batch *b, const struct row *row)
{
	static const enum column text_of[RT_COUNT] = { [RT_PARTITION] = COL_PARTITION,
		[RT_ZONE] = COL_ZONE, [RT_SERIAL] = COL_SERIAL, [RT_USER] = COL_USER,
		[RT_TEXT] = COL_TEXT, [RT_SIGNAL] = COL_SIGNAL };
	struct event_in *ev;
	size_t need = RT_COUNT, text = b->n_text;
	const char *fault;
	int cell = cell_index(r, row->cell[COL_EVENT], &row->meaning);

	if (cell < 0)
		return "more than 20000 kinds of event cell";
	for (int i = 0; i < RT_COUNT; i++)
		need += row->cell[text_of[i]].n;
	b->text = x_grow(b->text, &b->cap_text, b->n_text + need, 1);
	for (int i = 0; i < RT_COUNT; i++)
		put_text(b, row->cell[text_of[i]]);
	ev = &b->row[b->n_row++];
	*ev = (struct event_in){ .wall = row->time.wall, .ms = (uint16_t)row->time.ms,
	    .offset = row->time.offset, .line = (uint32_t)row->line, .text = (uint32_t)text,
	    .cell = (uint16_t)cell, .word = (uint8_t)row->meaning.word,
	    .piece = (uint32_t)b->n_piece - 1 };
	for (int i = 0; i < RT_COUNT; i++)
		ev->n[i] = (uint16_t)row->cell[text_of[i]].n;
	ev->point_hash = (uint32_t)span_hash((struct span){ b->text + text,
	    (size_t)ev->n[RT_PARTITION] + ev->n[RT_ZONE] + ev->n[RT_SERIAL] + 2 });
	ev->text_hash = (uint32_t)span_hash(row->cell[COL_TEXT]);
	if (row->has_received) {
		ev->has_received = true;
		ev->received = row->received.wall;
		ev->received_ms = (uint16_t)row->received.ms;
		ev->received_offset = row->received.offset;
	}
	ev->marks = (uint16_t)(wordin_marks(&row->meaning) | (row->time.leap ? MARK_LEAP : 0) |
	    (row->time.precision == PREC_MINUTE ? MARK_COARSE : 0));
	fault = find_or_wait(r, b, row, (uint32_t)b->n_row - 1);
	if (fault)
		b->n_row--;
	return fault;
}

static void
put_aside(struct reading *r, struct batch *b, struct span raw, uint64_t line, const char *reason)
{
	b->aside = x_grow(b->aside, &b->cap_aside, b->n_aside + 1, sizeof *b->aside);
	b->text = x_grow(b->text, &b->cap_text, b->n_text + raw.n + 1, 1);
	if (raw.n)
		memcpy(b->text + b->n_text, raw.p, raw.n);
	b->aside[b->n_aside++] = (struct aside_in){ (uint32_t)line, (uint32_t)b->n_text,
	    (uint32_t)raw.n, reason };
	b->n_text += raw.n;
	reading_reason(r->arena, r->file[r->at].out, reason, line);
}

/* ---- batches --------------------------------------------------------------- */

static struct batch *
empty_batch(struct reading *r)
{
	struct batch *b = NULL;

	pthread_mutex_lock(&r->lock);
	while (r->full == BATCHES && !r->stop)
		pthread_cond_wait(&r->change, &r->lock);
	if (!r->stop)
		b = &r->batch[r->put];
	pthread_mutex_unlock(&r->lock);
	if (b)
		b->n_row = b->n_aside = b->n_piece = b->n_text = 0;
	return b;
}

static void
hand_over(struct reading *r, struct batch *b)
{
	batch_sort(b, &r->spare);
	if (!r->o.batch)
		r->batch_rows = READING_BATCH;
	pthread_mutex_lock(&r->lock);
	r->full++;
	r->put = (r->put + 1) % BATCHES;
	if (r->reader)
		reader_progress(r->reader, &r->progress_done, &r->progress_all);
	r->progress_at = r->at;
	pthread_cond_signal(&r->change);
	pthread_mutex_unlock(&r->lock);
}

/* Texts are found by 32-bit offsets; no batch comes near that. */
static bool
is_full(const struct reading *r, const struct batch *b)
{
	return b->n_row + b->n_aside >= r->batch_rows || b->n_text > (size_t)1 << 28;
}

static struct piece *
begin_piece(struct reading *r, struct batch *b, bool begins)
{
	const struct reader_info *info = reader_info(r->reader);
	struct piece *p;

	b->piece = x_grow(b->piece, &b->cap_piece, b->n_piece + 1, sizeof *b->piece);
	p = &b->piece[b->n_piece++];
	*p = (struct piece){ .file = (uint32_t)r->at + 1, .begins = begins, .row = b->n_row,
	    .aside = b->n_aside, .name = r->file[r->at].out->name, .place = r->file[r->at].place,
	    .separator = info->separator, .newest_first = info->newest_first,
	    .from = NO_TIME, .to = NO_TIME, .sure_from = NO_TIME, .sure_to = NO_TIME, .header = "", .ignored = "" };
	if (r->wordin)
		p->wordings = wordin_id(r->wordin, r->reader);
	if (begins) {
		p->header = arena_text(r->arena, info->header);
		p->ignored = arena_text(r->arena, span_of(info->ignored));
	}
	return p;
}

static void
end_piece(struct batch *b, bool ends)
{
	struct piece *p = &b->piece[b->n_piece - 1];

	p->n_row = b->n_row - p->row;
	p->n_aside = b->n_aside - p->aside;
	p->ends = ends;
}

static void
end_file(struct reading *r, struct batch *b)
{
	const struct reader_info *info = reader_info(r->reader);
	struct piece *p = &b->piece[b->n_piece - 1];
	struct ingest_file *f = r->file[r->at].out;

	end_piece(b, true);
	p->size = info->size;
	p->crc32 = info->crc32;
	if (r->o.covers == COVERS_SPAN) {
		p->from = p->sure_from = r->o.covers_from;
		p->to = p->sure_to = r->o.covers_to;
	} else {
		spread_span(&r->spread, r->n_account == 1, &p->from, &p->to);
		spread_within(&r->sure, p->to, &p->sure_from, &p->sure_to);
	}
	f->from = p->from;
	f->to = p->to;
	f->note = wordin_join(r->arena, arena_text(r->arena, span_of(reader_note(r->reader))),
	    r->used_fallback ? arena_fmt(r->arena,
	        "local times of accounts that sites does not name were read as %s",
	        tz_shown(r->fallback)) : "");
	if (r->wordin)
		wordin_told(r->wordin, r->reader, r->arena, f);
	r->file[r->at].wordings = info->wordings;
}

static void
fail_file(struct reading *r, struct batch *b, const struct err *e)
{
	end_piece(b, true);
	b->piece[b->n_piece - 1].failed = true;
	r->file[r->at].out->failed = true;
	r->file[r->at].out->later = e->code == ERR_LATER;
	r->file[r->at].out->message = arena_text(r->arena, span_of(e->text));
}

/* Reads the file in hand; the batch may be another one afterwards. NULL: stopped. */
static struct batch *
read_file(struct reading *r, struct batch *b)
{
	enum read_result got;
	struct row row;
	struct err e;

	begin_piece(r, b, true);
	while ((got = reader_next(r->reader, &row, &e)) > 0) {
		const char *reason = row.reason;

		if (r->o.stop && *r->o.stop)
			return NULL;
		if (is_full(r, b)) {
			settle(r, b);
			end_piece(b, false);
			hand_over(r, b);
			if (!(b = empty_batch(r)))
				return NULL;
			begin_piece(r, b, false);
		}
		if (b->n_row == b->cap_row)
			b->row = x_grow(b->row, &b->cap_row, b->n_row + 1, sizeof *b->row);
		if (got == READ_ROW)
			reason = take_row(r, b, &row);
		if (reason)
			put_aside(r, b, row.raw, row.line, reason);
	}
	settle(r, b);
	if (got == READ_ERR)
		fail_file(r, b, &e);
	else
		end_file(r, b);
	return b;
}

static void *
run(void *reading)
{
	struct reading *r = reading;
	struct batch *b = empty_batch(r);
	struct err e;

	for (r->at = 0; b && r->at < r->n_file; r->at++) {
		struct reading_file *f = &r->file[r->at];

		r->reader = f->reader ? f->reader : reader_open(f->place, &r->read, &e);
		f->reader = NULL;
		if (!r->reader) {
			f->out->failed = true;
			f->out->later = e.code == ERR_LATER;
			f->out->message = arena_text(r->arena, span_of(e.text));
			continue;
		}
		spread_reset(&r->spread);
		spread_reset(&r->sure);
		r->run_at = r->jump_at = NO_TIME;
		r->jumps = 0;
		r->used_fallback = false;
		r->n_account = 0;
		b = read_file(r, b);
		reader_close(r->reader);
		r->reader = NULL;
		/* A file that was cut into parts does not share its last batch. */
		if (b && (is_full(r, b) || !b->piece[b->n_piece - 1].begins)) {
			hand_over(r, b);
			b = empty_batch(r);
		}
	}
	if (r->reader)
		reader_close(r->reader);
	r->reader = NULL;
	if (b && b->n_piece)
		hand_over(r, b);
	pthread_mutex_lock(&r->lock);
	r->done = true;
	pthread_cond_signal(&r->change);
	pthread_mutex_unlock(&r->lock);
	return NULL;
}

/* ---- the other side -------------------------------------------------------- */

struct reading *
reading_open(struct reading_file *file, size_t n_file, const struct ingest_options *o,
    struct tz_set *zones, struct arena *arena)
{
	struct reading *r = x_calloc(1, sizeof *r);
	struct err e;

	r->file = file;
	r->n_file = n_file;
	r->o = *o;
	r->read.read_size = o->read_size;
	r->accounts.zones = zones;
	r->accounts.arena = arena;
	r->arena = arena;
	/* The first batch is a small one, so that the writing side need not wait for it. */
	r->batch_rows = o->batch ? o->batch : READING_BATCH / 4;
	r->fallback = o->timezone ? tz_find(zones, span_of(o->timezone), &e) : NULL;
	if (!r->fallback)
		r->fallback = tz_machine(zones);
	pthread_mutex_init(&r->lock, NULL);
	pthread_cond_init(&r->change, NULL);
	return r;
}

void
reading_wordings(struct reading *r, struct wordin *in)
{
	r->wordin = in;
	wordin_options(in, &r->read);
}

void
reading_files(struct reading *r, size_t n_file)
{
	r->n_file = n_file;
}

int
reading_start(struct reading *r, struct err *e)
{
	int rc = pthread_create(&r->thread, NULL, run, r);

	if (rc)
		return err_set(e, ERR_IO, NULL, 0, "cannot start a thread: %s", strerror(rc));
	r->started = true;
	return 0;
}

struct batch *
reading_next(struct reading *r)
{
	struct batch *b = NULL;

	pthread_mutex_lock(&r->lock);
	if (r->lent) {
		r->lent = false;
		r->full--;
		pthread_cond_signal(&r->change);
	}
	while (r->full == 0 && !r->done)
		pthread_cond_wait(&r->change, &r->lock);
	if (r->full) {
		b = &r->batch[r->got];
		r->got = (r->got + 1) % BATCHES;
		r->lent = true;
	}
	pthread_mutex_unlock(&r->lock);
	return b;
}

int
reading_percent(struct reading *r, const char **name)
{
	int percent;

	pthread_mutex_lock(&r->lock);
	*name = r->progress_at < r->n_file ? r->file[r->progress_at].out->name : "";
	percent = r->progress_all ? (int)(r->progress_done * 100 / r->progress_all) : 0;
	pthread_mutex_unlock(&r->lock);
	return percent;
}

void
reading_close(struct reading *r)
{
	if (!r)
		return;
	if (r->started) {
		pthread_mutex_lock(&r->lock);
		r->stop = true;
		pthread_cond_signal(&r->change);
		pthread_mutex_unlock(&r->lock);
		pthread_join(r->thread, NULL);
	}
	for (size_t i = 0; i < r->n_file; i++)
		reader_close(r->file[i].reader);
	for (int i = 0; i < BATCHES; i++)
		batch_release(&r->batch[i]);
	batch_spare_release(&r->spare);
	accounts_release(&r->accounts);
	spread_release(&r->spread);
	spread_release(&r->sure);
	pthread_mutex_destroy(&r->lock);
	pthread_cond_destroy(&r->change);
	free(r);
}
