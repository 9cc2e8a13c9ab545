#include "parsers/stamp.h"

#include <string.h>

#include "daemon/base/civil.h"

static const char no_date[] = "no such date";
static const char no_clock[] = "no such time of day";
static const char no_offset[] = "no such offset from UTC";
static const char unreadable[] = "time not readable; write YYYY-MM-DD HH:MM:SS";
static const char mixed_up[] =
    "day and month cannot be told apart; write YYYY-MM-DD HH:MM:SS";
static const char other_way[] =
    "day and month stand the other way round than in the rest of the file";
static const char date_only[] = "a date without a time of day";
static const char zone_name[] =
    "the short name of a time zone means several zones; write an offset such as +02:00";
static const char no_epoch[] = "a number of neither seconds (9 or 10 digits) nor"
    " milliseconds (12 or 13 digits) since 1970";

static bool
is_digit(char c)
{
	return c >= '0' && c <= '9';
}

static bool
is_letter(char c)
{
	return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

/* Two digits at p, or -1. */
static int
two(const char *p)
{
	unsigned tens = (unsigned char)p[0] - '0', ones = (unsigned char)p[1] - '0';

	return tens > 9 || ones > 9 ? -1 : (int)(tens * 10 + ones);
}

static void
skip(struct span *s, size_t n)
{
	s->p += n;
	s->n -= n;
}

/* Bytes of the blank that `s` begins with; 0 if with none. */
static size_t
blank(struct span s)
{
	const unsigned char *p = (const unsigned char *)s.p;

	if (s.n && (*p == ' ' || *p == '\t'))
		return 1;
	if (s.n >= 2 && p[0] == 0xc2 && p[1] == 0xa0)
		return 2;
	if (s.n >= 3 && p[0] == 0xe2 && p[1] == 0x80 && ((p[2] >= 0x80 && p[2] <= 0x8a) || p[2] == 0xaf))
		return 3;
	return 0;
}

static bool
skip_blanks(struct span *s)
{
	size_t n, all = 0;

	while ((n = blank(*s)) != 0) {
		skip(s, n);
		all += n;
	}
	return all > 0;
}

/* ---- dates ---- */

/* Three groups of digits with the same mark between. */
struct groups {
	int    v[3];
	size_t digits[3];
};

/* Taken off `s`; false, and `s` as it was, if it begins with no date. */
static bool
take_groups(struct span *s, struct groups *g)
{
	struct span rest = *s;
	char mark = 0;

	for (int i = 0; i < 3; i++) {
		if (i) {
			if (!rest.n || (mark && *rest.p != mark) ||
			    (*rest.p != '-' && *rest.p != '/' && *rest.p != '.'))
				return false;
			mark = *rest.p;
			skip(&rest, 1);
		}
		g->v[i] = 0;
		for (g->digits[i] = 0; rest.n && is_digit(*rest.p); g->digits[i]++) {
			if (g->digits[i] == 4)
				return false;
			g->v[i] = g->v[i] * 10 + (*rest.p - '0');
			skip(&rest, 1);
		}
		if (g->digits[i] == 0)
			return false;
	}
	if (g->digits[1] > 2 || !(g->digits[0] == 4 ? g->digits[2] <= 2 :
	    g->digits[0] <= 2 && (g->digits[2] == 2 || g->digits[2] == 4)))
		return false;
	*s = rest;
	return true;
}

static bool
exists(int year, int month, int day)
{
	return month >= 1 && month <= 12 && day >= 1 && day <= civil_month_days(year, month);
}

static int
last_year(const struct groups *g)
{
	if (g->digits[2] == 4)
		return g->v[2];
	return g->v[2] < 69 ? 2000 + g->v[2] : 1900 + g->v[2];
}

static const char *
resolve(enum stamp_order order, const struct groups *g, int64_t *midnight)
{
	int year, month = g->v[1], day;
	bool day_first, month_first;

	if (g->digits[0] == 4) {
		if (!exists(g->v[0], month, g->v[2]))
			return no_date;
		*midnight = civil_days(g->v[0], month, g->v[2]) * 86400;
		return NULL;
	}
	year = last_year(g);
	day = g->v[0];
	day_first = exists(year, month, day);
	month_first = exists(year, day, month);
	if (!day_first && !month_first)
		return no_date;
	if (order == STAMP_UNDECIDED) {
		if (g->digits[2] == 2 || (day_first && month_first && day != month))
			return mixed_up;
		order = day_first ? STAMP_DAY_FIRST : STAMP_MONTH_FIRST;
	}
	if (order == STAMP_DAY_FIRST ? !day_first : !month_first)
		return other_way;
	*midnight = 86400 * (order == STAMP_DAY_FIRST ? civil_days(year, month, day) :
	    civil_days(year, day, month));
	return NULL;
}

/* The ten bytes YYYY-MM-DD at p. */
static bool
read_date(const char *p, int64_t *midnight)
{
	int high = two(p), low = two(p + 2), month = two(p + 5), day = two(p + 8);

	if (high < 0 || low < 0 || month < 0 || day < 0 || p[4] != '-' || p[7] != '-' ||
	    !exists(high * 100 + low, month, day))
		return false;
	*midnight = civil_days(high * 100 + low, month, day) * 86400;
	return true;
}

/* ---- times of day ---- */

/* "", "Z", "UTC", "+02:00", "+0200", "+02". */
static const char *
read_offset(struct span s, int16_t *out)
{
	int h, m = 0;

	if (s.n == 0) {
		*out = OFFSET_LOCAL;
		return NULL;
	}
	if (span_eq_fold(s, SPAN("Z")) || span_eq_fold(s, SPAN("UTC"))) {
		*out = 0;
		return NULL;
	}
	if (is_letter(*s.p)) {
		for (size_t i = 0; i < s.n; i++) {
			if (!is_letter(s.p[i]) && !is_digit(s.p[i]) && !strchr("+-/:_", s.p[i]))
				return unreadable;
		}
		return zone_name;
	}
	if ((*s.p != '+' && *s.p != '-') || s.n < 3 || s.n > 6 || s.n == 4 ||
	    (s.n == 6 && s.p[3] != ':') || (h = two(s.p + 1)) < 0 ||
	    (s.n > 3 && (m = two(s.p + s.n - 2)) < 0))
		return unreadable;
	if (h > 23 || m > 59)
		return no_offset;
	*out = (int16_t)(*s.p == '-' ? -(h * 60 + m) : h * 60 + m);
	return NULL;
}

/* 'A', 'P', or 0 if neither AM nor PM stands here. */
static char
take_half(struct span *s)
{
	char half = s->n ? (char)(*s->p & ~0x20) : 0;
	size_t i = 1;

	if (half != 'A' && half != 'P')
		return 0;
	i += i < s->n && s->p[i] == '.';
	if (i >= s->n || (s->p[i] & ~0x20) != 'M')
		return 0;
	i++;
	i += i < s->n && s->p[i] == '.';
	if (i < s->n && (is_letter(s->p[i]) || is_digit(s->p[i])))
		return 0;
	skip(s, i);
	return half;
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

/* "." or "," and digits; false if it is no fraction. */
static bool
take_fraction(struct span *s, int16_t *ms)
{
	size_t i = 1;
	int v = 0;

	for (int unit = 100; i < s->n && is_digit(s->p[i]); unit /= 10, i++)
		v += (s->p[i] - '0') * unit;
	if (i == 1)
		return false;
	*ms = (int16_t)v;
	skip(s, i);
	return true;
}

/* What follows the date: T or blanks, H:MM[:SS[.f]], AM or PM, offset. */
static const char *
read_clock(int64_t midnight, struct span s, struct stamp *out)
{
	struct stamp st = { .precision = PREC_MINUTE };
	const char *why;
	int h, m, sec = 0;
	char half;

	if (s.n && (*s.p == 'T' || *s.p == 't')) {
		skip(&s, 1);
	} else {
		if (s.n && *s.p == ',')
			skip(&s, 1);
		if (!skip_blanks(&s))
			return unreadable;
	}
	if (s.n >= 4 && is_digit(s.p[0]) && s.p[1] == ':') {
		h = s.p[0] - '0';
		skip(&s, 1);
	} else if (s.n >= 5 && (h = two(s.p)) >= 0 && s.p[2] == ':') {
		skip(&s, 2);
	} else {
		return unreadable;
	}
	m = two(s.p + 1);
	if (m < 0)
		return unreadable;
	skip(&s, 3);
	if (s.n >= 3 && s.p[0] == ':') {
		sec = two(s.p + 1);
		if (sec < 0)
			return unreadable;
		st.precision = PREC_SECOND;
		skip(&s, 3);
		if (s.n && (s.p[0] == '.' || s.p[0] == ',')) {
			if (!take_fraction(&s, &st.ms))
				return unreadable;
			st.precision = PREC_MS;
		}
	}
	skip_blanks(&s);
	half = take_half(&s);
	if (half) {
		if (h < 1 || h > 12)
			return no_clock;
		h = h % 12 + (half == 'P' ? 12 : 0);
		skip_blanks(&s);
	}
	while (s.n && blank((struct span){ s.p + s.n - 1, 1 }))
		s.n--;
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

/* Digits, or digits with a fraction: seconds or milliseconds since 1970, told apart
 * by their size. False if it is no number at all. */
static bool
read_epoch(struct span s, struct stamp *out, const char **why)
{
	struct stamp st = { .precision = PREC_SECOND };
	int64_t v;
	size_t n = 0;

	while (n < s.n && is_digit(s.p[n]))
		n++;
	if (n == 0)
		return false;
	if (n < s.n) {
		struct span rest = { s.p + n, s.n - n };

		if (n > 10 || (*rest.p != '.' && *rest.p != ',') ||
		    !take_fraction(&rest, &st.ms) || rest.n)
			return false;
		st.precision = PREC_MS;
	}
	*why = no_epoch;
	if (n < 9 || n > 13 || n == 11 || !span_to_int((struct span){ s.p, n }, 0, INT64_MAX, &v))
		return true;
	*why = NULL;
	st.wall = v;
	if (n >= 12) {
		st.wall = v / 1000;
		st.ms = (int16_t)(v % 1000);
		st.precision = PREC_MS;
	}
	*out = st;
	return true;
}

/* ---- the whole ---- */

const char *
stamp_read(enum stamp_order order, struct span s, struct stamp *out, bool *alone)
{
	struct groups g;
	int64_t midnight;
	const char *why;

	skip_blanks(&s);
	s = span_trim(s);
	if (s.n == 0)
		return "no time";
	if (!take_groups(&s, &g))
		return read_epoch(s, out, &why) ? why : unreadable;
	why = resolve(order, &g, &midnight);
	if (why)
		return why;
	if (alone)
		*alone = s.n == 0;
	if (s.n)
		return read_clock(midnight, s, out);
	if (!alone)
		return date_only;
	*out = (struct stamp){ .wall = midnight, .offset = OFFSET_LOCAL,
		.precision = PREC_MINUTE };
	return NULL;
}

const char *
stamp_parse(struct span s, struct stamp *out)
{
	return stamp_read(STAMP_UNDECIDED, s, out, NULL);
}

const char *
stamp_parse_date(struct span s, struct stamp *out)
{
	bool alone;

	return stamp_read(STAMP_UNDECIDED, s, out, &alone);
}

/* The common forms, whole, behind a date of ten bytes: HH:MM:SS, with nothing, Z or
 * +HH:MM behind. Anything else about a time goes the long way. */
static bool
read_common(int64_t midnight, struct span s, struct stamp *out)
{
	const char *p = s.p + 10;
	int h = two(p + 1), m = two(p + 4), sec = two(p + 7), offset = OFFSET_LOCAL;

	if ((*p != ' ' && *p != 'T') || p[3] != ':' || p[6] != ':' || (unsigned)h > 23 ||
	    (unsigned)m > 59 || (unsigned)sec > 59)
		return false;
	if (s.n == 25 && (p[9] == '+' || p[9] == '-') && p[12] == ':') {
		int oh = two(p + 10), om = two(p + 13);

		if ((unsigned)oh > 23 || (unsigned)om > 59)
			return false;
		offset = p[9] == '-' ? -(oh * 60 + om) : oh * 60 + om;
	} else if (s.n == 20 && p[9] == 'Z') {
		offset = 0;
	} else if (s.n != 19) {
		return false;
	}
	*out = (struct stamp){ .wall = midnight + h * 3600 + m * 60 + sec,
		.offset = (int16_t)offset, .precision = PREC_SECOND };
	return true;
}

const char *
stamp_parse_memo(struct stamp_memo *memo, struct span s, struct stamp *out)
{
	const char *p = s.p, *why;

	if (s.n < 19 || p[4] != '-' || memcmp(p, memo->date, 10) != 0) {
		why = stamp_read(memo->order, s, out, NULL);
		if (!why && s.n >= 19 && read_date(p, &memo->midnight))
			memcpy(memo->date, p, 10);
		return why;
	}
	if (read_common(memo->midnight, s, out))
		return NULL;
	s = span_trim(s);
	return read_clock(memo->midnight, (struct span){ p + 10, s.n - 10 }, out);
}

/* ---- the order of day and month ---- */

void
stamp_tally_add(struct stamp_tally *t, struct span s, uint64_t line)
{
	enum stamp_order order;
	struct groups g;
	struct stamp st;
	struct span rest = s;
	bool day_first, month_first, alone;

	skip_blanks(&rest);
	if (!take_groups(&rest, &g) || g.digits[0] == 4) {
		t->other += !stamp_read(STAMP_UNDECIDED, s, &st, &alone);
		return;
	}
	day_first = exists(last_year(&g), g.v[1], g.v[0]);
	month_first = exists(last_year(&g), g.v[0], g.v[1]);
	if (!day_first && !month_first)
		return;
	if (g.digits[2] == 2) {
		t->two_digit[0][g.v[0] / 64] |= UINT64_C(1) << g.v[0] % 64;
		t->two_digit[1][g.v[2] / 64] |= UINT64_C(1) << g.v[2] % 64;
		t->not_year_first |= !exists(2000 + g.v[0], g.v[1], g.v[2]);
	}
	if (day_first != month_first) {
		order = day_first ? STAMP_DAY_FIRST : STAMP_MONTH_FIRST;
		if (t->proof[order]++ == 0)
			t->line[order] = line;
	} else if (g.v[0] == g.v[1]) {
		t->same++;
	} else {
		t->either++;
	}
}

bool
stamp_tally_open(const struct stamp_tally *t)
{
	return t->either + t->same && !t->proof[STAMP_DAY_FIRST] && !t->proof[STAMP_MONTH_FIRST];
}

static int
members(const uint64_t set[2])
{
	return __builtin_popcountll(set[0]) + __builtin_popcountll(set[1]);
}

const char *
stamp_tally_order(const struct stamp_tally *t, enum stamp_order *out)
{
	uint64_t day = t->proof[STAMP_DAY_FIRST], month = t->proof[STAMP_MONTH_FIRST];

	if (!t->not_year_first && members(t->two_digit[0]) < members(t->two_digit[1]))
		return "the two-digit year seems to stand first in its dates; write YYYY-MM-DD";
	if (day && month && day < 10 * month && month < 10 * day)
		return "some of its dates can only be day first, others only month first; a"
		    " wordings file can say which is meant";
	if (!day && !month && t->either > t->other)
		return "day and month cannot be told apart: no date in it has a day above 12; a"
		    " wordings file can say which stands first, or write YYYY-MM-DD";
	*out = STAMP_UNDECIDED;
	if (day || month)
		*out = day > month ? STAMP_DAY_FIRST : STAMP_MONTH_FIRST;
	else if (t->same && !t->either)
		*out = STAMP_DAY_FIRST;		/* or the other: it makes no difference */
	return NULL;
}
