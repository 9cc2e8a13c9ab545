/* test_block.c - what goes into a block comes out of it, and nothing else is taken. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/store/block.h"

static const uint8_t words[] = { 3, 7, 0 };
static const uint16_t marks[] = { 0, 512, 1024 };
static const struct block_base base = { .lo = 1790000000, .shift = 7200, .offset = 120,
	.word = words, .marks = marks, .n_cell = 3 };

static void
same_row(const struct block_row *a, const struct block_row *b)
{
	assert_int_equal(a->wall, b->wall);
	assert_int_equal(a->ms, b->ms);
	assert_int_equal(a->offset, b->offset);
	assert_int_equal(a->shift, b->shift);
	assert_int_equal(a->has_received, b->has_received);
	assert_int_equal(a->received, b->received);
	assert_int_equal(a->received_ms, b->received_ms);
	assert_int_equal(a->received_offset, b->received_offset);
	assert_int_equal(a->line, b->line);
	assert_int_equal(a->point, b->point);
	assert_int_equal(a->cell, b->cell);
	assert_int_equal(a->word, b->word);
	assert_int_equal(a->marks, b->marks);
	assert_int_equal(a->phrase, b->phrase);
	assert_true(span_eq(a->user, b->user));
	assert_true(span_eq(a->signal, b->signal));
	assert_true(span_eq(a->text, b->text));
}

static struct block_row
ordinary(void)
{
	return (struct block_row){ .wall = 1790000005, .shift = 7200, .offset = 120, .line = 2,
		.point = 1, .cell = 2, .word = 7, .marks = 512, .received_offset = 0 };
}

/* The text itself is what a person sees in the store. */
static void
written(void **state)
{
	struct block_row r[8];
	static const char *const want[] = {
		"[[2,1,2,5]]",
		"[[2,1,2,5,-3]]",
		"[[2,1,2,5,null,77]]",
		"[[2,1,2,5,40,\"a \\\"b\\\" \\\\ \\u000a\\u0001 \xc3\xa9\"]]",
		"[[2,1,2,-1790000005,null,null,{\"ms\":999,\"offset\":null,\"shift\":-5}]]",
		"[[2,1,2,5,0,null,{\"received_ms\":7,\"received_offset\":null,\"user\":\"3\"}]]",
		"[[2,1,2,5,null,null,{\"signal\":\"-71 dBm\",\"word\":3,\"marks\":0}]]",
		"[[2,1,9,5,null,null,{\"word\":7,\"marks\":512}]]",
	};

	(void)state;
	for (size_t i = 0; i < 8; i++)
		r[i] = ordinary();
	r[1].has_received = true;
	r[1].received = r[1].wall - 3;
	r[1].received_offset = 120;
	r[2].phrase = 77;
	r[3].has_received = true;
	r[3].received = r[3].wall + 40;
	r[3].received_offset = 120;
	r[3].text = SPAN("a \"b\" \\ \n\x01 \xc3\xa9");
	r[4].wall = -5;
	r[4].ms = 999;
	r[4].offset = OFFSET_NONE;
	r[4].shift = -5;
	r[5].has_received = true;
	r[5].received = r[5].wall;
	r[5].received_ms = 7;
	r[5].received_offset = OFFSET_NONE;
	r[5].user = SPAN("3");
	r[6].signal = SPAN("-71 dBm");
	r[6].word = 3;
	r[6].marks = 0;
	r[7].cell = 9;		/* no cell that the base knows */
	for (size_t i = 0; i < 8; i++) {
		struct block_text text = { 0 };
		struct block_row back[BLOCK_EVENTS];
		struct arena a = { 0 };

		block_add(&text, &base, &r[i], true);
		block_end(&text);
		assert_int_equal(text.n, strlen(want[i]));
		assert_memory_equal(text.p, want[i], text.n);
		assert_int_equal(block_read(&base, (struct span){ text.p, text.n }, &a, back), 1);
		same_row(&r[i], &back[0]);
		arena_release(&a);
		free(text.p);
	}
}

static uint64_t seed = 88172645463325252u;

static uint32_t
roll(uint32_t n)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return (uint32_t)((seed >> 32) * n >> 32);
}

static struct span
any_text(struct arena *a)
{
	size_t n = roll(3) ? 0 : roll(40);
	char *p = arena_take(a, n + 1);

	for (size_t i = 0; i < n; i++)
		p[i] = roll(4) ? (char)('a' + roll(26)) : "\"\\\n\t/,[]{}:\x01\x1f\x7f"[roll(14)];
	return (struct span){ p, n };
}

static void
round_trips(void **state)
{
	(void)state;
	for (int trial = 0; trial < 200; trial++) {
		struct block_row in[BLOCK_EVENTS], out[BLOCK_EVENTS];
		struct block_text text = { 0 };
		struct arena a = { 0 }, b = { 0 };
		int n = trial == 0 ? BLOCK_EVENTS : 1 + (int)roll(BLOCK_EVENTS);

		for (int i = 0; i < n; i++) {
			in[i] = ordinary();
			in[i].wall = (int64_t)roll(UINT32_MAX) - (roll(9) ? 0 : 60000000000);
			in[i].line = roll(UINT32_MAX);
			in[i].point = roll(100000);
			in[i].cell = 1 + roll(5);
			in[i].word = (uint8_t)roll(80);
			in[i].marks = (uint16_t)roll(65536);
			in[i].ms = (uint16_t)(roll(2) ? 0 : roll(1000));
			in[i].offset = (int16_t)(roll(3) ? 120 : roll(2) ? OFFSET_NONE : (int)roll(1600) - 800);
			in[i].shift = (int64_t)roll(100000) - 50000;
			in[i].has_received = roll(2);
			in[i].received_offset = in[i].has_received ? (int16_t)(roll(2) ? in[i].offset :
			    OFFSET_NONE) : 0;
			if (in[i].has_received) {
				in[i].received = in[i].wall + (int64_t)roll(1000) - 500;
				in[i].received_ms = (uint16_t)(roll(2) ? 0 : roll(1000));
			}
			in[i].user = any_text(&a);
			in[i].signal = any_text(&a);
			if (roll(2))
				in[i].text = any_text(&a);
			else
				in[i].phrase = roll(100000);
			block_add(&text, &base, &in[i], i == 0);
		}
		block_end(&text);
		assert_int_equal(block_read(&base, (struct span){ text.p, text.n }, &b, out), n);
		for (int i = 0; i < n; i++)
			same_row(&in[i], &out[i]);
		/* Cut anywhere, it is no block. */
		for (size_t cut = 0; trial < 3 && cut < text.n; cut++) {
			arena_reset(&b);
			assert_int_equal(block_read(&base, (struct span){ text.p, cut }, &b, out), -1);
		}
		arena_release(&a);
		arena_release(&b);
		free(text.p);
	}
}

static void
refuses(void **state)
{
	static const char *const bad[] = {
		"", "[", "[]", "[[]]", "[[1]]", "[[1,2,3]]", "[[1,2,3,x]]", "[[1,2,3,4]", "[[1,2,3,4]]]",
		"[[1,2,3,4],]", "[[1,2,3,4,5,6,7]]", "[[1,2,3,4,5,\"a]]", "[[1,2,3,4,5,\"a\\]]",
		"[[1,2,3,4,null,null,{}]]", "[[1,2,3,4,null,null,{\"what\":1}]]",
		"[[1,2,3,4,null,null,{\"ms\":}]]", "[[1,2,3,4,null,null,{\"user\":3}]]", "{}", " [[1,2,3,4]]",
	};
	struct block_text text = { 0 };
	struct block_row row = ordinary(), out[BLOCK_EVENTS];
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		if (block_read(&base, span_of(bad[i]), &a, out) != -1)
			print_error("taken: %s\n", bad[i]);
		assert_int_equal(block_read(&base, span_of(bad[i]), &a, out), -1);
	}
	for (int i = 0; i < BLOCK_EVENTS + 1; i++)	/* one more than a block holds */
		block_add(&text, &base, &row, i == 0);
	block_end(&text);
	assert_int_equal(block_read(&base, (struct span){ text.p, text.n }, &a, out), -1);
	free(text.p);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(written),
		cmocka_unit_test(round_trips),
		cmocka_unit_test(refuses),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
