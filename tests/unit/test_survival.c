#include "rules/survival.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
near(double got, double want, double tolerance, const char *what)
{
	if (!(fabs(got - want) <= tolerance))
		fail_msg("%s: got %.9g, want %.9g", what, got, want);
}

/* The example of Kaplan and Meier 1958 (from memory): eight items, deaths at 0.8, 3.1, 5.4 and
 * 9.2, losses at 1.0, 2.7, 7.0 and 12.1; 7/8, 7/10, 21/40, 21/80 survive. */
static void
kaplan_meier(void **state)
{
	struct life life[] = {
		{ 0, 12.1, false, 1 }, { 0, 0.8, true, 1 }, { 0, 1.0, false, 1 }, { 0, 2.7, false, 1 },
		{ 0, 3.1, true, 1 }, { 0, 5.4, true, 1 }, { 0, 7.0, false, 1 }, { 0, 9.2, true, 1 },
	};
	struct arena a = { 0 };
	struct survival s = survival_of(&a, life, COUNT(life));

	(void)state;
	assert_int_equal(s.n, 4);
	near(survival_at(&s, 0.79), 1, 0, "before the first");
	near(survival_at(&s, 0.8), 7.0 / 8, 1e-12, "at 0.8");
	near(survival_at(&s, 3.1), 7.0 / 10, 1e-12, "at 3.1");
	near(survival_at(&s, 5.4), 21.0 / 40, 1e-12, "at 5.4");
	near(survival_at(&s, 9.2), 21.0 / 80, 1e-12, "at 9.2");
	near(survival_at(&s, 100), 21.0 / 80, 1e-12, "after all");
	near(s.ended, 4, 0, "ended");
	near(s.oldest, 12.1, 0, "watched to");
	near(survival_due(&s, 4, 2), 1 - (21.0 / 40) / (7.0 / 10), 1e-12, "due within 2 of 4");
	near(survival_due(&s, 4, 1), 0, 1e-12, "none within 1 of 4");
	arena_release(&a);
}

/* Remission of leukaemia under treatment, weeks: E. J. Freireich and others, Blood 21 (1963)
 * 699-716, the example of most textbooks (from memory). */
static void
remissions(void **state)
{
	static const double ended[] = { 6, 6, 6, 7, 10, 13, 16, 22, 23 };
	static const double seen[] = { 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35 };
	static const struct { double age, share, at_risk; } want[] = {
		{ 6, 0.857, 21 }, { 7, 0.807, 17 }, { 10, 0.753, 15 }, { 13, 0.690, 12 },
		{ 16, 0.627, 11 }, { 22, 0.538, 7 }, { 23, 0.448, 6 },
	};
	struct life life[COUNT(ended) + COUNT(seen)];
	struct arena a = { 0 };
	struct survival s;

	(void)state;
	for (size_t i = 0; i < COUNT(ended); i++)
		life[i] = (struct life){ 0, ended[i], true, 1 };
	for (size_t i = 0; i < COUNT(seen); i++)
		life[COUNT(ended) + i] = (struct life){ 0, seen[i], false, 1 };
	s = survival_of(&a, life, COUNT(life));
	assert_int_equal(s.n, COUNT(want));
	for (size_t i = 0; i < COUNT(want); i++) {
		near(s.step[i].age, want[i].age, 0, "age");
		near(s.step[i].share, want[i].share, 5e-4, "share");
		near(s.step[i].at_risk, want[i].at_risk, 0, "at risk");
	}
	arena_release(&a);
}

/* Late entry, by hand: two of four come under watch at 3 and 5. At 2 one of two ends (1/2), at
 * 4 one of the two now at risk (1/4), at 6 the last entry of one (0). */
static void
late_entry(void **state)
{
	struct life life[] = {
		{ 0, 2, true, 1 }, { 0, 5, false, 1 }, { 3, 4, true, 1 }, { 5, 6, true, 1 },
		{ 7, 7, true, 1 }, { 8, 7.5, true, 1 },	/* never under watch */
	};
	struct arena a = { 0 };
	struct survival s = survival_of(&a, life, COUNT(life));

	(void)state;
	assert_int_equal(s.n, 3);
	near(survival_at(&s, 2), 0.5, 1e-12, "at 2");
	near(survival_at(&s, 4), 0.25, 1e-12, "at 4");
	near(survival_at(&s, 6), 0, 1e-12, "at 6");
	near(survival_due(&s, 6, 1), 0, 0, "nobody left");
	near(survival_due(&s, 3, 2), 0.5, 1e-12, "of the survivors");
	arena_release(&a);
}

static void
weights(void **state)
{
	struct life many[] = { { 0, 1, true, 30 }, { 0, 2, false, 70 } };
	struct arena a = { 0 };
	struct survival s = survival_of(&a, many, COUNT(many));

	(void)state;
	near(survival_at(&s, 1), 0.7, 1e-12, "30 of 100");
	near(s.ended, 30, 0, "ended");
	s = survival_of(&a, NULL, 0);
	near(survival_at(&s, 5), 1, 0, "nothing known");
	near(survival_due(&s, 5, 5), 0, 0, "nothing known");
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(kaplan_meier),
		cmocka_unit_test(remissions),
		cmocka_unit_test(late_entry),
		cmocka_unit_test(weights),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
