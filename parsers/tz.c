#include "parsers/tz.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/arena.h"
#include "daemon/base/civil.h"

/* A zone is a list of instants at which its offset changes. The rule in a
 * file's footer, which has no end, is written out for CYCLE years behind the
 * last instant of the file; the Gregorian calendar repeats after 400 years, day
 * of the week included (146097 days are 20871 weeks), and so does the rule. */
enum {
	FILE_LIMIT = 1 << 20,	/* bytes; the largest zone in use has some 5000 */
	NAME_LIMIT = 64,
	CYCLE = 400,
	OFFSET_LIMIT = 26 * 3600, /* RFC 9636 section 3.2: between -25 and 26 hours */
	NEAREST = 3,		/* names offered for one that is not there */
	DEPTH = 3,		/* America/Argentina/Ushuaia */
};
#define CYCLE_SECONDS (INT64_C(146097) * 86400)

struct change {
	int64_t at;		/* UTC, seconds */
	int32_t offset;		/* from then on, seconds east of UTC */
};

struct tz {
	struct tz     *next;
	char          *name;
	int32_t        before;	/* offset before the first change */
	struct change *change;
	size_t         n, cap;
	int64_t        repeats;	/* from here on as CYCLE years earlier; INT64_MAX = never */
};

struct tz_set {
	char       dir[256];
	struct tz *zones;
};

/* ---- the POSIX rule of the footer: "CET-1CEST,M3.5.0,M10.5.0/3" ---- */

struct date_rule {
	char    form;		/* 'J': day 1..365, no leap day; 'D': day 0..365; 'M' */
	int     month, week, day;
	int32_t time;		/* seconds after local midnight, may be negative */
};

struct posix_rule {
	int32_t          standard, summer;
	bool             has_summer;
	struct date_rule begin, end;
};

static bool
digits(struct span *s, int max, int *out)
{
	int v = 0;
	size_t i = 0;

	while (i < s->n && i < 3 && isdigit((unsigned char)s->p[i]))
		v = v * 10 + (s->p[i++] - '0');
	if (i == 0 || v > max)
		return false;
	*out = v;
	s->p += i;
	s->n -= i;
	return true;
}

static bool
accept(struct span *s, char c)
{
	if (s->n == 0 || *s->p != c)
		return false;
	s->p++;
	s->n--;
	return true;
}

/* [+-]hh[:mm[:ss]], at most so many hours. */
static bool
posix_time(struct span *s, int max_hours, int32_t *out)
{
	bool minus = accept(s, '-');
	int h, m = 0, sec = 0;

	if (!minus)
		accept(s, '+');
	if (!digits(s, max_hours, &h))
		return false;
	if (accept(s, ':') && (!digits(s, 59, &m) || (accept(s, ':') && !digits(s, 59, &sec))))
		return false;
	*out = h * 3600 + m * 60 + sec;
	if (minus)
		*out = -*out;
	return true;
}

static bool
posix_name(struct span *s)
{
	size_t i = 0;

	if (accept(s, '<')) {
		while (i < s->n && s->p[i] != '>')
			i++;
		if (i == s->n)
			return false;
		s->p += i + 1;
		s->n -= i + 1;
		return i >= 3;
	}
	while (i < s->n && isalpha((unsigned char)s->p[i]))
		i++;
	s->p += i;
	s->n -= i;
	return i >= 3;
}

static bool
posix_date(struct span *s, struct date_rule *d)
{
	*d = (struct date_rule){ .form = 'D', .time = 2 * 3600 };
	if (accept(s, 'M')) {
		d->form = 'M';
		if (!digits(s, 12, &d->month) || d->month < 1 || !accept(s, '.') ||
		    !digits(s, 5, &d->week) || d->week < 1 || !accept(s, '.') ||
		    !digits(s, 6, &d->day))
			return false;
	} else {
		if (accept(s, 'J'))
			d->form = 'J';
		if (!digits(s, 365, &d->day) || (d->form == 'J' && d->day < 1))
			return false;
	}
	/* Hours beyond a day, and negative ones: RFC 9636 section 3.3.2. */
	return !accept(s, '/') || posix_time(s, 167, &d->time);
}

static bool
posix_parse(struct span s, struct posix_rule *r)
{
	*r = (struct posix_rule){ 0 };
	if (!posix_name(&s) || !posix_time(&s, 24, &r->standard))
		return false;
	r->standard = -r->standard;		/* POSIX counts west of Greenwich */
	if (s.n == 0)
		return true;
	r->has_summer = true;
	r->summer = r->standard + 3600;
	if (!posix_name(&s))
		return false;
	if (s.n && *s.p != ',') {
		if (!posix_time(&s, 24, &r->summer))
			return false;
		r->summer = -r->summer;
	}
	return accept(&s, ',') && posix_date(&s, &r->begin) &&
	    accept(&s, ',') && posix_date(&s, &r->end) && s.n == 0;
}

/* Local seconds since 1970 at which the rule strikes in `year`. */
static int64_t
posix_strikes(const struct date_rule *d, int year)
{
	int64_t days;

	if (d->form == 'M') {
		int length = civil_month_days(year, d->month), first, day;

		days = civil_days(year, d->month, 1);
		first = (civil_weekday(days * DAY) + 1) % 7;	/* 0 = Sunday */
		day = (d->day - first + 7) % 7 + (d->week - 1) * 7;
		if (day >= length)
			day -= 7;		/* week 5 is the last one */
		days += day;
	} else {
		days = civil_days(year, 1, 1) + d->day - (d->form == 'J');
		if (d->form == 'J' && d->day >= 60 && civil_month_days(year, 2) == 29)
			days++;
	}
	return days * 86400 + d->time;
}

static void
add_change(struct tz *z, int64_t at, int32_t offset)
{
	z->change = x_grow(z->change, &z->cap, z->n + 1, sizeof *z->change);
	z->change[z->n++] = (struct change){ at, offset };
}

/* The rule holds from behind the last change of the file; where the file has
 * none, always: then the list begins a cycle before 1970, which is before any
 * instant that is asked for in earnest. */
static void
add_rule(struct tz *z, const struct posix_rule *r)
{
	int64_t last = z->n ? z->change[z->n - 1].at : INT64_MIN;
	struct civil c = { .year = 1970 - CYCLE };

	if (!r->has_summer) {
		if (z->n == 0)
			z->before = r->standard;
		else if (z->change[z->n - 1].offset != r->standard)
			add_change(z, last + 1, r->standard);
		return;
	}
	if (z->n)
		civil_from_ms(last * 1000, &c);
	else
		z->before = r->standard;
	for (int year = c.year; year <= c.year + CYCLE + 2; year++) {
		struct change a = { posix_strikes(&r->begin, year) - r->standard, r->summer };
		struct change b = { posix_strikes(&r->end, year) - r->summer, r->standard };
		bool swap = b.at < a.at;	/* southern summer */

		if (swap ? b.at > last : a.at > last)
			add_change(z, swap ? b.at : a.at, swap ? b.offset : a.offset);
		if (swap ? a.at > last : b.at > last)
			add_change(z, swap ? a.at : b.at, swap ? a.offset : b.offset);
	}
	z->repeats = civil_days(c.year + CYCLE + 2, 1, 1) * 86400;
}

/* ---- TZif files ---- */

static uint32_t
be32(const unsigned char *p)
{
	return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

static int64_t
be_signed(const unsigned char *p, size_t width)
{
	if (width == 4)
		return (int32_t)be32(p);
	return (int64_t)((uint64_t)be32(p) << 32 | be32(p + 4));
}

/* Counts of a block, RFC 9636 section 3.1. */
struct block {
	const unsigned char *data;
	size_t utc, std, leap, times, types, chars;
	size_t size;		/* of the data, for the given width of a time */
};

enum { TZIF_HEADER = 44 };

static bool
block_read(const unsigned char *p, size_t n, size_t width, struct block *b)
{
	size_t *count[] = { &b->utc, &b->std, &b->leap, &b->times, &b->types, &b->chars };

	if (n < TZIF_HEADER || memcmp(p, "TZif", 4) != 0)
		return false;
	for (size_t i = 0; i < 6; i++) {
		*count[i] = be32(p + 20 + i * 4);
		if (*count[i] > FILE_LIMIT)
			return false;
	}
	b->data = p + TZIF_HEADER;
	b->size = b->times * width + b->times + b->types * 6 + b->chars +
	    b->leap * (width + 4) + b->std + b->utc;
	return b->size <= n - TZIF_HEADER;
}

static bool
tzif_parse(struct tz *z, const unsigned char *p, size_t n)
{
	struct block b;
	size_t width = 4;
	const unsigned char *times, *index, *types;
	int64_t last = INT64_MIN;
	struct posix_rule rule;

	if (!block_read(p, n, width, &b))
		return false;
	if (p[4] >= '2') {			/* the block with 64-bit times follows */
		size_t skip = TZIF_HEADER + b.size;

		width = 8;
		p += skip;
		n -= skip;
		if (!block_read(p, n, width, &b))
			return false;
	}
	/* Leap seconds in the count ("right" zones) are not POSIX time. */
	if (b.types == 0 || b.types > 256 || b.leap)
		return false;
	times = b.data;
	index = times + b.times * width;
	types = index + b.times;
	for (size_t i = 0; i < b.types; i++) {
		int64_t offset = be_signed(types + i * 6, 4);

		if (offset <= -OFFSET_LIMIT || offset >= OFFSET_LIMIT)
			return false;
	}
	z->before = (int32_t)be_signed(types, 4);
	for (size_t i = 0; i < b.times; i++) {
		int64_t at = be_signed(times + i * width, width);

		if (index[i] >= b.types || (i && at <= last))
			return false;
		last = at;
		/* Instants out of reach of four-digit years are only there to
		 * say "always so"; arithmetic stays far from its limits. */
		if (at < -CYCLE_SECONDS * 8)
			z->before = (int32_t)be_signed(types + index[i] * 6, 4);
		else if (at < CYCLE_SECONDS * 25)
			add_change(z, at, (int32_t)be_signed(types + index[i] * 6, 4));
	}
	if (width == 4)
		return true;
	p = b.data + b.size;
	n -= TZIF_HEADER + b.size;
	if (n < 2 || p[0] != '\n' || p[n - 1] != '\n')
		return false;
	if (n == 2)
		return true;
	if (!posix_parse((struct span){ (const char *)p + 1, n - 2 }, &rule))
		return false;
	add_rule(z, &rule);
	return true;
}

/* ---- the set ---- */

static struct tz *
zone_new(struct span name)
{
	struct tz *z = x_calloc(1, sizeof *z);

	z->name = x_calloc(1, name.n + 1);
	if (name.n)
		memcpy(z->name, name.p, name.n);
	z->repeats = INT64_MAX;
	return z;
}

static void
zone_free(struct tz *z)
{
	free(z->name);
	free(z->change);
	free(z);
}

/* Whole regular file of at most FILE_LIMIT bytes; NULL if there is none. */
static unsigned char *
slurp(const char *path, size_t *n)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
	unsigned char *p = NULL;
	struct stat st;

	if (fd < 0)
		return NULL;
	if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && st.st_size <= FILE_LIMIT) {
		size_t want = (size_t)st.st_size;
		ssize_t got;

		p = x_calloc(1, want + 1);
		for (*n = 0; *n < want; *n += (size_t)got) {
			got = read(fd, p + *n, want - *n);
			if (got < 0 && errno == EINTR)
				got = 0;
			else if (got <= 0)
				break;
		}
	}
	close(fd);
	return p;
}

static struct tz *
zone_load(const char *path, struct span name)
{
	size_t n = 0;
	unsigned char *p = slurp(path, &n);
	struct tz *z;

	if (!p)
		return NULL;
	z = zone_new(name);
	if (!tzif_parse(z, p, n)) {
		zone_free(z);
		z = NULL;
	}
	free(p);
	return z;
}

struct tz_set *
tz_set_open(void)
{
	static const char *const dirs[] = {
		"/usr/share/zoneinfo", "/usr/lib/zoneinfo", "/usr/share/lib/zoneinfo",
		"/etc/zoneinfo",
	};
	struct tz_set *set = x_calloc(1, sizeof *set);
	const char *dir = getenv("TZDIR");
	struct stat st;

	for (size_t i = 0; (!dir || !*dir) && i < sizeof dirs / sizeof *dirs; i++) {
		if (stat(dirs[i], &st) == 0 && S_ISDIR(st.st_mode))
			dir = dirs[i];
	}
	snprintf(set->dir, sizeof set->dir, "%s", dir && *dir ? dir : dirs[0]);
	return set;
}

void
tz_set_close(struct tz_set *set)
{
	if (!set)
		return;
	for (struct tz *z = set->zones, *next; z; z = next) {
		next = z->next;
		zone_free(z);
	}
	free(set);
}

/* A name that cannot leave the database: parts of letters, digits, '_', '+' and
 * '-', with single slashes between. */
static bool
name_allowed(struct span name)
{
	if (name.n == 0 || name.n > NAME_LIMIT || name.p[name.n - 1] == '/')
		return false;
	for (size_t i = 0; i < name.n; i++) {
		char c = name.p[i];

		if (c == '/' ? i == 0 || name.p[i - 1] == '/' :
		    !isalnum((unsigned char)c) && c != '_' && c != '+' && c != '-')
			return false;
	}
	return true;
}

/* ---- the nearest names ---- */

struct near {
	struct span want;
	struct { int distance; char name[NAME_LIMIT + 1]; } best[NEAREST];
};

/* Edits between two names, letter case aside, with swapped neighbours as one. */
static int
distance(struct span a, struct span b)
{
	int row[3][NAME_LIMIT + 1];
	int *two = row[0], *one = row[1], *now = row[2];

	for (size_t k = 0; k <= b.n; k++)
		one[k] = (int)k;
	for (size_t i = 1; i <= a.n; i++) {
		int *spare = two;

		now[0] = (int)i;
		for (size_t k = 1; k <= b.n; k++) {
			int x = tolower((unsigned char)a.p[i - 1]);
			int y = tolower((unsigned char)b.p[k - 1]);
			int d = one[k - 1] + (x != y);

			if (one[k] + 1 < d)
				d = one[k] + 1;
			if (now[k - 1] + 1 < d)
				d = now[k - 1] + 1;
			if (i > 1 && k > 1 && x == tolower((unsigned char)b.p[k - 2]) &&
			    y == tolower((unsigned char)a.p[i - 2]) && two[k - 2] + 1 < d)
				d = two[k - 2] + 1;
			now[k] = d;
		}
		two = one;
		one = now;
		now = spare;
	}
	return one[b.n];
}

static struct span
city(struct span name)
{
	for (size_t i = name.n; i > 0; i--) {
		if (name.p[i - 1] == '/')
			return (struct span){ name.p + i, name.n - i };
	}
	return name;
}

static void
near_offer(struct near *near, const char *name)
{
	struct span s = span_of(name);
	int d, of_city;
	size_t at = NEAREST;

	if (s.n > NAME_LIMIT)
		return;
	/* "Vienna" means Europe/Vienna, and so does "Austria/Vienna". */
	d = distance(near->want, s);
	of_city = distance(city(near->want), city(s)) + 1;
	if (of_city < d)
		d = of_city;
	if (d > ((int)near->want.n + 1) / 2)
		return;
	while (at > 0 && (!*near->best[at - 1].name || d < near->best[at - 1].distance ||
	    (d == near->best[at - 1].distance && strcmp(name, near->best[at - 1].name) < 0)))
		at--;
	if (at == NEAREST)
		return;
	memmove(&near->best[at + 1], &near->best[at],
	    (NEAREST - 1 - at) * sizeof near->best[0]);
	near->best[at].distance = d;
	memcpy(near->best[at].name, name, s.n + 1);
}

/* Zones of the database are the files whose names begin with a capital. */
static void
near_walk(struct near *near, const char *dir, const char *prefix, int depth)
{
	DIR *d = opendir(dir);
	struct dirent *entry;

	if (!d)
		return;
	while ((entry = readdir(d))) {
		char path[512], name[320];
		struct stat st;

		if (!isupper((unsigned char)entry->d_name[0]))
			continue;
		if ((size_t)snprintf(path, sizeof path, "%s/%s", dir, entry->d_name) >=
		    sizeof path ||
		    (size_t)snprintf(name, sizeof name, "%s%s%s", prefix, *prefix ? "/" : "",
		    entry->d_name) >= sizeof name || stat(path, &st) < 0)
			continue;
		if (S_ISREG(st.st_mode))
			near_offer(near, name);
		else if (S_ISDIR(st.st_mode) && depth > 1)
			near_walk(near, path, name, depth - 1);
	}
	closedir(d);
}

static int
not_found(const struct tz_set *set, struct span name, struct err *e)
{
	struct near near = { .want = name };
	char list[NEAREST * (NAME_LIMIT + 3) + 16] = "";
	size_t n = 0;

	if (near.want.n > NAME_LIMIT)
		near.want.n = NAME_LIMIT;
	near_walk(&near, set->dir, "", DEPTH);
	for (int i = 0; i < NEAREST && *near.best[i].name; i++)
		n += (size_t)snprintf(list + n, sizeof list - n, "%s%s",
		    n ? ", " : "; nearest: ", near.best[i].name);
	return err_set(e, ERR_DATA, NULL, 0, "no time zone \"%.*s\"%s",
	    (int)near.want.n, near.want.n ? near.want.p : "", list);
}

static struct tz *
keep(struct tz_set *set, struct tz *z)
{
	z->next = set->zones;
	set->zones = z;
	return z;
}

static const struct tz *
lookup(struct tz_set *set, struct span name)
{
	char path[512];
	struct tz *z;

	for (z = set->zones; z; z = z->next) {
		if (span_eq(span_of(z->name), name))
			return z;
	}
	if (!name_allowed(name) || (size_t)snprintf(path, sizeof path, "%s/%.*s", set->dir,
	    (int)name.n, name.p) >= sizeof path)
		return NULL;
	z = zone_load(path, name);
	if (!z && span_eq(name, SPAN("UTC")))
		z = zone_new(name);
	return z ? keep(set, z) : NULL;
}

const struct tz *
tz_find(struct tz_set *set, struct span name, struct err *e)
{
	const struct tz *z = lookup(set, span_trim(name));

	if (!z)
		not_found(set, span_trim(name), e);
	return z;
}

/* What $TZ may hold: a name, with or without a colon, or a POSIX rule. */
static const struct tz *
from_environment(struct tz_set *set, const char *text)
{
	struct span s = span_of(text[0] == ':' ? text + 1 : text);
	struct posix_rule rule;
	const struct tz *found;
	struct tz *z;

	if (s.n == 0)
		return lookup(set, SPAN("UTC"));
	found = lookup(set, s);
	if (found || !posix_parse(s, &rule))
		return found;
	z = zone_new(s);
	add_rule(z, &rule);
	return keep(set, z);
}

static const struct tz *
from_system(struct tz_set *set)
{
	const char *mark;
	char text[512];
	size_t n = 0;
	unsigned char *p = slurp("/etc/timezone", &n);
	const struct tz *z = NULL;
	struct tz *own;
	ssize_t len;

	if (p) {
		z = lookup(set, span_trim((struct span){ (char *)p, strcspn((char *)p, "\r\n") }));
		free(p);
	}
	if (z)
		return z;
	len = readlink("/etc/localtime", text, sizeof text - 1);
	if (len > 0) {
		text[len] = '\0';
		mark = strstr(text, "zoneinfo/");
		z = mark ? lookup(set, span_of(mark + strlen("zoneinfo/"))) : NULL;
	}
	if (z)
		return z;
	own = zone_load("/etc/localtime", SPAN("localtime"));
	return own ? keep(set, own) : NULL;
}

const struct tz *
tz_machine(struct tz_set *set)
{
	const char *text = getenv("TZ");
	const struct tz *z = text ? from_environment(set, text) : NULL;

	if (!z)
		z = from_system(set);
	return z ? z : lookup(set, SPAN("UTC"));
}

const char *
tz_name(const struct tz *z)
{
	return z->name;
}

const char *
tz_shown(const struct tz *z)
{
	return strcmp(z->name, "Etc/UTC") == 0 ? "UTC" : z->name;
}

/* ---- asking a zone ---- */

/* The same point of an earlier cycle, if the list does not reach so far. */
static int64_t
within_list(const struct tz *z, int64_t t)
{
	if (t < z->repeats)
		return t;
	return t - ((t - z->repeats) / CYCLE_SECONDS + 1) * CYCLE_SECONDS;
}

/* Number of changes at or before t. */
static size_t
changes_until(const struct tz *z, int64_t t)
{
	size_t low = 0, high = z->n;

	while (low < high) {
		size_t mid = low + (high - low) / 2;

		if (z->change[mid].at <= t)
			low = mid + 1;
		else
			high = mid;
	}
	return low;
}

static int32_t
offset_after(const struct tz *z, size_t changes)
{
	return changes ? z->change[changes - 1].offset : z->before;
}

int32_t
tz_offset(const struct tz *z, int64_t utc_seconds)
{
	return offset_after(z, changes_until(z, within_list(z, utc_seconds)));
}

enum tz_fit
tz_local(const struct tz *z, int64_t wall, int32_t *first, int32_t *second)
{
	/* No offset is further from UTC than this, so every stretch in which
	 * `wall` could lie has a part between these two instants. */
	int64_t w = within_list(z, wall);
	size_t i = changes_until(z, w - OFFSET_LIMIT), last = changes_until(z, w + OFFSET_LIMIT);
	int fits = 0;

	for (; i <= last; i++) {
		int32_t offset = offset_after(z, i);
		int64_t utc = w - offset;

		if ((i > 0 && utc < z->change[i - 1].at) || (i < z->n && utc >= z->change[i].at))
			continue;
		if (fits++ == 0)
			*first = offset;
		*second = offset;
	}
	if (fits)
		return fits == 1 ? TZ_ONCE : TZ_TWICE;

	/* The gap lies at the change that `wall` is past by the old offset and
	 * not yet at by the new one. */
	i = changes_until(z, w - OFFSET_LIMIT);
	while (i < last && !(w - offset_after(z, i) >= z->change[i].at &&
	    w - offset_after(z, i + 1) < z->change[i].at))
		i++;
	*first = offset_after(z, i);
	*second = offset_after(z, i < z->n ? i + 1 : i);
	return TZ_NEVER;
}
