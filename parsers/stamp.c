#include "parsers/stamp.h"

#include <string.h>

#include "daemon/base/civil.h"

static const char no_date[] = "no such date";
static const char no_clock[] = "no such time of day";
static const char no_offset[] = "no such offset from UTC";
static const char unreadable[] = "time not readable; write YYYY-MM-DD HH:MM:SS";
static const char mixed_up[] =
    "day and month cannot be told apart; write YYYY-MM-DD HH:MM:SS";
static const char date_only[] = "a date without a time of day";

static bool
is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* Two digits at p, or -1. */
static int
two(const char *p)
{
	unsigned tens = (unsigned char)p[0] - '0', ones = (unsigned char)p[1] - '0';

	return tens > 9 || ones > 9 ? -1 : (int)(tens * 10 + ones);
}

/* "01/10/2026" and the like: readable to people, but only if they know whose
 * habit it is. The reason then says what to do about it. */
static const char *
why_unreadable(struct span s)
{
	size_t i = 0, groups = 0;

	while (groups < 2) {
		size_t from = i;

		while (i < s.n && is_digit(s.p[i]))
			i++;
		if (i - from < 1 || i - from > 2 || i >= s.n ||
		    (s.p[i] != '/' && s.p[i] != '.' && s.p[i] != '-'))
			return unreadable;
		i++;
		groups++;
	}
	return i < s.n && is_digit(s.p[i]) ? mixed_up : unreadable;
}

/* The ten bytes YYYY-MM-DD at p. */
static const char *
read_date(const char *p, int64_t *midnight)
{
	int high = two(p), low = two(p + 2), month = two(p + 5), day = two(p + 8);

	if (high < 0 || low < 0 || month < 0 || day < 0 || p[4] != '-' || p[7] != '-')
		return unreadable;
	if (month < 1 || month > 12 || day < 1 ||
	    day > civil_month_days(high * 100 + low, month))
		return no_date;
	*midnight = civil_days(high * 100 + low, month, day) * 86400;
	return NULL;
}

/* "", "Z", "+02:00". */
static const char *
read_offset(struct span s, int16_t *out)
{
	int h, m;

	if (s.n == 0) {
		*out = OFFSET_LOCAL;
		return NULL;
	}
	if (s.n == 1 && (*s.p == 'Z' || *s.p == 'z')) {
		*out = 0;
		return NULL;
	}
	if (s.n != 6 || (*s.p != '+' && *s.p != '-') || s.p[3] != ':' ||
	    (h = two(s.p + 1)) < 0 || (m = two(s.p + 4)) < 0)
		return unreadable;
	if (h > 23 || m > 59)
		return no_offset;
	*out = (int16_t)(*s.p == '-' ? -(h * 60 + m) : h * 60 + m);
	return NULL;
}

/* A leap second is the last second of a UTC day (RFC 3339 section 5.7). Where
 * the offset is not known it is taken on trust at the minutes in which it can
 * fall: the offsets in use are whole quarters of an hour. */
static bool
leap_possible(int64_t wall, int16_t offset)
{
	int64_t day;

	if (offset == OFFSET_LOCAL)
		return (wall / 60 % 15 + 15) % 15 == 14;
	day = (wall - offset * 60) % 86400;
	return (day + 86400) % 86400 == 86399;
}

/* What follows the date: blank or T, HH:MM[:SS[.f]], offset. */
static const char *
read_clock(int64_t midnight, struct span s, struct stamp *out)
{
	struct stamp st = { .precision = PREC_MINUTE };
	const char *why;
	int h, m, sec = 0;

	if (s.n < 6 || (s.p[0] != ' ' && s.p[0] != 'T' && s.p[0] != 't') || s.p[3] != ':' ||
	    (h = two(s.p + 1)) < 0 || (m = two(s.p + 4)) < 0)
		return unreadable;
	s.p += 6;
	s.n -= 6;
	if (s.n >= 3 && s.p[0] == ':') {
		sec = two(s.p + 1);
		if (sec < 0)
			return unreadable;
		st.precision = PREC_SECOND;
		s.p += 3;
		s.n -= 3;
		if (s.n && (s.p[0] == '.' || s.p[0] == ',')) {
			size_t i = 1;

			for (int unit = 100; i < s.n && is_digit(s.p[i]); unit /= 10, i++)
				st.ms = (int16_t)(st.ms + (s.p[i] - '0') * unit);
			if (i == 1)
				return unreadable;
			st.precision = PREC_MS;
			s.p += i;
			s.n -= i;
		}
	}
	why = read_offset(s, &st.offset);
	if (why)
		return why;
	if (h > 24 || m > 59 || sec > 60 || (h == 24 && (m || sec || st.ms)))
		return no_clock;
	st.leap = sec == 60;
	st.wall = midnight + h * 3600 + m * 60 + (st.leap ? 59 : sec);
	if (st.leap && !leap_possible(st.wall, st.offset))
		return no_clock;
	*out = st;
	return NULL;
}

const char *
stamp_parse(struct span s, struct stamp *out)
{
	int64_t midnight;
	const char *why;

	s = span_trim(s);
	if (s.n == 0)
		return "no time";
	if (s.n < 10)
		return why_unreadable(s);
	why = read_date(s.p, &midnight);
	if (why)
		return why == unreadable ? why_unreadable(s) : why;
	if (s.n == 10)
		return date_only;
	return read_clock(midnight, (struct span){ s.p + 10, s.n - 10 }, out);
}

const char *
stamp_parse_date(struct span s, struct stamp *out)
{
	int64_t midnight;
	const char *why;

	s = span_trim(s);
	if (s.n != 10)
		return stamp_parse(s, out);
	why = read_date(s.p, &midnight);
	if (why)
		return why == unreadable ? why_unreadable(s) : why;
	*out = (struct stamp){ .wall = midnight, .offset = OFFSET_LOCAL,
		.precision = PREC_MINUTE };
	return NULL;
}

const char *
stamp_parse_memo(struct stamp_memo *memo, struct span s, struct stamp *out)
{
	const char *p = s.p, *why;
	int h, m, sec;

	if (s.n < 19 || p[4] != '-' || memcmp(p, memo->date, 10) != 0) {
		why = stamp_parse(s, out);
		if (!why && s.n >= 19 && !read_date(p, &memo->midnight))
			memcpy(memo->date, p, 10);
		return why;
	}
	/* The common form, whole: anything else about it goes the long way. */
	if (s.n == 19 && p[13] == ':' && p[16] == ':' && (p[10] == ' ' || p[10] == 'T')) {
		h = two(p + 11);
		m = two(p + 14);
		sec = two(p + 17);
		if ((unsigned)h < 24 && (unsigned)m < 60 && (unsigned)sec < 60) {
			*out = (struct stamp){
				.wall = memo->midnight + h * 3600 + m * 60 + sec,
				.offset = OFFSET_LOCAL, .precision = PREC_SECOND,
			};
			return NULL;
		}
	}
	s = span_trim(s);
	return read_clock(memo->midnight, (struct span){ p + 10, s.n - 10 }, out);
}
