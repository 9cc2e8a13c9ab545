#include "daemon/store/block.h"

#include <string.h>

/* ---- writing --------------------------------------------------------------- */

/* Room for `n` bytes more. */
static char *
room(struct block_text *t, size_t n)
{
	t->p = x_grow(t->p, &t->cap, t->n + n, 1);
	return t->p + t->n;
}

static char *
put_number(char *p, int64_t v)
{
	char digits[20];
	uint64_t u = v < 0 ? 0 - (uint64_t)v : (uint64_t)v;
	int n = 0;

	if (v < 0)
		*p++ = '-';
	do {
		digits[n++] = (char)('0' + u % 10);
		u /= 10;
	} while (u);
	while (n)
		*p++ = digits[--n];
	return p;
}

static char *
put_null(char *p)
{
	memcpy(p, "null", 4);
	return p + 4;
}

/* In quotes. UTF-8 stays as it is; a byte takes six at the most. */
static char *
put_string(char *p, struct span s)
{
	static const char hex[] = "0123456789abcdef";

	*p++ = '"';
	for (size_t i = 0; i < s.n; i++) {
		unsigned char c = (unsigned char)s.p[i];

		if (c >= 0x20 && c != '"' && c != '\\') {
			*p++ = (char)c;
		} else if (c >= 0x20) {
			*p++ = '\\';
			*p++ = (char)c;
		} else {
			memcpy(p, "\\u00", 4);
			p[4] = hex[c >> 4];
			p[5] = hex[c & 15];
			p += 6;
		}
	}
	*p++ = '"';
	return p;
}

static char *
put_name(char *p, const char *name, bool *any)
{
	size_t n = strlen(name);

	*p++ = *any ? ',' : '{';
	*any = true;
	*p++ = '"';
	memcpy(p, name, n);
	p += n;
	*p++ = '"';
	*p++ = ':';
	return p;
}

static char *
put_offset(char *p, int16_t offset)
{
	return offset != OFFSET_NONE ? put_number(p, offset) : put_null(p);
}

/* What is out of the ordinary: nothing, or the object. */
static char *
put_rest(char *p, const struct block_base *b, const struct block_row *r)
{
	bool any = false, known = r->cell - 1 < b->n_cell;

	if (r->ms)
		p = put_number(put_name(p, "ms", &any), r->ms);
	if (r->offset != b->offset)
		p = put_offset(put_name(p, "offset", &any), r->offset);
	if (r->shift != b->shift)
		p = put_number(put_name(p, "shift", &any), r->shift);
	if (r->has_received && r->received_ms)
		p = put_number(put_name(p, "received_ms", &any), r->received_ms);
	if (r->has_received && r->received_offset != r->offset)
		p = put_offset(put_name(p, "received_offset", &any), r->received_offset);
	if (r->user.n)
		p = put_string(put_name(p, "user", &any), r->user);
	if (r->signal.n)
		p = put_string(put_name(p, "signal", &any), r->signal);
	if (!known || r->word != b->word[r->cell - 1])
		p = put_number(put_name(p, "word", &any), r->word);
	if (!known || r->marks != b->marks[r->cell - 1])
		p = put_number(put_name(p, "marks", &any), r->marks);
	if (any)
		*p++ = '}';
	return p;
}

void
block_add(struct block_text *out, const struct block_base *b, const struct block_row *r, bool first)
{
	char *p = room(out, 400 + 6 * (r->text.n + r->user.n + r->signal.n)), *end, *rest;

	*p++ = first ? '[' : ',';
	*p++ = '[';
	p = put_number(p, r->line);
	*p++ = ',';
	p = put_number(p, r->point);
	*p++ = ',';
	p = put_number(p, r->cell);
	*p++ = ',';
	end = p = put_number(p, r->wall - b->lo);
	*p++ = ',';
	if (r->has_received)
		end = p = put_number(p, r->received - r->wall);
	else
		p = put_null(p);
	*p++ = ',';
	if (r->phrase)
		end = p = put_number(p, r->phrase);
	else if (r->text.n)
		end = p = put_string(p, r->text);
	else
		p = put_null(p);
	*p++ = ',';
	rest = p;
	p = put_rest(p, b, r);
	if (p != rest)
		end = p;
	*end++ = ']';
	out->n = (size_t)(end - out->p);
}

void
block_end(struct block_text *out)
{
	*room(out, 1) = ']';
	out->n++;
}

/* ---- reading --------------------------------------------------------------- */

struct cursor { const char *p, *end; struct arena *a; bool fault; };

static bool
take(struct cursor *c, char want)
{
	if (c->p < c->end && *c->p == want) {
		c->p++;
		return true;
	}
	return false;
}

static int64_t
number(struct cursor *c)
{
	bool minus = take(c, '-'), any = false;
	uint64_t v = 0;

	for (; c->p < c->end && *c->p >= '0' && *c->p <= '9'; c->p++) {
		v = v * 10 + (uint64_t)(*c->p - '0');
		any = true;
	}
	c->fault |= !any;
	return minus ? (int64_t)(0 - v) : (int64_t)v;
}

static bool
is_null(struct cursor *c)
{
	if (c->end - c->p < 4 || memcmp(c->p, "null", 4) != 0)
		return false;
	c->p += 4;
	return true;
}

static int
hex_value(char h)
{
	return h >= '0' && h <= '9' ? h - '0' : h >= 'a' && h <= 'f' ? h - 'a' + 10 : -1;
}

/* The quote in front has been taken. Only what put_string() writes is understood. */
static struct span
string(struct cursor *c)
{
	const char *begin = c->p;
	bool escaped = false;
	char *to;
	size_t n = 0;

	for (; c->p < c->end && *c->p != '"'; c->p++) {
		if (*c->p == '\\') {
			escaped = true;
			c->p++;
		}
	}
	if (c->p >= c->end) {
		c->fault = true;
		return (struct span){ "", 0 };
	}
	c->p++;
	if (!escaped)
		return (struct span){ begin, (size_t)(c->p - 1 - begin) };
	to = arena_bytes(c->a, begin, (size_t)(c->p - 1 - begin));
	for (const char *p = begin; p < c->p - 1; p++) {
		if (*p != '\\') {
			to[n++] = *p;
		} else if (p[1] == 'u' && c->p - 1 - p >= 6) {
			to[n++] = (char)(hex_value(p[4]) << 4 | hex_value(p[5]));
			p += 5;
		} else {
			to[n++] = *++p;
		}
	}
	to[n] = '\0';
	return (struct span){ to, n };
}

static int16_t
offset(struct cursor *c)
{
	return is_null(c) ? OFFSET_NONE : (int16_t)number(c);
}

static void
named(struct cursor *c, struct block_row *r, bool *own_offset)
{
	struct span name;

	c->fault |= !take(c, '"');
	name = string(c);
	c->fault |= !take(c, ':');
	if (span_eq(name, SPAN("ms")))
		r->ms = (uint16_t)number(c);
	else if (span_eq(name, SPAN("offset")))
		r->offset = offset(c);
	else if (span_eq(name, SPAN("shift")))
		r->shift = number(c);
	else if (span_eq(name, SPAN("received_ms")))
		r->received_ms = (uint16_t)number(c);
	else if (span_eq(name, SPAN("received_offset"))) {
		r->received_offset = offset(c);
		*own_offset = true;
	} else if (span_eq(name, SPAN("user")) && take(c, '"'))
		r->user = string(c);
	else if (span_eq(name, SPAN("signal")) && take(c, '"'))
		r->signal = string(c);
	else if (span_eq(name, SPAN("word")))
		r->word = (uint8_t)number(c);
	else if (span_eq(name, SPAN("marks")))
		r->marks = (uint16_t)number(c);
	else
		c->fault = true;
}

static void
read_row(struct cursor *c, const struct block_base *b, struct block_row *r)
{
	bool own_offset = false;

	*r = (struct block_row){ .offset = b->offset, .shift = b->shift };
	c->fault |= !take(c, '[');
	r->line = (uint32_t)number(c);
	c->fault |= !take(c, ',');
	r->point = (uint32_t)number(c);
	c->fault |= !take(c, ',');
	r->cell = (uint32_t)number(c);
	c->fault |= !take(c, ',');
	r->wall = b->lo + number(c);
	if (r->cell - 1 < b->n_cell) {
		r->word = b->word[r->cell - 1];
		r->marks = b->marks[r->cell - 1];
	}
	if (take(c, ',') && !is_null(c)) {
		r->has_received = true;
		r->received = r->wall + number(c);
	}
	if (take(c, ',') && !is_null(c)) {
		if (take(c, '"'))
			r->text = string(c);
		else
			r->phrase = number(c);
	}
	if (take(c, ',')) {
		c->fault |= !take(c, '{');
		do
			named(c, r, &own_offset);
		while (!c->fault && take(c, ','));
		c->fault |= !take(c, '}');
	}
	c->fault |= !take(c, ']');
	if (r->has_received && !own_offset)
		r->received_offset = r->offset;
}

int
block_read(const struct block_base *b, struct span text, struct arena *a, struct block_row *row)
{
	struct cursor c = { text.p, text.p + text.n, a, false };
	int n = 0;

	if (!take(&c, '['))
		return -1;
	do {
		if (n == BLOCK_EVENTS)
			return -1;
		read_row(&c, b, &row[n++]);
	} while (!c.fault && take(&c, ','));
	return !c.fault && take(&c, ']') && c.p == c.end ? n : -1;
}
