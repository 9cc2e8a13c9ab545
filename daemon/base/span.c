#include "daemon/base/span.h"

#include <string.h>

static char
lower(char c)
{
	return c >= 'A' && c <= 'Z' ? (char)(c + 32) : c;
}

struct span
span_of(const char *text)
{
	return (struct span){ text, text ? strlen(text) : 0 };
}

struct span
span_trim(struct span s)
{
	while (s.n && (s.p[0] == ' ' || s.p[0] == '\t')) {
		s.p++;
		s.n--;
	}
	while (s.n && (s.p[s.n - 1] == ' ' || s.p[s.n - 1] == '\t'))
		s.n--;
	return s;
}

bool
span_eq(struct span a, struct span b)
{
	return a.n == b.n && (a.n == 0 || memcmp(a.p, b.p, a.n) == 0);
}

bool
span_eq_fold(struct span a, struct span b)
{
	if (a.n != b.n)
		return false;
	for (size_t i = 0; i < a.n; i++)
		if (lower(a.p[i]) != lower(b.p[i]))
			return false;
	return true;
}

/* Eight bytes a step, mixed by a multiply and a shift; quality is enough for
 * tables, and every match is confirmed by its bytes. */
static uint64_t
mix(uint64_t h, uint64_t v)
{
	h = (h ^ v) * UINT64_C(0x9fb21c651e98df25);
	return h ^ (h >> 32);
}

uint64_t
span_hash(struct span s)
{
	uint64_t h = mix(UINT64_C(0x1d8e4e27c47d124f), s.n), v;

	while (s.n >= 8) {
		memcpy(&v, s.p, 8);
		h = mix(h, v);
		s.p += 8;
		s.n -= 8;
	}
	if (s.n) {
		v = 0;
		memcpy(&v, s.p, s.n);
		h = mix(h, v);
	}
	return mix(h, 0);
}

uint64_t
span_hash_fold(struct span s)
{
	uint64_t h = UINT64_C(0x1d8e4e27c47d124f);

	for (size_t i = 0; i < s.n; i++)
		h = mix(h, (unsigned char)lower(s.p[i]));
	return h;
}

bool
span_to_int(struct span s, int64_t min, int64_t max, int64_t *out)
{
	int64_t v = 0;

	if (s.n == 0 || s.n > 18)
		return false;
	for (size_t i = 0; i < s.n; i++) {
		if (s.p[i] < '0' || s.p[i] > '9')
			return false;
		v = v * 10 + (s.p[i] - '0');
	}
	if (v < min || v > max)
		return false;
	*out = v;
	return true;
}

/* Takes an exponent ("e-06") off the end of *s; false when what stands there is none. */
static bool
take_exponent(struct span *s, int *exponent)
{
	struct span digits;
	size_t at = 0;
	int64_t v;
	bool minus;

	*exponent = 0;
	while (at < s->n && lower(s->p[at]) != 'e')
		at++;
	if (at == s->n)
		return true;
	digits = (struct span){ s->p + at + 1, s->n - at - 1 };
	minus = digits.n && digits.p[0] == '-';
	if (minus || (digits.n && digits.p[0] == '+'))
		digits = (struct span){ digits.p + 1, digits.n - 1 };
	if (!span_to_int(digits, 0, 22, &v))
		return false;
	*exponent = minus ? (int)-v : (int)v;
	s->n = at;
	return true;
}

bool
span_to_num(struct span s, double *out)
{
	double v = 0, scale = 1;
	bool minus = false, dot = false, digit = false;
	int exponent;

	if (s.n && (s.p[0] == '-' || s.p[0] == '+')) {
		minus = s.p[0] == '-';
		s.p++;
		s.n--;
	}
	if (!take_exponent(&s, &exponent) || s.n > 18)
		return false;
	for (size_t i = 0; i < s.n; i++) {
		if (s.p[i] == '.' && !dot) {
			dot = true;
		} else if (s.p[i] >= '0' && s.p[i] <= '9') {
			digit = true;
			v = v * 10 + (s.p[i] - '0');
			exponent -= dot;
		} else {
			return false;
		}
	}
	if (!digit)
		return false;
	/* One power of ten, and up to 22 that is exact: the last digit is right. */
	for (int i = exponent < 0 ? -exponent : exponent; i > 0; i--)
		scale *= 10;
	v = exponent < 0 ? v / scale : v * scale;
	*out = minus ? -v : v;
	return true;
}

bool
span_to_duration(struct span s, int64_t *ms)
{
	static const struct { char unit; int64_t ms; } units[] = {
		{ 's', 1000 }, { 'm', 60000 }, { 'h', 3600000 }, { 'd', 86400000 },
	};
	int64_t v;

	if (s.n < 2 || !span_to_int((struct span){ s.p, s.n - 1 }, 1, 10000000, &v))
		return false;
	for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
		if (lower(s.p[s.n - 1]) == units[i].unit) {
			*ms = v * units[i].ms;
			return true;
		}
	}
	return false;
}
