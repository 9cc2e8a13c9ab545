#include "rules/match.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* Each edit costs 1 and a little more the rarer it is: -ln(share) / 1000. Sixty-four
 * edits of the rarest sort add less than 1, so the number of edits always decides first. */
#define EDIT_CHANGED 1.000236	/* -ln 0.790 */
#define EDIT_ALIKE   1.000100	/* look-alikes: the likeliest change; common practice, no source */
#define EDIT_SWAPPED 1.002283	/* -ln 0.102 */
#define EDIT_LENGTH  1.001897	/* -ln 0.15, the middle of 10-20 % */

enum { SIDE = MATCH_SERIAL_MAX + 1 };

/* Two serials made comparable, and the table of the least cost of each pair of heads. */
struct alignment {
	const char *a, *b;	/* expected, heard */
	size_t      na, nb;
	size_t      skipped;	/* zeros taken off the expected one */
	double      cost[SIDE][SIDE];
};

/* Characters that are read for one another on stickers; from memory. */
static bool
alike(char x, char y)
{
	static const char pairs[] = "O0I1B8S5Z2";

	for (size_t i = 0; pairs[i]; i += 2)
		if ((x == pairs[i] && y == pairs[i + 1]) || (y == pairs[i] && x == pairs[i + 1]))
			return true;
	return false;
}

static bool
swapped(const struct alignment *t, size_t i, size_t j)
{
	return i > 1 && j > 1 && t->a[i - 1] == t->b[j - 2] && t->a[i - 2] == t->b[j - 1]
	    && t->a[i - 1] != t->a[i - 2];
}

static double
change(char x, char y)
{
	return x == y ? 0 : alike(x, y) ? EDIT_ALIKE : EDIT_CHANGED;
}

/* False when a serial is too long to be compared. */
static bool
align(struct alignment *t, const char *expected, const char *heard)
{
	t->a = expected;
	t->b = heard;
	t->na = strlen(expected);
	t->nb = strlen(heard);
	t->skipped = 0;
	if (t->na != t->nb) {
		t->skipped = strspn(expected, "0");
		t->a += t->skipped;
		t->na -= t->skipped;
		t->b += strspn(heard, "0");
		t->nb = strlen(t->b);
	}
	if (t->na > MATCH_SERIAL_MAX || t->nb > MATCH_SERIAL_MAX)
		return false;
	for (size_t i = 0; i <= t->na; i++)
		t->cost[i][0] = (double)i * EDIT_LENGTH;
	for (size_t j = 0; j <= t->nb; j++)
		t->cost[0][j] = (double)j * EDIT_LENGTH;
	for (size_t i = 1; i <= t->na; i++) {
		for (size_t j = 1; j <= t->nb; j++) {
			double best = t->cost[i - 1][j - 1] + change(t->a[i - 1], t->b[j - 1]);

			best = fmin(best, t->cost[i - 1][j] + EDIT_LENGTH);
			best = fmin(best, t->cost[i][j - 1] + EDIT_LENGTH);
			if (swapped(t, i, j))
				best = fmin(best, t->cost[i - 2][j - 2] + EDIT_SWAPPED);
			t->cost[i][j] = best;
		}
	}
	return true;
}

double
match_cost(const char *expected, const char *heard)
{
	struct alignment t;

	if (align(&t, expected, heard))
		return t.cost[t.na][t.nb];
	return strcmp(t.a, t.b) == 0 ? 0 : (double)(t.na > t.nb ? t.na : t.nb);
}

unsigned
match_distance(const char *expected, const char *heard)
{
	return (unsigned)match_cost(expected, heard);
}

/* Puts one more remark in front: the table is walked from its end. */
static const char *
prepend(struct arena *a, const char *remark, const char *rest)
{
	return *rest ? arena_fmt(a, "%s; %s", remark, rest) : remark;
}

const char *
match_describe(struct arena *a, const char *expected, const char *heard)
{
	struct alignment t;
	const char *out = "", *unit = "digit";
	size_t i, j, total;

	if (!align(&t, expected, heard))
		return strcmp(t.a, t.b) == 0 ? "the same" : "differs; too long to say where";
	total = t.skipped + t.na;
	if (expected[strspn(expected, "0123456789")] || heard[strspn(heard, "0123456789")])
		unit = "character";
	for (i = t.na, j = t.nb; i > 0 || j > 0;) {
		double at = t.cost[i][j] - 1e-9;	/* sums of the same terms, rounded alike */
		size_t place = t.skipped + i;

		if (i > 0 && j > 0
		    && t.cost[i - 1][j - 1] + change(t.a[i - 1], t.b[j - 1]) - 2e-9 <= at) {
			char x = t.a[--i], y = t.b[--j];

			if (alike(x, y))
				out = prepend(a, arena_fmt(a, "differs in %s %zu of %zu "
				    "(%c read as %c)", unit, place, total, x, y), out);
			else if (x != y)
				out = prepend(a, arena_fmt(a, "differs in %s %zu of %zu", unit,
				    place, total), out);
		} else if (swapped(&t, i, j) && t.cost[i - 2][j - 2] + EDIT_SWAPPED - 2e-9 <= at) {
			i -= 2;
			j -= 2;
			out = prepend(a, arena_fmt(a, "%ss %zu and %zu of %zu swapped", unit,
			    place - 1, place, total), out);
		} else if (i > 0 && t.cost[i - 1][j] + EDIT_LENGTH - 2e-9 <= at) {
			i--;
			out = prepend(a, arena_fmt(a, "%s %zu of %zu missing", unit, place, total),
			    out);
		} else {
			j--;
			out = prepend(a, place == 0
			    ? arena_fmt(a, "one %s too many in front", unit)
			    : arena_fmt(a, "one %s too many after %s %zu of %zu", unit, unit,
			    place, total), out);
		}
	}
	return *out ? out : "the same";
}

static long
digit_value(char c)
{
	return c <= '9' ? c - '0' : c - 'A' + 10;
}

long
match_apart(const char *one, const char *other)
{
	enum { TAIL = 4 };
	size_t n, head;
	long x = 0, y = 0, base = 10;

	if (strlen(one) != strlen(other)) {
		one += strspn(one, "0");
		other += strspn(other, "0");
	}
	n = strlen(one);
	head = n > TAIL ? n - TAIL : 0;
	if (n != strlen(other) || strncmp(one, other, head) != 0)
		return -1;
	for (size_t i = head; i < n; i++) {
		if (digit_value(one[i]) > 15 || digit_value(other[i]) > 15)
			return -1;
		if (digit_value(one[i]) > 9 || digit_value(other[i]) > 9)
			base = 16;
	}
	for (size_t i = head; i < n; i++) {
		x = x * base + digit_value(one[i]);
		y = y * base + digit_value(other[i]);
	}
	return labs(x - y);
}

/* Works on the side with fewer members, the workers; each takes a job, the other side.
 * Potentials keep every reduced cost at or above zero and at zero on taken pairs, so the
 * shortest path to a free job stays a Dijkstra walk. */
struct work {
	size_t        n, m;	/* n <= m */
	const double *cost;
	size_t        step_n, step_m;	/* strides, so that rows and columns can change places */
	double       *pay;	/* potential of each worker */
	double       *ask;	/* potential of each job */
	int          *taken_by;	/* worker of each job, -1 = free */
	double       *reach;	/* per augmentation: shortest distance to each job */
	int          *via;	/* the job before it on that path; -1 = straight from the start */
	bool         *done;
};

static double
reduced(const struct work *w, size_t worker, size_t job)
{
	return w->cost[worker * w->step_n + job * w->step_m] - w->pay[worker] - w->ask[job];
}

static void
place_worker(struct work *w, size_t start)
{
	size_t worker = start;
	int job = -1;		/* the job from which `worker` was displaced */
	double far = 0;

	for (size_t j = 0; j < w->m; j++) {
		w->reach[j] = INFINITY;
		w->done[j] = false;
	}
	for (;;) {
		int next = -1;

		for (size_t j = 0; j < w->m; j++) {
			double through = far + reduced(w, worker, j);

			if (w->done[j])
				continue;
			if (through < w->reach[j]) {
				w->reach[j] = through;
				w->via[j] = job;
			}
			if (next < 0 || w->reach[j] < w->reach[next])
				next = (int)j;
		}
		job = next;
		far = w->reach[job];
		w->done[job] = true;
		if (w->taken_by[job] < 0)
			break;
		worker = (size_t)w->taken_by[job];
	}
	/* Visited nodes nearer than the end pay the difference; the path becomes tight. */
	w->pay[start] += far;
	for (size_t j = 0; j < w->m; j++) {
		if (!w->done[j] || (int)j == job)
			continue;
		w->ask[j] -= far - w->reach[j];
		w->pay[w->taken_by[j]] += far - w->reach[j];
	}
	for (int back; job >= 0; job = back) {
		back = w->via[job];
		w->taken_by[job] = back < 0 ? (int)start : w->taken_by[back];
	}
}

void
match_assign(size_t rows, size_t cols, const double *cost, int *col_of)
{
	bool turned = rows > cols;
	struct work w = {
		.n = turned ? cols : rows, .m = turned ? rows : cols, .cost = cost,
		.step_n = turned ? 1 : cols, .step_m = turned ? cols : 1,
	};

	for (size_t r = 0; r < rows; r++)
		col_of[r] = -1;
	w.pay = x_calloc(w.n, sizeof *w.pay);
	w.ask = x_calloc(w.m, sizeof *w.ask);
	w.reach = x_calloc(w.m, sizeof *w.reach);
	w.taken_by = x_calloc(w.m, sizeof *w.taken_by);
	w.via = x_calloc(w.m, sizeof *w.via);
	w.done = x_calloc(w.m, sizeof *w.done);
	for (size_t j = 0; j < w.m; j++)
		w.taken_by[j] = -1;
	for (size_t i = 0; i < w.n; i++) {
		/* Start with a potential that makes no reduced cost negative. */
		double least = INFINITY;

		for (size_t j = 0; j < w.m; j++)
			least = fmin(least, reduced(&w, i, j));
		w.pay[i] = least;
		place_worker(&w, i);
	}
	for (size_t j = 0; j < w.m; j++) {
		if (w.taken_by[j] < 0)
			continue;
		if (turned)
			col_of[j] = w.taken_by[j];
		else
			col_of[w.taken_by[j]] = (int)j;
	}
	free(w.pay);
	free(w.ask);
	free(w.reach);
	free(w.taken_by);
	free(w.via);
	free(w.done);
}
