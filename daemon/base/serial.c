#include "daemon/base/serial.h"

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
