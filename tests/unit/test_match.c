#include "rules/match.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
distance(void **state)
{
	static const struct { const char *a, *b; unsigned d; } row[] = {
		{ "KITTEN", "SITTING", 3 },	/* textbook example, from memory */
		{ "CA", "ABC", 3 },		/* textbook: optimal alignment 3, unrestricted 2 */
		{ "386", "368", 1 },		/* a published anecdote of a swapped account number */
		{ "", "", 0 },
		{ "A", "", 1 },
		{ "", "AB", 2 },
		{ "12345678", "12345678", 0 },
		{ "12345678", "12345688", 1 },
		{ "12345678", "12354678", 1 },
		{ "12345678", "1234678", 1 },
		{ "12345678", "123455678", 1 },
		{ "12345678", "21346578", 2 },
		{ "11", "11", 0 },
		{ "00123456", "123456", 0 },	/* the panel dropped the zeros */
		{ "00123456", "123457", 1 },
		{ "0123", "1023", 1 },		/* same length: zeros count */
		{ "AAAA", "BBBB", 4 },
	};
	char longest[MATCH_SERIAL_MAX + 2], other[MATCH_SERIAL_MAX + 2];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		assert_int_equal(match_distance(row[i].a, row[i].b), row[i].d);
		assert_int_equal(match_distance(row[i].b, row[i].a), row[i].d);
	}
	memset(longest, 'A', sizeof longest);
	memset(other, 'B', sizeof other);
	longest[MATCH_SERIAL_MAX] = other[MATCH_SERIAL_MAX] = '\0';
	assert_int_equal(match_distance(longest, other), MATCH_SERIAL_MAX);
	longest[MATCH_SERIAL_MAX] = 'A';
	longest[MATCH_SERIAL_MAX + 1] = '\0';
	assert_int_equal(match_distance(longest, longest), 0);
	assert_int_equal(match_distance(longest, "A"), MATCH_SERIAL_MAX + 1);
}

static void
likelier_first(void **state)
{
	(void)state;
	/* Fewer edits always win; among equals the commoner mistake, then the look-alike. */
	assert_true(match_cost("1234", "1235") < match_cost("1234", "1243"));
	assert_true(match_cost("1234", "1235") < match_cost("1234", "123"));
	assert_true(match_cost("1234", "123") < match_cost("1234", "1243"));
	assert_true(match_cost("123B", "1238") < match_cost("123B", "1239"));
	assert_true(match_cost("1234", "1243") < match_cost("1234", "1256"));
	assert_true(match_cost("1234", "1234") <= 0);
}

static void
describe(void **state)
{
	static const struct { const char *expected, *heard, *text; } row[] = {
		{ "12345678", "12345698", "differs in digit 7 of 8" },
		{ "4A007112", "4A007192", "differs in character 7 of 8" },
		{ "12345678", "12435678", "digits 3 and 4 of 8 swapped" },
		{ "12345678", "1234678", "digit 5 of 8 missing" },
		{ "12345678", "123495678", "one digit too many after digit 4 of 8" },
		{ "12345678", "912345678", "one digit too many in front" },
		{ "12345678", "2345678", "digit 1 of 8 missing" },
		{ "12345678", "1234567", "digit 8 of 8 missing" },
		{ "4B0071", "480071", "differs in character 2 of 6 (B read as 8)" },
		{ "12345678", "92345679", "differs in digit 1 of 8; differs in digit 8 of 8" },
		{ "12345678", "12345678", "the same" },
		/* Places are those on the sticker, zeros and all. */
		{ "00123456", "123457", "differs in digit 8 of 8" },
		{ "00123456", "00123457", "differs in digit 8 of 8" },
		{ "00123456", "0012346", "digit 7 of 8 missing" },
		{ "123456", "00123457", "differs in digit 6 of 6" },
		{ "00123456", "123456", "the same" },
		{ "", "", "the same" },
		{ "", "7", "one digit too many in front" },
	};
	struct arena a = { 0 };
	char longest[MATCH_SERIAL_MAX + 2];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++)
		assert_string_equal(match_describe(&a, row[i].expected, row[i].heard), row[i].text);
	memset(longest, 'A', sizeof longest);
	longest[MATCH_SERIAL_MAX + 1] = '\0';
	assert_string_equal(match_describe(&a, longest, "A"), "differs; too long to say where");
	assert_string_equal(match_describe(&a, longest, longest), "the same");
	arena_release(&a);
}

static void
apart(void **state)
{
	static const struct { const char *a, *b; long d; } row[] = {
		{ "4A0071", "4A0072", 1 },
		{ "4A0072", "4A0071", 1 },
		{ "4A009F", "4A00A0", 1 },	/* hexadecimal by its letter */
		{ "120099", "120100", 1 },
		{ "1200", "1200", 0 },
		{ "12", "34", 22 },
		{ "5A0071", "4A0071", -1 },
		{ "4A0071", "4A071", -1 },
		{ "00123456", "123457", 1 },
		{ "4A00Z1", "4A0071", -1 },
		{ "", "", 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++)
		assert_int_equal(match_apart(row[i].a, row[i].b), row[i].d);
}

static double
total(size_t rows, size_t cols, const double *cost, const int *col_of)
{
	double sum = 0;
	bool used[16] = { false };
	size_t given = 0;

	for (size_t r = 0; r < rows; r++) {
		if (col_of[r] < 0)
			continue;
		assert_true((size_t)col_of[r] < cols);
		assert_false(used[col_of[r]]);
		used[col_of[r]] = true;
		given++;
		sum += cost[r * cols + (size_t)col_of[r]];
	}
	assert_int_equal(given, rows < cols ? rows : cols);
	return sum;
}

/* Every way, for small sizes: rows may be skipped when there are more rows than columns. */
static double
best(size_t rows, size_t cols, const double *cost, size_t row, unsigned used, size_t left)
{
	double least = INFINITY;

	if (left == 0)
		return 0;
	if (rows - row < left)
		return INFINITY;
	if (rows - row > left)
		least = best(rows, cols, cost, row + 1, used, left);
	for (size_t c = 0; c < cols; c++)
		if (!(used & 1u << c))
			least = fmin(least, cost[row * cols + c]
			    + best(rows, cols, cost, row + 1, used | 1u << c, left - 1));
	return least;
}

static void
assign(void **state)
{
	/* Taking the cheapest pair first (0 with 0) would cost 1 + 100. */
	static const double trap[] = { 1, 2, 2, 100 };
	uint32_t seed = 7;
	int room[17], *col = room + 1;

	(void)state;
	room[0] = 77;		/* nobody is told of the columns left over */
	match_assign(2, 2, trap, col);
	assert_int_equal(col[0], 1);
	assert_int_equal(col[1], 0);
	match_assign(0, 3, NULL, col);
	match_assign(2, 0, NULL, col);
	assert_int_equal(col[0], -1);
	assert_int_equal(col[1], -1);

	for (int round = 0; round < 3000; round++) {
		double cost[36];
		size_t rows, cols;

		seed = seed * 1664525u + 1013904223u;
		rows = 1 + (seed >> 16) % 5;
		cols = 1 + (seed >> 24) % 5;
		for (size_t i = 0; i < rows * cols; i++) {
			seed = seed * 1664525u + 1013904223u;
			/* Small whole numbers: many ties, and negative ones too. */
			cost[i] = (double)((seed >> 20) % 9) - 3;
		}
		match_assign(rows, cols, cost, col);
		assert_true(fabs(total(rows, cols, cost, col)
		    - best(rows, cols, cost, 0, 0, rows < cols ? rows : cols)) < 1e-9);
	}
	assert_int_equal(room[0], 77);
}

static void
assign_large(void **state)
{
	enum { N = 200 };
	double *cost = x_calloc((size_t)N * N, sizeof *cost);
	int col[N];

	(void)state;
	for (size_t r = 0; r < N; r++)
		for (size_t c = 0; c < N; c++)
			cost[r * N + c] = (double)((r + 1) * (c + 1));
	/* The least sum of products pairs the largest with the smallest. */
	match_assign(N, N, cost, col);
	for (int r = 0; r < N; r++)
		assert_int_equal(col[r], N - 1 - r);
	free(cost);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(distance),
		cmocka_unit_test(likelier_first),
		cmocka_unit_test(describe),
		cmocka_unit_test(apart),
		cmocka_unit_test(assign),
		cmocka_unit_test(assign_large),
	};

	return cmocka_run_group_tests_name("match", tests, NULL, NULL);
}
