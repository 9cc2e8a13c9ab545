/* base/arena and base/err: memory that stays apart, texts that stay whole. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/arena.h"
#include "daemon/base/err.h"

static void
apart(void **state)
{
	enum { N = 3000 };
	static unsigned char *at[N];
	static size_t size[N];
	struct arena a = { 0 };

	(void)state;
	for (int round = 0; round < 3; round++) {
		uint64_t seed = 88172645463325252u + (unsigned)round;

		for (int i = 0; i < N; i++) {
			seed ^= seed << 13;
			seed ^= seed >> 7;
			seed ^= seed << 17;
			size[i] = i % 100 ? seed % 200 : seed % 200000;
			at[i] = arena_take(&a, size[i]);
			assert_int_equal((uintptr_t)at[i] % 16, 0);
			for (size_t k = 0; k < size[i]; k++)
				assert_int_equal(at[i][k], 0);
			memset(at[i], i & 0xff, size[i]);
			/* knocks the next one off its place */
			arena_bytes(&a, "x", i % 3 ? 1 : 0);
		}
		for (int i = 0; i < N; i++) {
			for (size_t k = 0; k < size[i]; k++)
				assert_int_equal(at[i][k], i & 0xff);
		}
		arena_reset(&a);
	}
	assert_true(a.total > 0);
	arena_release(&a);
	assert_null(a.head);
	assert_int_equal(a.total, 0);
	arena_reset(&a);
	arena_release(&a);
}

static void
texts(void **state)
{
	struct arena a = { 0 };
	char *big;

	(void)state;
	assert_string_equal(arena_text(&a, SPAN("hello")), "hello");
	assert_string_equal(arena_text(&a, (struct span){ NULL, 0 }), "");
	assert_string_equal(arena_text(&a, (struct span){ "hello", 2 }), "he");
	assert_memory_equal(arena_bytes(&a, "a\0b", 3), "a\0b", 4);
	assert_string_equal(arena_fmt(&a, "%d %s", 7, "x"), "7 x");
	assert_string_equal(arena_fmt(&a, "%s", ""), "");
	big = arena_fmt(&a, "%0*d", 200000, 1);
	assert_int_equal(strlen(big), 200000);
	assert_int_equal(big[199999], '1');
	arena_release(&a);
}

static void
growth(void **state)
{
	int *p = NULL;
	size_t cap = 0, before;

	(void)state;
	for (int i = 0; i < 100000; i++) {
		p = x_grow(p, &cap, (size_t)i + 1, sizeof *p);
		assert_true(cap > (size_t)i);
		p[i] = i;
	}
	for (int i = 0; i < 100000; i++)
		assert_int_equal(p[i], i);
	before = cap;
	assert_ptr_equal(x_grow(p, &cap, 5, sizeof *p), p);
	assert_int_equal(cap, before);
	free(p);
	free(x_alloc(0));
	free(x_calloc(0, 8));
}

static void
errors(void **state)
{
	struct err e = { 0 };
	char path[600];

	(void)state;
	assert_int_equal(err_set(&e, ERR_DATA, "a.csv", 12, "bad %s", "row"), -1);
	assert_string_equal(e.text, "a.csv:12: bad row");
	assert_int_equal(e.code, ERR_DATA);
	assert_int_equal(err_wrap(&e, "reading %d", 3), -1);
	assert_string_equal(e.text, "reading 3: a.csv:12: bad row");
	err_set(&e, ERR_IO, "a.csv", 0, "gone");
	assert_string_equal(e.text, "a.csv: gone");
	err_set(&e, ERR_USAGE, NULL, 0, "what?");
	assert_string_equal(e.text, "what?");
	/* a long path leaves room for what is wrong with it */
	memset(path, 'p', sizeof path);
	path[sizeof path - 1] = '\0';
	err_set(&e, ERR_IO, path, 7, "cannot open");
	assert_non_null(strstr(e.text, ":7: cannot open"));
	assert_true(strlen(e.text) < sizeof e.text);
	for (int i = 0; i < 100; i++)
		err_wrap(&e, "%s", path);
	assert_int_equal(strlen(e.text), sizeof e.text - 1);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(apart),
		cmocka_unit_test(texts),
		cmocka_unit_test(growth),
		cmocka_unit_test(errors),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
