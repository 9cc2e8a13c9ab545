/* test_batch.c - a batch into the order in which it is stored. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/arena.h"
#include "daemon/store/write.h"

static struct acct a0 = { .index = 0 }, a1 = { .index = 1 }, a2 = { .index = 2 };

struct given { uint32_t piece; struct acct *acct; int64_t wall; };
/* `n_row` follows from the rows. */
struct given_piece { bool begins, ends, failed, newest; };

static void
add(struct batch *b, const struct given *g, uint32_t n)
{
	struct event_in *r;

	b->row = x_grow(b->row, &b->cap_row, b->n_row + 1, sizeof *b->row);
	r = &b->row[b->n_row++];
	*r = (struct event_in){ .acct = g->acct, .wall = g->wall, .piece = g->piece, .line = n,
	    .text = (uint32_t)b->n_text };
	/* Six texts, of which the first says which row it is, and the last is long. */
	b->text = x_grow(b->text, &b->cap_text, b->n_text + 64, 1);
	memset(b->text + b->n_text, 0, 64);
	b->text[b->n_text] = (char)('a' + n);
	memset(b->text + b->n_text + 6, 'A' + (int)n, n);
	r->n[RT_PARTITION] = 1;
	r->n[RT_SIGNAL] = (uint16_t)n;
	b->n_text += 7 + n;
}

static const struct {
	const char *what;
	struct given_piece piece[4];
	struct given row[8];
	const char *want;	/* rows by name, '|' before one of another account or piece */
} table[] = {
	{ "by account, then piece, then wall", { { true, true, 0, 0 }, { true, true, 0, 0 } },
	  { { 0, &a1, 5 }, { 0, &a0, 9 }, { 0, &a0, 3 }, { 1, &a0, 1 }, { 1, &a1, 7 }, { 1, &a1, 2 } },
	  "cb|d|a|fe" },
	{ "file order where walls are equal", { { true, true, 0, 0 } },
	  { { 0, &a0, 5 }, { 0, &a1, 5 }, { 0, &a0, 5 }, { 0, &a0, 4 }, { 0, &a0, 5 } }, "dace|b" },
	{ "turned round in a newest-first file", { { true, true, 0, 1 }, { true, true, 0, 0 } },
	  { { 0, &a0, 5 }, { 0, &a0, 5 }, { 0, &a0, 4 }, { 1, &a0, 5 }, { 1, &a0, 5 } }, "cba|de" },
	{ "failed files come first, without account", { { true, true, 0, 0 }, { true, true, 1, 0 } },
	  { { 0, &a0, 5 }, { 1, &a1, 4 }, { 1, &a0, 9 } }, "bc|a" },
	{ "a part for itself, then whole files", { { false, true, 0, 0 }, { true, true, 0, 0 },
	    { true, true, 0, 0 } },
	  { { 0, &a2, 9 }, { 0, &a1, 8 }, { 1, &a2, 1 }, { 2, &a0, 1 } }, "b|a|d|c" },
	{ "each part for itself", { { true, false, 0, 0 }, { true, true, 0, 0 } },
	  { { 0, &a1, 9 }, { 1, &a0, 1 } }, "a|b" },
	{ "centuries apart", { { true, true, 0, 0 } },
	  { { 0, &a0, INT64_C(253402300799) }, { 0, &a0, 1790000001 }, { 0, &a0, -INT64_C(62167219200) },
	    { 0, &a0, 1790000000 }, { 0, &a0, -INT64_C(11644473600) } }, "cedba" },
	{ "exactly 2^32 and one apart", { { true, true, 0, 0 } },
	  { { 0, &a0, INT64_C(4294967296) }, { 0, &a0, INT64_C(4294967295) }, { 0, &a0, 0 },
	    { 0, &a0, 1 } }, "cdba" },
};

static void
order(void **state)
{
	struct batch_spare spare = { 0 };
	struct batch b = { 0 };

	(void)state;
	for (size_t t = 0; t < sizeof table / sizeof *table; t++) {
		char got[32] = "";
		size_t n = 0;
		struct piece *p;

		b.n_row = b.n_piece = b.n_text = b.n_aside = 0;
		for (uint32_t i = 0; table[t].row[i].acct; i++) {
			const struct given *g = &table[t].row[i];
			const struct given_piece *q = &table[t].piece[g->piece];

			if (b.n_piece <= g->piece) {
				b.piece = x_grow(b.piece, &b.cap_piece, b.n_piece + 1, sizeof *b.piece);
				b.piece[b.n_piece++] = (struct piece){ .begins = q->begins, .ends = q->ends,
				    .failed = q->failed, .newest_first = q->newest, .row = b.n_row };
			}
			b.piece[g->piece].n_row++;
			add(&b, g, i);
		}
		/* A set-aside row keeps its text. */
		b.aside = x_grow(b.aside, &b.cap_aside, 1, sizeof *b.aside);
		b.aside[0] = (struct aside_in){ 9, (uint32_t)b.n_text, 4, "why" };
		b.n_aside = 1;
		b.text = x_grow(b.text, &b.cap_text, b.n_text + 4, 1);
		memcpy(b.text + b.n_text, "raw!", 4);
		b.n_text += 4;

		batch_sort(&b, &spare);
		for (size_t i = 0; i < b.n_row; i++) {
			const struct event_in *r = &b.row[i];
			const char *text = b.text + r->text;

			if (i && (r[-1].acct != r->acct || (r->acct && r[-1].piece != r->piece)))
				got[n++] = '|';
			got[n++] = text[0];
			/* Its texts have come along, each with its end. */
			assert_int_equal(text[0] - 'a', r->line);
			assert_int_equal(strspn(text + 6, (char[]){ (char)('A' + (int)r->line), 0 }), r->line);
			assert_int_equal(text[6 + r->line], 0);
			p = &b.piece[r->piece];
			assert_true(!p->failed || !r->acct);
		}
		print_message("%s\n", table[t].what);
		assert_string_equal(got, table[t].want);
		assert_memory_equal(b.text + b.aside[0].raw, "raw!", 4);
	}
	batch_spare_release(&spare);
	batch_release(&b);
}

int
main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(order) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
