#include "parsers/wordings.h"

#include <stdlib.h>
#include <string.h>

#define PCRE2_CODE_UNIT_WIDTH 8
#include <pcre2.h>

#include "parsers/reader.h"

struct pattern {
	pcre2_code  *code;
	uint64_t     line;
	const char  *match, *gives;
	const char  *over;		/* the reason when it runs into its limit */
	struct meaning meaning;		/* event */
	enum kind    kind;		/* device */
};

struct patterns { struct pattern *row; size_t n, cap; };
struct theirs { struct span name; int column; };

struct wordings {
	struct arena    arena;		/* all texts */
	const char     *name;
	struct theirs  *column;
	size_t          n_column, cap_column;
	struct patterns event, device;
	size_t          rows;
	char            separator;
	enum stamp_order time;
	enum wordings_encoding encoding;
};

struct wordings *
wordings_new(const char *name)
{
	struct wordings *w = x_calloc(1, sizeof *w);

	w->name = arena_text(&w->arena, span_of(name));
	return w;
}

static void
free_patterns(struct patterns *p)
{
	for (size_t i = 0; i < p->n; i++)
		pcre2_code_free(p->row[i].code);
	free(p->row);
}

void
wordings_free(struct wordings *w)
{
	if (!w)
		return;
	free_patterns(&w->event);
	free_patterns(&w->device);
	free(w->column);
	arena_release(&w->arena);
	free(w);
}

const char *
wordings_name(const struct wordings *w)
{
	return w->name;
}

char
wordings_separator(const struct wordings *w)
{
	return w->separator;
}

enum stamp_order
wordings_time(const struct wordings *w)
{
	return w->time;
}

enum wordings_encoding
wordings_encoding(const struct wordings *w)
{
	return w->encoding;
}

bool
wordings_has_columns(const struct wordings *w)
{
	return w->n_column > 0;
}

bool
wordings_column(const struct wordings *w, struct span theirs, int *column)
{
	for (size_t i = 0; i < w->n_column; i++) {
		if (span_eq_fold(w->column[i].name, theirs)) {
			*column = w->column[i].column;
			return true;
		}
	}
	return false;
}

/* ---- one row of the file --------------------------------------------------- */

static int
wrong(const struct wordings *w, uint64_t line, struct err *e, const char *what, struct span cell)
{
	return err_set(e, ERR_DATA, w->name, line, "%s: \"%.*s\"", what,
	    (int)(cell.n > 100 ? 100 : cell.n), cell.n ? cell.p : "");
}

static int
add_column(struct wordings *w, uint64_t line, struct span match, struct span gives,
    struct err *e)
{
	enum column c = COL_COUNT;
	int had;

	if (match.n == 0)
		return err_set(e, ERR_DATA, w->name, line, "a column row needs match");
	if (gives.n && !column_find(gives, &c))
		return wrong(w, line, e, "gives is not a column of ours", gives);
	if (wordings_column(w, match, &had))
		return wrong(w, line, e, "the column stands twice", match);
	w->column = x_grow(w->column, &w->cap_column, w->n_column + 1, sizeof *w->column);
	w->column[w->n_column++] = (struct theirs){
		{ arena_text(&w->arena, match), match.n },
		gives.n ? (int)c : WORDINGS_PASS_OVER };
	return 0;
}

/* Compiled once and for all; machine code where the system allows it. */
static pcre2_code *
compile(const struct wordings *w, uint64_t line, struct span match, struct err *e)
{
	pcre2_compile_context *cc = pcre2_compile_context_create(NULL);
	PCRE2_UCHAR text[160];
	PCRE2_SIZE at;
	pcre2_code *code;
	int fault;

	if (!cc)
		abort();
	pcre2_set_newline(cc, PCRE2_NEWLINE_LF);
	pcre2_set_parens_nest_limit(cc, 50);
	code = pcre2_compile((PCRE2_SPTR)match.p, match.n, PCRE2_UTF | PCRE2_UCP |
	    PCRE2_CASELESS | PCRE2_MULTILINE | PCRE2_NEVER_BACKSLASH_C, &fault, &at, cc);
	pcre2_compile_context_free(cc);
	if (!code) {
		pcre2_get_error_message(fault, text, sizeof text);
		err_set(e, ERR_DATA, w->name, line, "the pattern is wrong at its byte %zu: %s",
		    at + 1, (const char *)text);
		return NULL;
	}
	pcre2_jit_compile(code, PCRE2_JIT_COMPLETE);	/* without it the interpreter works */
	return code;
}

/* A word, or a code that the tables know: an unknown one is a slip of the pen here. */
static bool
is_ours(struct span gives, struct meaning *m)
{
	enum word word;

	return !code_meaning(gives, m) && (word_find(gives, &word) || *code_text(gives));
}

static int
add_pattern(struct wordings *w, struct patterns *to, uint64_t line, struct span match,
    struct span gives, struct err *e)
{
	bool event = to == &w->event;
	struct pattern p = { .line = line };

	if (match.n == 0)
		return err_set(e, ERR_DATA, w->name, line, "a pattern is missing in match");
	if (match.n > WORDINGS_PATTERN)
		return err_set(e, ERR_DATA, w->name, line, "a pattern has at most %d bytes",
		    WORDINGS_PATTERN);
	if (event && !is_ours(gives, &p.meaning))
		return wrong(w, line, e, "gives is no event word and no code with its qualifier",
		    gives);
	if (!event && !kind_find(gives, &p.kind))
		return wrong(w, line, e, "gives is no kind of device", gives);
	p.code = compile(w, line, match, e);
	if (!p.code)
		return -1;
	p.match = arena_text(&w->arena, match);
	p.gives = arena_text(&w->arena, gives);
	p.over = arena_fmt(&w->arena, "the pattern in line %llu of %s ran into its limit",
	    (unsigned long long)line, w->name);
	to->row = x_grow(to->row, &to->cap, to->n + 1, sizeof *to->row);
	to->row[to->n++] = p;
	return 0;
}

/* Rows that stand once and have nothing to match: time, separator, encoding. */
static int
add_choice(struct wordings *w, uint64_t line, int what, struct span match, struct span gives,
    struct err *e)
{
	static const struct { int what; const char *gives; int value; } choices[] = {
		{ 0, "day-first", STAMP_DAY_FIRST }, { 0, "month-first", STAMP_MONTH_FIRST },
		{ 1, "comma", ',' }, { 1, ",", ',' }, { 1, "semicolon", ';' }, { 1, ";", ';' },
		{ 1, "tab", '\t' }, { 1, "bar", '|' }, { 1, "|", '|' },
		{ 2, "utf-8", ENCODING_UTF8 }, { 2, "windows-1252", ENCODING_1252 },
		{ 2, "utf-16", ENCODING_UTF16 },
	};
	static const char *const allowed[] = { "gives is not day-first or month-first",
		"gives is not comma, semicolon, tab or bar",
		"gives is not utf-8, windows-1252 or utf-16" };
	bool had = what == 0 ? w->time != STAMP_UNDECIDED : what == 1 ? w->separator != 0
	    : w->encoding != ENCODING_NOT_SAID;
	size_t i = 0, n = sizeof choices / sizeof *choices;

	if (match.n)
		return wrong(w, line, e, "match stays blank in such a row", match);
	if (had)
		return err_set(e, ERR_DATA, w->name, line, "said once already");
	while (i < n && (choices[i].what != what ||
	    !span_eq_fold(gives, span_of(choices[i].gives))))
		i++;
	if (i == n)
		return wrong(w, line, e, allowed[what], gives);
	switch (what) {
	case 0: w->time = (enum stamp_order)choices[i].value; break;
	case 1: w->separator = (char)choices[i].value; break;
	case 2: w->encoding = (enum wordings_encoding)choices[i].value; break;
	}
	return 0;
}

int
wordings_add(struct wordings *w, uint64_t line, struct span what, struct span match,
    struct span gives, struct err *e)
{
	if (++w->rows > WORDINGS_ROWS)
		return err_set(e, ERR_DATA, w->name, line, "more than %d rows", WORDINGS_ROWS);
	if (span_eq_fold(what, SPAN("column")))
		return add_column(w, line, match, gives, e);
	if (span_eq_fold(what, SPAN("event")))
		return add_pattern(w, &w->event, line, match, gives, e);
	if (span_eq_fold(what, SPAN("device")))
		return add_pattern(w, &w->device, line, match, gives, e);
	if (span_eq_fold(what, SPAN("time")))
		return add_choice(w, line, 0, match, gives, e);
	if (span_eq_fold(what, SPAN("separator")))
		return add_choice(w, line, 1, match, gives, e);
	if (span_eq_fold(what, SPAN("encoding")))
		return add_choice(w, line, 2, match, gives, e);
	return wrong(w, line, e,
	    "what is not column, event, device, time, separator or encoding", what);
}

/* ---- matching -------------------------------------------------------------- */

enum { NOTHING = -1, OVER = -2 };	/* else the place of the pattern that decided */

/* Exports repeat their texts: what was matched is remembered, later ones push out
 * earlier ones. Longer keys are matched each time. */
enum { SLOTS = 4096, KEY = 200 };
struct slot { int32_t found; uint32_t over; uint16_t n; bool used; char key[KEY]; };

enum { TEXTS = 2000, TEXT_SLOTS = 4096 };	/* unmatched texts that are told apart */

struct wordings_run {
	const struct wordings *w;
	pcre2_match_data      *data;
	pcre2_match_context   *ctx;
	pcre2_jit_stack       *stack;
	struct slot           *memo;
	char                  *subject;
	size_t                 cap_subject;
	int64_t               *event_rows, *device_rows;	/* by pattern */
	int64_t                unmatched, by_own, kept, limit;
	struct arena           arena;
	struct wordings_text  *text;
	size_t                 n_text;
	uint16_t              *text_slot;	/* place in `text` plus one */
};

struct wordings_run *
wordings_run_new(const struct wordings *w)
{
	struct wordings_run *r = x_calloc(1, sizeof *r);

	r->w = w;
	r->data = pcre2_match_data_create(1, NULL);
	r->ctx = pcre2_match_context_create(NULL);
	r->stack = pcre2_jit_stack_create(32 * 1024, WORDINGS_STACK, NULL);
	if (!r->data || !r->ctx)
		abort();
	pcre2_set_match_limit(r->ctx, WORDINGS_MATCH);
	pcre2_set_depth_limit(r->ctx, WORDINGS_DEPTH);
	pcre2_set_heap_limit(r->ctx, WORDINGS_HEAP);
	if (r->stack)
		pcre2_jit_stack_assign(r->ctx, NULL, r->stack);
	r->memo = x_calloc(SLOTS, sizeof *r->memo);
	r->event_rows = x_calloc(w->event.n + 1, sizeof *r->event_rows);
	r->device_rows = x_calloc(w->device.n + 1, sizeof *r->device_rows);
	r->text = x_calloc(TEXTS, sizeof *r->text);
	r->text_slot = x_calloc(TEXT_SLOTS, sizeof *r->text_slot);
	return r;
}

void
wordings_run_free(struct wordings_run *r)
{
	if (!r)
		return;
	pcre2_match_data_free(r->data);
	pcre2_match_context_free(r->ctx);
	pcre2_jit_stack_free(r->stack);
	free(r->memo);
	free(r->subject);
	free(r->event_rows);
	free(r->device_rows);
	free(r->text);
	free(r->text_slot);
	arena_release(&r->arena);
	free(r);
}

/* The first pattern that matches, NOTHING, or OVER with *over the one at its limit. A
 * subject that is not UTF-8 matches nothing; the reader gives none. */
static int32_t
search(struct wordings_run *r, const struct patterns *p, struct span s, uint32_t *over)
{
	for (size_t i = 0; i < p->n; i++) {
		int rc = pcre2_match(p->row[i].code, (PCRE2_SPTR)s.p, s.n, 0, 0, r->data, r->ctx);

		switch (rc) {
		case PCRE2_ERROR_MATCHLIMIT:
		case PCRE2_ERROR_DEPTHLIMIT:
		case PCRE2_ERROR_HEAPLIMIT:
		case PCRE2_ERROR_JIT_STACKLIMIT:
		case PCRE2_ERROR_RECURSELOOP:
		case PCRE2_ERROR_NOMEMORY:
			*over = (uint32_t)i;
			return OVER;
		}
		if (rc >= 0)
			return (int32_t)i;
	}
	return NOTHING;
}

/* The cell, and the text in a line of its own. */
static struct span
subject(struct wordings_run *r, struct span cell, struct span text)
{
	size_t n = cell.n;

	r->subject = x_grow(r->subject, &r->cap_subject, cell.n + text.n + 1, 1);
	if (cell.n)
		memcpy(r->subject, cell.p, cell.n);
	if (text.n) {
		r->subject[n++] = '\n';
		memcpy(r->subject + n, text.p, text.n);
		n += text.n;
	}
	return (struct span){ r->subject, n };
}

static int32_t
find_event(struct wordings_run *r, struct span cell, struct span text, uint32_t *over)
{
	struct span s = subject(r, cell, text);
	struct slot *slot = &r->memo[span_hash(s) % SLOTS];

	if (r->w->event.n == 0)
		return NOTHING;
	if (s.n > KEY)
		return search(r, &r->w->event, s, over);
	if (!slot->used || slot->n != s.n || memcmp(slot->key, s.p, s.n) != 0) {
		slot->over = 0;
		slot->found = search(r, &r->w->event, s, &slot->over);
		slot->used = true;
		slot->n = (uint16_t)s.n;
		memcpy(slot->key, s.p, s.n);
	}
	*over = slot->over;
	return slot->found;
}

static void
count_unmatched(struct wordings_run *r, struct span cell, struct span text)
{
	struct span s = subject(r, cell, text);
	size_t at = (size_t)span_hash(s) % TEXT_SLOTS;
	struct wordings_text *t;

	r->unmatched++;
	for (; r->text_slot[at]; at = (at + 1) % TEXT_SLOTS) {
		t = &r->text[r->text_slot[at] - 1];
		if (span_eq(span_of(t->cell), cell) && span_eq(span_of(t->text), text)) {
			t->rows++;
			return;
		}
	}
	if (r->n_text == TEXTS)
		return;
	t = &r->text[r->n_text++];
	t->cell = arena_text(&r->arena, cell);
	t->text = text.n ? arena_text(&r->arena, text) : "";
	t->rows = 1;
	r->text_slot[at] = (uint16_t)r->n_text;
}

/* A DC-05 code without its qualifier: its class is plain though its sense is not. */
static bool
bare_life(struct span cell)
{
	char code[4] = "E";
	struct meaning m;

	if (cell.n != 3)
		return false;
	memcpy(code + 1, cell.p, 3);
	return !code_meaning((struct span){ code, 4 }, &m) && m.life;
}

static bool
same_meaning(const struct meaning *a, const struct meaning *b)
{
	return a->word == b->word && a->still == b->still && a->life == b->life;
}

const char *
wordings_event(struct wordings_run *r, struct span cell, struct span text, struct meaning *out)
{
	struct meaning own;
	const char *why = code_meaning(cell, &own);
	uint32_t over = 0;
	int32_t found;

	if (cell.n == 0)
		return why;
	found = find_event(r, cell, text, &over);
	if (!why && own.life) {
		r->kept += found >= 0 && !same_meaning(&r->w->event.row[found].meaning, &own);
		r->by_own += found < 0;
		*out = own;
		return NULL;
	}
	if (found == OVER) {
		r->limit++;
		return r->w->event.row[over].over;
	}
	if (found >= 0 && bare_life(cell) && !r->w->event.row[found].meaning.life) {
		r->kept++;
		return why;
	}
	if (found >= 0) {
		r->event_rows[found]++;
		*out = r->w->event.row[found].meaning;
		return NULL;
	}
	if (why) {
		count_unmatched(r, cell, text);
		return why;
	}
	r->by_own++;
	*out = own;
	return NULL;
}

const char *
wordings_device(struct wordings_run *r, struct span cell, enum kind *out)
{
	enum kind own = KIND_UNKNOWN;
	uint32_t over = 0;
	int32_t found;

	if (cell.n == 0) {
		*out = KIND_UNKNOWN;
		return NULL;
	}
	found = search(r, &r->w->device, cell, &over);
	if (kind_find(cell, &own) && kind_is_life(own)) {
		r->kept += found >= 0 && r->w->device.row[found].kind != own;
		r->by_own += found < 0;
		*out = own;
		return NULL;
	}
	if (found == OVER) {
		r->limit++;
		return r->w->device.row[over].over;
	}
	if (found >= 0) {
		r->device_rows[found]++;
		*out = r->w->device.row[found].kind;
		return NULL;
	}
	if (own == KIND_UNKNOWN) {
		count_unmatched(r, cell, (struct span){ NULL, 0 });
		return "device kind not recognised";
	}
	r->by_own++;
	*out = own;
	return NULL;
}

/* ---- what was counted ------------------------------------------------------ */

static int
most_rows(const void *a, const void *b)
{
	const struct wordings_text *x = a, *y = b;
	int c;

	if (x->rows != y->rows)
		return x->rows < y->rows ? 1 : -1;
	c = strcmp(x->cell, y->cell);
	return c ? c : strcmp(x->text, y->text);
}

static size_t
count_rules(const struct patterns *p, const char *what, const int64_t *rows,
    struct wordings_rule *to)
{
	for (size_t i = 0; i < p->n; i++)
		to[i] = (struct wordings_rule){ p->row[i].line, what, p->row[i].match,
			p->row[i].gives, rows[i] };
	return p->n;
}

void
wordings_count(const struct wordings_run *r, struct arena *a, struct wordings_counts *out)
{
	struct wordings_rule *rule = arena_take(a,
	    (r->w->event.n + r->w->device.n + 1) * sizeof *rule);
	struct wordings_text *text = arena_take(a, (r->n_text + 1) * sizeof *text);
	size_t n = count_rules(&r->w->event, "event", r->event_rows, rule);

	n += count_rules(&r->w->device, "device", r->device_rows, rule + n);
	for (size_t i = 0; i < r->n_text; i++)
		text[i] = (struct wordings_text){
			arena_text(a, span_of(r->text[i].cell)),
			arena_text(a, span_of(r->text[i].text)), r->text[i].rows };
	qsort(text, r->n_text, sizeof *text, most_rows);
	for (size_t i = 0; i < n; i++) {
		rule[i].match = arena_text(a, span_of(rule[i].match));
		rule[i].gives = arena_text(a, span_of(rule[i].gives));
	}
	*out = (struct wordings_counts){ .rule = rule, .n_rule = n, .text = text,
		.n_text = r->n_text, .unmatched = r->unmatched, .by_own = r->by_own,
		.kept = r->kept, .limit = r->limit };
}
