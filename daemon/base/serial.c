#include "daemon/base/serial.h"

#include <stdint.h>
#include <string.h>

static bool
is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* Digits, an optional fraction, E, a sign, one to three digits: "1.23457E+11". A plain
 * hex serial such as 12E4 has no sign and no point and stays a serial. Looked at from its
 * end, because nearly every cell is told there to be another thing. */
bool
serial_lost_digits(struct span s)
{
	size_t n, exponent = 0;
	bool sign, dot = false;

	s = span_trim(s);
	n = s.n;
	while (n && exponent <= 3 && is_digit(s.p[n - 1])) {
		n--;
		exponent++;
	}
	if (!n || !exponent || exponent > 3)
		return false;
	sign = s.p[n - 1] == '+' || s.p[n - 1] == '-';
	n -= sign;
	if (n < 2 || (s.p[n - 1] != 'E' && s.p[n - 1] != 'e'))
		return false;
	for (size_t i = 0; i < n - 1; i++) {
		if (!is_digit(s.p[i]) && (dot || (s.p[i] != '.' && s.p[i] != ',')))
			return false;
		dot |= !is_digit(s.p[i]);
	}
	return sign || dot;
}

const char *
serial_plain(struct arena *a, struct span s, enum serial_fault *fault)
{
	char *out;
	size_t n = 0;
	bool zeros = true;

	s = span_trim(s);
	*fault = SERIAL_OK;
	if (serial_lost_digits(s)) {
		*fault = SERIAL_LOST_DIGITS;
		return "";
	}
	out = arena_bytes(a, s.p, s.n);
	for (size_t i = 0; i < s.n; i++) {
		char c = s.p[i];

		if (c == ' ' || c == '-' || c == '.' || c == ':')
			continue;
		if (c >= 'a' && c <= 'z')
			c = (char)(c - 32);
		else if (!is_digit(c) && !(c >= 'A' && c <= 'Z')) {
			*fault = SERIAL_NOT_ONE;
			return "";
		}
		zeros &= c == '0';
		out[n++] = c;
	}
	out[n] = '\0';
	if (zeros) {
		*fault = SERIAL_NONE;
		return "";
	}
	return out;
}

const char *
serial_key(struct arena *a, struct span s)
{
	enum serial_fault fault;
	const char *p = serial_plain(a, s, &fault);

	while (*p == '0')
		p++;
	return p;
}

static const char *
past_zeros(const char *s, char (*as)(char))
{
	while (as(*s) == '0')
		s++;
	return s;
}

static char
itself(char c)
{
	return c;
}

/* The digit that a letter is read for. */
static char
looks_like(char c)
{
	switch (c) {
	case 'O': return '0';
	case 'I': return '1';
	case 'Z': return '2';
	case 'S': return '5';
	case 'B': return '8';
	}
	return c;
}

/* The number that `s` is in that base, 0 if it is none or over 64 bits. */
static uint64_t
value(const char *s, unsigned base)
{
	uint64_t v = 0;

	for (; *s; s++) {
		unsigned digit = is_digit(*s) ? (unsigned)(*s - '0') : (unsigned)(*s - 'A') + 10;

		if (digit >= base || v > (UINT64_MAX - digit) / base)
			return 0;
		v = v * base + digit;
	}
	return v;
}

enum serial_twin
serial_twin(const char *one, const char *other)
{
	const char *a = past_zeros(one, itself), *b = past_zeros(other, itself);
	size_t least = 4;

	if (strcmp(a, b) == 0)
		return SERIAL_NO_TWIN;
	if (strlen(a) >= least && strlen(b) >= least) {
		if (value(a, 10) && value(b, 10))
			least = 6;
		if (strlen(a) >= least && strlen(b) >= least &&
		    ((value(a, 10) && value(a, 10) == value(b, 16)) ||
		    (value(b, 10) && value(b, 10) == value(a, 16))))
			return SERIAL_OTHER_BASE;
	}
	a = past_zeros(one, looks_like);
	b = past_zeros(other, looks_like);
	while (*a && looks_like(*a) == looks_like(*b)) {
		a++;
		b++;
	}
	return *a || *b ? SERIAL_NO_TWIN : SERIAL_LOOKS_ALIKE;
}

const char *
number_key(struct arena *a, struct span s)
{
	char *out;
	bool digits = true;
	size_t lead = 0;

	s = span_trim(s);
	out = arena_text(a, s);
	for (size_t i = 0; i < s.n; i++) {
		digits &= is_digit(out[i]);
		if (out[i] >= 'A' && out[i] <= 'Z')
			out[i] = (char)(out[i] + 32);
	}
	while (digits && out[lead] == '0')
		lead++;
	return out + lead;
}
