/* survival.c - how long things last, from lives of which many have not ended yet. */
#include "rules/survival.h"

#include <stdlib.h>

static int
by_number(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;

	return x < y ? -1 : x > y;
}

/* By age at the end; at one age ends come before those last seen, who were at risk of it. */
static int
by_end(const void *a, const void *b)
{
	const struct life *x = a, *y = b;

	if (x->to != y->to)
		return x->to < y->to ? -1 : 1;
	return (int)y->ended - (int)x->ended;
}

/* Entries with their weight, by age: how many came under watch before an age. */
struct entry { double age, n; };

struct survival
survival_of(struct arena *a, struct life *life, size_t n)
{
	struct survival s = { .step = arena_take(a, n * sizeof *s.step + 1) };
	struct entry *entry = x_calloc(n + 1, sizeof *entry);
	double entered = 0, left = 0, share = 1;
	size_t used = 0, next = 0;

	for (size_t i = 0; i < n; i++)
		if (life[i].from < life[i].to) {
			entry[used] = (struct entry){ life[i].from, life[i].n };
			life[used++] = life[i];
		}
	if (used) {
		qsort(life, used, sizeof *life, by_end);
		qsort(entry, used, sizeof *entry, by_number);	/* the age comes first in it */
		s.oldest = life[used - 1].to;
	}
	for (size_t i = 0; i < used;) {
		double age = life[i].to, ended = 0, gone = 0;

		for (; i < used && life[i].to == age; i++) {
			ended += life[i].ended ? life[i].n : 0;
			gone += life[i].n;
		}
		for (; next < used && entry[next].age < age; next++)
			entered += entry[next].n;
		if (ended > 0) {
			share *= 1 - ended / (entered - left);
			s.step[s.n++] = (struct survival_step){ age, ended, entered - left, share };
			s.ended += ended;
		}
		left += gone;
	}
	free(entry);
	return s;
}

double
survival_at(const struct survival *s, double age)
{
	size_t lo = 0, hi = s->n;

	while (lo < hi) {
		size_t mid = lo + (hi - lo) / 2;

		if (s->step[mid].age <= age)
			lo = mid + 1;
		else
			hi = mid;
	}
	return lo ? s->step[lo - 1].share : 1;
}

double
survival_due(const struct survival *s, double age, double more)
{
	double now = survival_at(s, age);

	return now > 0 ? 1 - survival_at(s, age + more) / now : 0;
}
