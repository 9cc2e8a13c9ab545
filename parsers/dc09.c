#include "parsers/dc09.h"

#include <string.h>

#include "daemon/base/civil.h"

static const char no_frame[] = "no DC-09 frame in this line";
static const char crc_wrong[] = "DC-09: the CRC does not fit its frame, the length does";
static const char length_wrong[] = "DC-09: the length does not fit its frame, the CRC does";
static const char both_wrong[] = "DC-09: neither length nor CRC fit the frame";
static const char layout[] = "DC-09: not laid out as a frame";
static const char unknown_id[] = "DC-09: this kind of message is not read here";
static const char encrypted[] = "DC-09: encrypted, only the receiver can read it";
static const char two_accounts[] = "DC-09: two different accounts in one frame";
static const char two_frames[] = "DC-09: more than one frame in a line";
static const char several[] = "DC-09: more than one event in a frame";
static const char data_unread[] = "DC-09: its data cannot be read";
static const char no_date[] = "DC-09: no such date";
static const char no_clock[] = "DC-09: no such time of day";

enum { HEAD = 8 };		/* CRC and length in front of the first quote */

static const struct { const char *id; enum dc09_result result; bool points; } ids[] = {
	{ "SIA-DCS", DC09_EVENT, false }, { "ADM-CID", DC09_EVENT, true },
	{ "NULL", DC09_NULL, false }, { "ACK", DC09_ACK, false }, { "NAK", DC09_NAK, false },
	{ "DUH", DC09_DUH, false },
};

uint16_t
dc09_crc(const void *p, size_t n)
{
	const unsigned char *byte = p;
	unsigned crc = 0;

	for (size_t i = 0; i < n; i++) {
		crc ^= byte[i];
		for (int bit = 0; bit < 8; bit++)
			crc = crc & 1 ? crc >> 1 ^ 0xA001 : crc >> 1;
	}
	return (uint16_t)crc;
}

/* ---- what is read from the front of a span, which moves on ---- */

static int
hex_digit(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	c = (char)(c | 0x20);
	return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

static bool
is_upper(char c)
{
	return c >= 'A' && c <= 'Z';
}

static bool
is_lower(char c)
{
	return c >= 'a' && c <= 'z';
}

static struct span
cut(struct span *s, size_t n)
{
	struct span head = { s->p, n };

	s->p += n;
	s->n -= n;
	return head;
}

static bool
take(struct span *s, char c)
{
	if (s->n == 0 || *s->p != c)
		return false;
	cut(s, 1);
	return true;
}

/* Hex digits, `least` to `most` of them. */
static bool
take_hex(struct span *s, size_t least, size_t most, struct span *out)
{
	size_t n = 0;

	while (n < s->n && n < most && hex_digit(s->p[n]) >= 0)
		n++;
	if (n < least)
		return false;
	*out = cut(s, n);
	return true;
}

static struct span
none_if_zero(struct span s)
{
	for (size_t i = 0; i < s.n; i++) {
		if (s.p[i] != '0')
			return s;
	}
	return (struct span){ NULL, 0 };
}

static bool
is_hex(const char *p, int n)
{
	for (int i = 0; i < n; i++) {
		if (hex_digit(p[i]) < 0)
			return false;
	}
	return true;
}

/* Up to four digits that are hex. */
static unsigned
hex(const char *p, int n)
{
	unsigned value = 0;

	for (int i = 0; i < n; i++)
		value = value * 16 + (unsigned)hex_digit(p[i]);
	return value;
}

static int
two(const char *p)
{
	return p[0] >= '0' && p[0] <= '9' && p[1] >= '0' && p[1] <= '9'
	    ? (p[0] - '0') * 10 + p[1] - '0' : -1;
}

/* ---- the frame ---- */

bool
dc09_find(struct span s, size_t *at)
{
	for (size_t i = HEAD; i < s.n; i++) {
		size_t n = 1;

		if (s.p[i] != '"' || s.p[i - 4] != '0' || !is_hex(s.p + i - HEAD, HEAD))
			continue;
		while (i + n < s.n && n <= 10 && (is_upper(s.p[i + n]) || s.p[i + n] == '-' ||
		    s.p[i + n] == '*'))
			n++;
		if (n > 2 && i + n < s.n && s.p[i + n] == '"') {
			*at = i - HEAD;
			return true;
		}
	}
	return false;
}

/* Length and CRC, each for itself. A receiver may write something behind the frame; then
 * both speak of the same shorter piece, and that is the frame. */
static const char *
verify(const char *head, struct span *body)
{
	unsigned crc = hex(head, 4);
	size_t length = hex(head + 5, 3);
	struct span whole = *body, behind;
	size_t at;

	while (whole.n > length && (whole.p[whole.n - 1] == ' ' || whole.p[whole.n - 1] == '\t'))
		whole.n--;
	if (length < whole.n && dc09_crc(whole.p, length) == crc) {
		behind = (struct span){ whole.p + length, whole.n - length };
		if (dc09_find(behind, &at))
			return two_frames;
		whole.n = length;
	}
	*body = whole;
	if (dc09_crc(whole.p, whole.n) != crc)
		return whole.n == length ? crc_wrong : both_wrong;
	return whole.n == length ? NULL : length_wrong;
}

/* _HH:MM:SS,MM-DD-YYYY, in UTC */
static const char *
read_time(struct span s, struct dc09 *out)
{
	const char *p = s.p;
	int h, m, sec, month, day, high, low;

	if (s.n != 20 || p[0] != '_' || p[3] != ':' || p[6] != ':' || p[9] != ',' || p[12] != '-' ||
	    p[15] != '-')
		return layout;
	h = two(p + 1);
	m = two(p + 4);
	sec = two(p + 7);
	month = two(p + 10);
	day = two(p + 13);
	high = two(p + 16);
	low = two(p + 18);
	if (h < 0 || m < 0 || sec < 0 || month < 0 || day < 0 || high < 0 || low < 0)
		return layout;
	if (month < 1 || month > 12 || day < 1 || day > civil_month_days(high * 100 + low, month))
		return no_date;
	if (h > 23 || m > 59 || sec > 60 || (sec == 60 && (h != 23 || m != 59)))
		return no_clock;
	out->time = (struct stamp){ .wall = civil_days(high * 100 + low, month, day) * 86400 +
		h * 3600 + m * 60 + (sec == 60 ? 59 : sec), .offset = 0,
		.precision = PREC_SECOND, .leap = sec == 60 };
	out->has_time = true;
	return NULL;
}

/* DC-05 in its parts: qualifier and code, partition, zone or user. */
static const char *
read_points(struct span d, struct dc09 *out)
{
	if (d.n != 11 || d.p[4] != ' ' || d.p[7] != ' ' ||
	    (d.p[0] != '1' && d.p[0] != '3' && d.p[0] != '6') || !is_hex(d.p + 1, 3) ||
	    !is_hex(d.p + 5, 2) || !is_hex(d.p + 8, 3))
		return data_unread;
	out->event = (struct span){ d.p, 4 };
	out->partition = (struct span){ d.p + 5, 2 };
	out->zone = (struct span){ d.p + 8, 3 };
	return NULL;
}

static bool
begins_with_code(struct span d)
{
	return d.n >= 2 && is_upper(d.p[0]) && is_upper(d.p[1]);
}

/* What stands in front of the code: two small letters and a value, a stroke behind. Only
 * the area (ri) and the user (id, from memory) say something that is kept. */
static bool
take_modifiers(struct span *d, struct dc09 *out)
{
	while (d->n >= 2 && is_lower(d->p[0]) && is_lower(d->p[1])) {
		struct span name = cut(d, 2), value;
		size_t n = 0;

		while (n < d->n && d->p[n] != '/' && !is_upper(d->p[n]))
			n++;
		value = cut(d, n);
		take(d, '/');
		if (span_eq(name, SPAN("ri")))
			out->partition = value;
		else if (span_eq(name, SPAN("id")))
			out->user = value;
	}
	return begins_with_code(*d);
}

/* DC-03: an N, modifiers, two letters, the address, a text between ^ and ^. */
static const char *
read_letters(struct span d, struct dc09 *out)
{
	struct span after = d;

	if (take(&after, 'N') && (begins_with_code(after) || (after.n && is_lower(*after.p))))
		d = after;
	if (!take_modifiers(&d, out))
		return data_unread;
	out->event = cut(&d, 2);
	take_hex(&d, 0, 16, &out->zone);
	if (take(&d, '^') || take(&d, '*') || take(&d, '|')) {
		out->text = span_trim(d);
		if (out->text.n && out->text.p[out->text.n - 1] == '^')
			out->text.n--;
		out->text = span_trim(out->text);
		return NULL;
	}
	if (take(&d, '/'))
		return several;
	return d.n ? data_unread : NULL;
}

/* The first bracket: [#account|data], the account or its # may be missing. */
static const char *
read_data(struct span d, bool points, struct dc09 *out)
{
	const char *bar = memchr(d.p, '|', d.n);

	if (bar) {
		struct span account = cut(&d, (size_t)(bar - d.p));

		cut(&d, 1);
		take(&account, '#');
		if (account.n && !span_eq_fold(account, out->account))
			return two_accounts;
	}
	return points ? read_points(d, out) : read_letters(d, out);
}

/* One bracket off the front. A text between ^ and ^ may hold one that closes. */
static bool
take_bracket(struct span *s, struct span *inner)
{
	bool text = false;

	if (s->n == 0 || *s->p != '[')
		return false;
	for (size_t i = 1; i < s->n; i++) {
		if (s->p[i] == '^')
			text = !text && memchr(s->p + i + 1, '^', s->n - i - 1);
		if (s->p[i] == ']' && !text) {
			*inner = (struct span){ s->p + 1, i - 1 };
			cut(s, i + 1);
			return true;
		}
	}
	return false;
}

/* Behind the id: number, receiver, line, account. */
static bool
take_head(struct span *s, struct dc09 *out)
{
	for (int i = 0; i < 4; i++) {
		if (s->n == 0 || *s->p < '0' || *s->p > '9')
			return false;
		cut(s, 1);
	}
	if (take(s, 'R') && !take_hex(s, 1, 6, &out->receiver))
		return false;
	if (!take(s, 'L') || !take_hex(s, 1, 6, &out->line) || !take(s, '#') ||
	    !take_hex(s, 3, 16, &out->account))
		return false;
	out->receiver = none_if_zero(out->receiver);
	out->line = none_if_zero(out->line);
	return true;
}

static enum dc09_result
aside(struct dc09 *out, const char *reason)
{
	out->reason = reason;
	return DC09_ASIDE;
}

enum dc09_result
dc09_parse(struct span line, struct dc09 *out)
{
	struct span body, id, data, more;
	size_t at, i = 0;
	const char *why, *quote;

	*out = (struct dc09){ 0 };
	if (!dc09_find(line, &at))
		return aside(out, no_frame);
	out->prefix = span_trim((struct span){ line.p, at });
	body = (struct span){ line.p + at + HEAD, line.n - at - HEAD };
	if ((why = verify(line.p + at, &body)))
		return aside(out, why);
	quote = body.n > 1 ? memchr(body.p + 1, '"', body.n - 1) : NULL;
	if (!quote)
		return aside(out, layout);
	id = (struct span){ body.p + 1, (size_t)(quote - body.p) - 1 };
	cut(&body, id.n + 2);
	if (!take_head(&body, out))
		return aside(out, layout);
	if (id.n && *id.p == '*')
		return aside(out, encrypted);
	while (i < sizeof ids / sizeof *ids && !span_eq(id, span_of(ids[i].id)))
		i++;
	if (i == sizeof ids / sizeof *ids)
		return aside(out, unknown_id);
	if (ids[i].result != DC09_EVENT)
		return ids[i].result;
	if (!take_bracket(&body, &data))
		return aside(out, layout);
	while (take_bracket(&body, &more))
		;
	if (body.n && (why = read_time(body, out)))
		return aside(out, why);
	if ((why = read_data(data, ids[i].points, out)))
		return aside(out, why);
	return DC09_EVENT;
}

bool
dc09_received(enum stamp_order order, struct span prefix, struct stamp *out)
{
	enum { LONGEST = 48 };
	size_t n = prefix.n < LONGEST ? prefix.n : LONGEST;

	if (n && *prefix.p == '[') {
		cut(&prefix, 1);
		n--;
	}
	for (; n >= 10; n--) {
		struct span s = { prefix.p, n };

		if (n < prefix.n && !memchr(" \t]|;,\"", prefix.p[n], 7))
			continue;
		if (s.p[n - 1] == ':')
			s.n--;
		if (!stamp_read(order, s, out, NULL))
			return true;
	}
	return false;
}
