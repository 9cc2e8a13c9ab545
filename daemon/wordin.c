#include "daemon/wordin.h"

#include <stdlib.h>
#include <string.h>

#include "daemon/derive.h"
#include "daemon/store/tables.h"
#include "daemon/tablein.h"

void
wordin_release(struct wordin *in)
{
	for (size_t i = 0; i < in->n; i++)
		wordings_free(in->list[i]);
	free(in->list);
	free(in->file);
	*in = (struct wordin){ 0 };
}

const char *
wordin_join(struct arena *a, const char *one, const char *two)
{
	return *one && *two ? arena_fmt(a, "%s; %s", one, two) : *one ? one : two;
}

uint16_t
wordin_marks(const struct meaning *m)
{
	return (uint16_t)((m->still ? MARK_STILL : 0) | (m->life ? MARK_LIFE_CODE : 0) |
	    (m->address == ADDR_USER ? MARK_USER : 0) |
	    (m->address == ADDR_PANEL ? MARK_PANEL : 0));
}

bool
wordin_reword(void *run, struct span cell, struct span text, struct word_in *out)
{
	struct meaning m;

	if (wordings_event(run, cell, text, &m))
		return false;
	*out = (struct word_in){ .word = (uint8_t)m.word, .hint = (uint8_t)m.hint,
	    .marks = wordin_marks(&m) };
	return true;
}

const char *
wordin_reworded(struct arena *a, const struct reworded *n)
{
	const char *text = "";

	if (n->changed)
		text = arena_fmt(a, "%lld stored events mean something else now", (long long)n->changed);
	if (n->less_life)
		text = arena_fmt(a, "%s, %lld of them were life safety and are not any more", text,
		    (long long)n->less_life);
	if (n->kept)
		text = wordin_join(a, text, arena_fmt(a, "of %lld stored events the new wordings can "
		    "tell nothing, they keep their meaning", (long long)n->kept));
	return text;
}

/* ---- one file of wordings -------------------------------------------------- */

static const char *
text(struct arena *a, const struct row *row, enum column c)
{
	return row->cell[c].n ? arena_text(a, row->cell[c]) : "";
}

/* Whole or not at all: a row that is wrong is a fault of the file. */
static int
take_rows(struct wordings *w, struct store *s, struct table_file *file, struct reader *reader,
    struct ingest_file *f, struct arena *a, struct err *e)
{
	enum read_result got;
	struct row row;
	struct arena texts = { 0 };
	struct err fault;
	int rc = 0;

	while (rc == 0 && (got = reader_next(reader, &row, &fault)) > 0) {
		arena_reset(&texts);
		if (got == READ_ASIDE)
			err_set(&fault, ERR_DATA, f->name, row.line, "%s", row.reason);
		if (got == READ_ASIDE || wordings_add(w, row.line, row.cell[COL_WHAT],
		    row.cell[COL_MATCH], row.cell[COL_GIVES], &fault)) {
			got = READ_ERR;
			break;
		}
		rc = table_wording(s, file, row.line, text(&texts, &row, COL_WHAT),
		    text(&texts, &row, COL_MATCH), text(&texts, &row, COL_GIVES), e);
	}
	arena_release(&texts);
	if (rc == 0 && got == READ_ERR) {
		f->failed = true;
		f->later = fault.code == ERR_LATER;
		f->message = arena_text(a, span_of(fault.text));
	}
	return rc;
}

static void
add(struct wordin *in, struct wordings *w, const struct wordin_file *f)
{
	in->list = x_grow(in->list, &in->cap, in->n + 1, sizeof *in->list);
	in->file = x_grow(in->file, &in->cap_file, in->n + 1, sizeof *in->file);
	in->file[in->n] = *f;
	in->list[in->n++] = w;
}

int
wordin_take(struct wordin *in, struct store *s, struct reader *reader, const char *place,
    int64_t taken, struct arena *a, struct ingest_file *f, struct err *e)
{
	const struct reader_info *info = reader_info(reader);
	struct wordings *w = wordings_new(f->name);
	struct wordings_run *run = NULL;
	struct table_file file = { .name = f->name, .kind = f->kind, .place = place,
	    .header = arena_text(a, info->header), .ignored = arena_text(a, span_of(info->ignored)),
	    .separator = info->separator, .taken = taken, .reword = wordin_reword };
	int64_t id = 0;
	int rc = table_begin(s, &file, e) || store_owner(s, file.id, tablein_owner(a, place), e) ? -1 : 0;

	if (rc == 0)
		rc = take_rows(w, s, &file, reader, f, a, e);
	if (rc == 0 && !f->failed) {
		file.reword_ctx = run = wordings_run_new(w);
		rc = table_end(s, &file, info->size, info->crc32, &(struct table_zones){
		    .derive = derive_time }, e);
	}
	if (rc || f->failed)
		table_abort(s);
	else
		rc = table_wordings(s, place, &id, e);
	wordings_run_free(run);
	if (rc || f->failed) {
		wordings_free(w);
		return rc;
	}
	if (file.rows == 0)	/* says nothing, and takes back what stood there before */
		wordings_free(w);
	else
		add(in, w, &(struct wordin_file){ .out = f, .name = f->name, .place = place, .id = id });
	f->rows = file.rows;
	f->stored = file.stored;
	f->repeated = file.repeated;
	f->note = wordin_join(a, arena_text(a, span_of(reader_note(reader))),
	    wordin_reworded(a, &file.reworded));
	return 0;
}

struct keeping {
	struct wordin *in;
	struct arena  *arena;
	size_t         given;		/* wordings of this call */
};

static bool
is_given(const struct keeping *k, const char *place)
{
	for (size_t i = 0; i < k->given; i++) {
		if (strcmp(k->in->file[i].place, place) == 0)
			return true;
	}
	return false;
}

/* Rows come file by file. What was good when it was taken in is good now. */
static int
keep_row(void *ctx, const struct wording_row *r)
{
	struct keeping *k = ctx;
	struct wordin *in = k->in;
	struct err e;

	if (is_given(k, r->place))
		return 0;
	if (in->n == k->given || in->file[in->n - 1].id != r->file) {
		add(in, wordings_new(r->name), &(struct wordin_file){ .id = r->file,
		    .name = arena_text(k->arena, span_of(r->name)),
		    .place = arena_text(k->arena, span_of(r->place)) });
		in->n_kept++;
	}
	return wordings_add(in->list[in->n - 1], (uint64_t)r->line, span_of(r->what),
	    span_of(r->match), span_of(r->gives), &e);
}

int
wordin_kept(struct wordin *in, struct store *s, struct arena *a, struct err *e)
{
	struct keeping k = { .in = in, .arena = a, .given = in->n };
	int rc;

	if (in->named)
		return 0;
	e->text[0] = '\0';
	rc = table_wordings_each(s, keep_row, &k, e);
	if (rc < 0 && !*e->text)
		err_set(e, ERR_STORE, NULL, 0, "the wordings %s that the store keeps cannot be used;"
		    " read them again", in->n ? in->file[in->n - 1].name : "");
	return rc;
}

/* ---- files that are read with them ------------------------------------------ */

void
wordin_options(const struct wordin *in, struct reader_options *o)
{
	o->wordings = (const struct wordings *const *)in->list;
	o->n_wordings = in->named && in->n ? 1 : in->n;
	o->n_kept = in->n_kept;
	o->named = in->named && in->n;
}

static struct wordin_file *
find(const struct wordin *in, const struct reader *r)
{
	for (size_t i = 0; i < in->n; i++) {
		if (in->list[i] == reader_info(r)->wordings)
			return &in->file[i];
	}
	return NULL;
}

int64_t
wordin_id(const struct wordin *in, const struct reader *r)
{
	const struct wordin_file *w = find(in, r);

	return w ? w->id : 0;
}

/* "Objekt is account, Datum is time, ...; separator ;; times day first" */
static const char *
mapped(struct arena *a, const struct reader *r, const struct wordings *w)
{
	static const char *const order[] = { [STAMP_DAY_FIRST] = "day first",
		[STAMP_MONTH_FIRST] = "month first" };
	const struct reader_info *info = reader_info(r);
	const char *text = info->fits ? arena_text(a, span_of(info->mapped)) : "";

	if (info->fits && wordings_separator(w))
		text = wordin_join(a, text, info->separator == '\t' ? "separator tab"
		    : arena_fmt(a, "separator \"%c\"", info->separator));
	if (wordings_encoding(w) == ENCODING_UTF8 || wordings_encoding(w) == ENCODING_1252)
		text = wordin_join(a, text, wordings_encoding(w) == ENCODING_UTF8 ? "UTF-8"
		    : "Windows-1252");
	if (wordings_time(w) != STAMP_UNDECIDED)
		text = wordin_join(a, text, arena_fmt(a, "times %s", order[wordings_time(w)]));
	return text;
}

void
wordin_told(struct wordin *in, const struct reader *r, struct arena *a, struct ingest_file *f)
{
	struct wordin_file *w = find(in, r);
	struct wordings_counts *n;

	if (!w)
		return;
	w->applied++;
	n = arena_take(a, sizeof *n);
	wordings_count(reader_wordings(r), a, n);
	f->wordings = n;
	f->mapped = mapped(a, r, reader_info(r)->wordings);
	f->note = wordin_join(a, arena_fmt(a, reader_info(r)->fits
	    ? w->out ? "read with the wordings of %s" : "read with the wordings of %s, which the store"
	      " keeps" : "has none of the columns that %s names; only events, devices and times were read"
	      " with it", w->name), f->note);
	if (n->kept)
		f->note = wordin_join(a, f->note, arena_fmt(a, "life safety by its own code or word, and "
		    "kept from a pattern that gives something else: %lld", (long long)n->kept));
}

void
wordin_end(struct wordin *in, struct arena *a)
{
	for (size_t i = 0; i < in->n; i++) {
		if (in->file[i].out && !in->file[i].applied)
			in->file[i].out->note = wordin_join(a, in->file[i].out->note,
			    "no other file of this call was read with it");
	}
}
