#include "parsers/reader_part.h"

#include <stdio.h>
#include <string.h>

static const struct span columns[COL_COUNT] = {
#define X(id, text) SPAN(text),
	COLUMN_LIST(X)
#undef X
};

#define C(id) COLUMN_BIT(id)

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

int
reader_column(const struct wordings *w, struct span name)
{
	enum column own;
	int c;

	if (w && wordings_column(w, name, &c))
		return c;
	return column_find(name, &own) ? (int)own : NO_COLUMN;
}

uint64_t
reader_known(const struct csv_row *header, const struct wordings *w)
{
	uint64_t set = 0;

	for (size_t i = 0; i < header->n; i++) {
		int c = reader_column(w, header->cell[i]);

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

enum file_kind
reader_kind(const struct csv_row *header, const struct wordings *w)
{
	uint64_t set = reader_known(header, w);
	size_t i = 0;

	while (i < KINDS && !has_kind(i, set))
		i++;
	return i < KINDS ? kinds[i].kind : FILE_KINDS;
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
	int c = reader_column(w, name), theirs;

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

int
reader_header(struct reader *r, const struct csv_row *header, struct err *e)
{
	enum file_kind kind = reader_kind(header, r->columns);
	uint64_t seen = 0, use;
	size_t i = 0;

	if (kind == FILE_KINDS)
		return no_kind(r, reader_known(header, r->columns), header->line, e);
	while (kinds[i].kind != kind)
		i++;
	use = kinds[i].required | kinds[i].optional;
	r->info.kind = kind;
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

void
reader_add_cell(struct arena *a, struct span *to, struct span cell)
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

const char *
reader_place(struct reader *r, const struct csv_row *from, struct row *row)
{
	size_t n = from->n < r->header_n ? from->n : r->header_n;
	const bool join = r->columns != NULL;
	const struct span *cell = from->cell;
	const int *map = r->map;

	if (join)
		arena_reset(&r->joined);
	for (size_t i = 0; i < n; i++) {
		struct span *to;

		if (map[i] == NO_COLUMN)
			continue;
		to = &row->cell[map[i]];
		if (join)
			reader_add_cell(&r->joined, to, cell[i]);
		else
			*to = cell[i];
		if (to->n && (*to->p == '\'' || *to->p == '='))
			unwrap(r, (enum column)map[i], from->line, to);
	}
	for (size_t i = n; i < from->n; i++) {
		if (cell[i].n)
			return "more cells than the header has columns";
	}
	return NULL;
}
