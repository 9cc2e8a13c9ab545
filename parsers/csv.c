#include "parsers/csv.h"

#include <stdlib.h>
#include <string.h>
#ifdef __SSE2__
#include <emmintrin.h>
#endif

#include "daemon/base/arena.h"
#include "daemon/base/utf8.h"
#include "parsers/bytes.h"

enum { BLOCK = 64 };		/* bytes looked at in one step: the bits of a mask */
enum { ODD_HIGH = 1, ODD_ZERO = 2 };

static const char unclosed[] = "quote opened here is never closed";
static const char text_behind[] =
    "text behind a closing quote; a quote in a quoted cell is doubled";
static const char not_utf8[] = "not UTF-8, though the wordings say so";
static const char zero_byte[] = "zero byte in the row";
static const char row_over[] = "row longer than the limit of 65536 bytes";
static const char row_over_set[] = "row longer than the limit";
static const char row_cut[] = "row longer than the limit; only its beginning is kept here";
static const char cell_over[] = "cell longer than the limit of 16384 bytes";
static const char cell_over_set[] = "cell longer than the limit";

struct csv {
	/* The bytes that stop a scan, each sixteen times: separator, quote, two line ends. */
	_Alignas(16) char stop[4][16];
	struct bytes *src;		/* borrowed */
	char         *buf;		/* cap bytes, and BLOCK readable ones behind */
	size_t        cap, at, end;	/* the next record begins at `at` */
	size_t        read_size, row_limit, cell_limit;
	bool          eof;		/* nothing comes behind `end` */
	bool          cr;		/* a lone CR ends a record */
	bool          after_cr;		/* a LF at `at` still belongs to the last line end */
	uint64_t      line;		/* of buf[at] */

	enum csv_encoding encoding;
	uint64_t      n_1252, line_1252;
	bool          survey;
	size_t        true_end;		/* `end` and `eof` of the file, during a survey */
	bool          true_eof;

	struct span  *cell;
	size_t        n, cell_cap;
	unsigned      odd;		/* of the record's blocks: ODD_... */
	struct arena  lent;		/* cells that cannot be lent from `buf` */
};

struct csv *
csv_open(struct bytes *src, const struct csv_options *o)
{
	struct csv *c = x_calloc(1, sizeof *c);

	c->src = src;
	c->read_size = o->read_size ? o->read_size : 256 * 1024;
	if (c->read_size < 16)		/* room for a decoded character; see bytes_read() */
		c->read_size = 16;
	if (c->read_size > 1024 * 1024)
		c->read_size = 1024 * 1024;
	c->row_limit = o->row_limit ? o->row_limit : 64 * 1024;
	c->cell_limit = o->cell_limit ? o->cell_limit : 16 * 1024;
	c->cap = c->row_limit * CSV_KEEP + c->read_size + 2;
	if (c->cap < CSV_SURVEY + c->read_size)
		c->cap = CSV_SURVEY + c->read_size;
	c->buf = x_calloc(1, c->cap + BLOCK);
	csv_rewind(c, ',', false);
	return c;
}

void
csv_close(struct csv *c)
{
	if (!c)
		return;
	arena_release(&c->lent);
	free(c->cell);
	free(c->buf);
	free(c);
}

/* One read at the end of the buffer. 1 = more bytes or now at the end of the
 * file, 0 = a survey may not go on, -1 and *e. */
static int
fill(struct csv *c, struct err *e)
{
	size_t room;
	ssize_t n;

	if (c->survey)
		return 0;
	if (c->at) {
		memmove(c->buf, c->buf + c->at, c->end - c->at);
		c->end -= c->at;
		c->at = 0;
	}
	room = c->cap - c->end;
	n = bytes_read(c->src, c->buf + c->end, room < c->read_size ? room : c->read_size, e);
	if (n < 0)
		return -1;
	c->end += (size_t)n;
	c->eof = n == 0;
	return 1;
}

int
csv_survey(struct csv *c, struct span *head, struct err *e)
{
	while (!c->eof && c->end < CSV_SURVEY) {
		if (fill(c, e) < 0)
			return -1;
	}
	c->survey = true;
	c->true_end = c->end;
	c->true_eof = c->eof;
	if (c->end > CSV_SURVEY) {
		c->end = CSV_SURVEY;
		c->eof = false;
	}
	*head = (struct span){ c->buf, c->end };
	return 0;
}

void
csv_rewind(struct csv *c, char separator, bool cr_ends)
{
	memset(c->stop[0], separator, 16);
	memset(c->stop[1], '"', 16);
	memset(c->stop[2], '\n', 16);
	memset(c->stop[3], cr_ends ? '\r' : '\n', 16);
	c->cr = cr_ends;
	c->after_cr = false;
	c->at = 0;
	c->line = 1;
}

void
csv_begin(struct csv *c)
{
	csv_rewind(c, c->stop[0][0], c->cr);
	c->survey = false;
	c->end = c->true_end;
	c->eof = c->true_eof;
	c->n_1252 = 0;
}

bool
csv_survey_whole(const struct csv *c)
{
	return c->true_eof && c->end == c->true_end;
}

uint64_t
csv_1252(const struct csv *c, uint64_t *line)
{
	*line = c->line_1252;
	return c->n_1252;
}

/* ---- finding the bytes that matter ---- */

struct scan {
	const char *block, *end;
	uint64_t    mask;		/* stops of `block` still to come */
	unsigned    odd;		/* of all blocks seen */
};

#ifdef __SSE2__
static inline uint64_t
stops(const struct csv *c, const char *p, unsigned *odd)
{
	__m128i sep = _mm_load_si128((const __m128i *)c->stop[0]);
	__m128i quote = _mm_load_si128((const __m128i *)c->stop[1]);
	__m128i lf = _mm_load_si128((const __m128i *)c->stop[2]);
	__m128i cr = _mm_load_si128((const __m128i *)c->stop[3]);
	__m128i low = _mm_set1_epi8(-1), any = _mm_setzero_si128();
	uint64_t mask = 0;

	for (int i = 0; i < BLOCK / 16; i++) {
		__m128i v = _mm_loadu_si128((const __m128i *)(const void *)(p + i * 16));
		__m128i hit = _mm_or_si128(
		    _mm_or_si128(_mm_cmpeq_epi8(v, sep), _mm_cmpeq_epi8(v, quote)),
		    _mm_or_si128(_mm_cmpeq_epi8(v, lf), _mm_cmpeq_epi8(v, cr)));

		mask |= (uint64_t)(unsigned)_mm_movemask_epi8(hit) << (i * 16);
		any = _mm_or_si128(any, v);
		low = _mm_min_epu8(low, v);
	}
	if (_mm_movemask_epi8(any))
		*odd |= ODD_HIGH;
	if (_mm_movemask_epi8(_mm_cmpeq_epi8(low, _mm_setzero_si128())))
		*odd |= ODD_ZERO;
	return mask;
}
#else
static inline uint64_t
stops(const struct csv *c, const char *p, unsigned *odd)
{
	uint64_t mask = 0;

	for (int i = 0; i < BLOCK; i++) {
		bool hit = p[i] == c->stop[0][0] || p[i] == '"' || p[i] == '\n' ||
		    p[i] == c->stop[3][0];

		mask |= (uint64_t)hit << i;
		*odd |= (p[i] & 0x80 ? ODD_HIGH : 0) | (p[i] == 0 ? ODD_ZERO : 0);
	}
	return mask;
}
#endif

/* The next separator, quote or line end; NULL at the end of the buffer. */
static inline const char *
next_stop(const struct csv *c, struct scan *s)
{
	const char *p;

	while (!s->mask) {
		s->block += BLOCK;
		if (s->block >= s->end)
			return NULL;
		s->mask = stops(c, s->block, &s->odd);
		if (s->end - s->block < BLOCK)
			s->mask &= (UINT64_C(1) << (s->end - s->block)) - 1;
	}
	p = s->block + __builtin_ctzll(s->mask);
	s->mask &= s->mask - 1;
	return p;
}

static uint64_t
count_lines(const struct csv *c, const char *p, const char *end)
{
	uint64_t n = 0;

	for (; p < end; p++)
		n += *p == '\n' || (c->cr && *p == '\r' && !(p + 1 < end && p[1] == '\n'));
	return n;
}

/* The first line end at or behind p; NULL if none. */
static const char *
line_end(const struct csv *c, const char *p, const char *end)
{
	const char *lf = p < end ? memchr(p, '\n', (size_t)(end - p)) : NULL;
	const char *cr = NULL;

	if (c->cr && p < end)
		cr = memchr(p, '\r', (size_t)((lf ? lf : end) - p));
	return cr ? cr : lf;
}

/* ---- one record ---- */

enum got { GOT_ROW, GOT_MORE, GOT_OVER };

static inline bool
blank(char c)
{
	return c == ' ' || c == '\t';
}

static inline void
add_cell(struct csv *c, const char *from, const char *to)
{
	while (from < to && blank(*from))
		from++;
	while (from < to && blank(to[-1]))
		to--;
	if (c->n == c->cell_cap)
		c->cell = x_grow(c->cell, &c->cell_cap, c->n + 1, sizeof *c->cell);
	c->cell[c->n++] = (struct span){ from, (size_t)(to - from) };
}

/* A quoted cell with its doubled quotes made single. */
static void
add_doubled(struct csv *c, const char *from, const char *to)
{
	char *out = arena_bytes(&c->lent, from, (size_t)(to - from)), *q = out;

	for (const char *p = from; p < to; p++) {
		*q++ = *p;
		if (*p == '"')
			p++;
	}
	add_cell(c, out, q);
}

/* The record ends at `eol` (a line end, or the end of the file). */
static enum got
take(struct csv *c, struct csv_row *row, const char *eol, uint64_t inner_lines)
{
	const char *start = c->buf + c->at, *end = c->buf + c->end, *last = eol;

	if (!c->cr && last > start && last[-1] == '\r')
		last--;
	if ((size_t)(last - start) > c->row_limit)
		return GOT_OVER;
	row->raw = (struct span){ start, (size_t)(last - start) };
	row->line = c->line;
	c->line += inner_lines;
	c->at = (size_t)(eol - c->buf);
	if (eol < end) {
		c->after_cr = *eol == '\r';
		c->line++;
		c->at++;
	}
	return GOT_ROW;
}

/* The record is spoilt: it ends with the line that `from` is in. */
static enum got
take_line(struct csv *c, struct csv_row *row, const char *from, uint64_t inner_lines,
    const char *reason)
{
	const char *start = c->buf + c->at, *end = c->buf + c->end;
	const char *eol = line_end(c, from, end);

	if (!eol) {
		if (!c->eof)
			return (size_t)(end - start) > c->row_limit + 1 ? GOT_OVER : GOT_MORE;
		eol = end;
	}
	row->reason = reason;
	c->odd = ODD_HIGH;		/* not looked at so far */
	return take(c, row, eol, inner_lines);
}

/* The record at c->at, if the buffer holds all of it. What is decided here
 * depends on the record's bytes alone, not on where the buffer ends: anything
 * past the limit is GOT_OVER in the same way whether it is there or not. */
static enum got
scan_record(struct csv *c, struct csv_row *row)
{
	const char *start = c->buf + c->at, *end = c->buf + c->end;
	const char *limit = start + c->row_limit;	/* a line end may stand here */
	const char *field = start, *p;
	bool filled = false;		/* the cell at `field` was quoted and is added */
	bool long_cell = false;
	const char sep = c->stop[0][0];
	uint64_t inner = 0;		/* line ends in quotes */
	struct scan s = { .block = start - BLOCK, .end = end };

	c->n = 0;
	row->reason = NULL;
	for (;;) {
		p = next_stop(c, &s);
		if (!p) {
			if (!c->eof)
				return end > limit + 1 ? GOT_OVER : GOT_MORE;
			p = end;
		} else if (*p == sep) {
			if (!filled) {
				long_cell |= (size_t)(p - field) > c->cell_limit;
				add_cell(c, field, p);
			}
			filled = false;
			field = p + 1;
			continue;
		} else if (*p == '"') {
			const char *open = p, *first_end = NULL, *behind;
			uint64_t before = inner;
			bool doubled = false;

			while (field < p && blank(*field))
				field++;
			if (field < p)
				continue;	/* an ordinary character */
			for (;;) {
				p = next_stop(c, &s);
				if (!p ? end > limit + 1 : p > limit) {
					if (!first_end)
						return GOT_OVER;
					return take_line(c, row, open, before, unclosed);
				}
				if (!p) {
					if (!c->eof)
						return GOT_MORE;
					return take_line(c, row, open, before, unclosed);
				}
				if (*p == sep)
					continue;
				if (*p != '"') {
					if (!first_end)
						first_end = p;
					inner += !(c->cr && *p == '\n' && p[-1] == '\r');
					continue;
				}
				if (p + 1 == end && !c->eof)
					return GOT_MORE;
				if (p + 1 == end || p[1] != '"')
					break;
				doubled = true;
				next_stop(c, &s);
			}
			behind = p + 1;
			while (behind < end && blank(*behind) && *behind != sep)
				behind++;
			if (behind > limit + 1)
				return GOT_OVER;
			if (behind + (behind < end && *behind == '\r') >= end && !c->eof)
				return GOT_MORE;
			if (behind < end && *behind != sep && *behind != '\n' &&
			    !(*behind == '\r' && (c->cr || behind + 1 == end ||
			    behind[1] == '\n')))
				return take_line(c, row, open, before,
				    first_end ? unclosed : text_behind);
			long_cell |= (size_t)(p - open - 1) > c->cell_limit;
			if (doubled)
				add_doubled(c, open + 1, p);
			else
				add_cell(c, open + 1, p);
			filled = true;
			continue;
		}

		/* A line end, or the end of the file. */
		if (!filled) {
			const char *last = p;

			if (!c->cr && last > field && last[-1] == '\r')
				last--;
			long_cell |= (size_t)(last - field) > c->cell_limit;
			add_cell(c, field, last);
		}
		if (long_cell)
			row->reason = c->cell_limit == 16 * 1024 ? cell_over : cell_over_set;
		if (take(c, row, p, inner) == GOT_OVER)
			return GOT_OVER;
		if (s.odd & ODD_ZERO && memchr(row->raw.p, 0, row->raw.n))
			row->reason = zero_byte;
		c->odd = s.odd;
		return GOT_ROW;
	}
}

/* A record over the limit ends with the first line end behind the limit. It is
 * kept up to CSV_KEEP times the limit; what is longer is read and dropped. */
static enum csv_result
over_record(struct csv *c, struct csv_row *row, struct err *e)
{
	const size_t keep = c->row_limit * CSV_KEEP;
	const char *start, *eol, *last;
	bool cut = false;

	for (;;) {
		start = c->buf + c->at;
		eol = line_end(c, start + (cut ? keep : c->row_limit + 1), c->buf + c->end);
		if (!eol && c->eof)
			eol = c->buf + c->end;
		if (eol)
			break;
		if (cut || c->end - c->at > keep + 1) {
			cut = true;
			c->end = c->at + keep;
		}
		switch (fill(c, e)) {
		case -1: return CSV_ERR;
		case 0: return CSV_END;
		}
	}
	last = eol > start && eol[-1] == '\r' && !c->cr ? eol - 1 : eol;
	cut |= (size_t)(last - start) > keep;
	row->raw = (struct span){ start, cut ? keep : (size_t)(last - start) };
	row->line = c->line;
	row->reason = cut ? row_cut : c->row_limit == 64 * 1024 ? row_over : row_over_set;
	c->line += count_lines(c, start, start + c->row_limit + 1) + (eol < c->buf + c->end);
	c->after_cr = eol < c->buf + c->end && *eol == '\r';
	c->at = (size_t)(eol - c->buf) + (eol < c->buf + c->end);
	c->odd = ODD_HIGH;
	return CSV_ASIDE;
}

static bool
without_content(const struct csv *c)
{
	for (size_t i = 0; i < c->n; i++) {
		if (c->cell[i].n)
			return false;
	}
	return true;
}

static void
mend_encoding(struct csv *c, struct csv_row *row)
{
	if (c->encoding != CSV_1252 && utf8_valid(row->raw))
		return;
	if (c->encoding == CSV_UTF8 && !row->reason)
		row->reason = not_utf8;
	if (c->n_1252++ == 0)
		c->line_1252 = row->line;
	row->raw = bytes_from_1252(&c->lent, row->raw);
	for (size_t i = 0; i < c->n; i++)
		c->cell[i] = bytes_from_1252(&c->lent, c->cell[i]);
}

void
csv_encoding(struct csv *c, enum csv_encoding e)
{
	c->encoding = e;
}

enum csv_result
csv_next(struct csv *c, struct csv_row *row, struct err *e)
{
	for (;;) {
		enum got got = GOT_MORE;

		if (c->after_cr && c->at < c->end) {
			c->at += c->buf[c->at] == '\n';
			c->after_cr = false;
		}
		if (c->at == c->end && c->eof)
			return CSV_END;
		arena_reset(&c->lent);
		if (!c->after_cr)
			got = scan_record(c, row);
		if (got == GOT_MORE) {
			switch (fill(c, e)) {
			case -1: return CSV_ERR;
			case 0: return CSV_END;
			}
			continue;
		}
		if (got == GOT_OVER) {
			enum csv_result over = over_record(c, row, e);

			if (over != CSV_ASIDE)
				return over;
		} else if (!row->reason && without_content(c)) {
			continue;
		}
		if (row->reason)
			c->n = 0;
		row->bytes = row->raw;
		if (c->odd & ODD_HIGH)
			mend_encoding(c, row);
		if (row->reason)
			c->n = 0;
		row->n = c->n;
		row->cell = c->cell;
		return row->reason ? CSV_ASIDE : CSV_ROW;
	}
}
