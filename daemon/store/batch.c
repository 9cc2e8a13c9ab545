/* batch.c - a batch into the order in which it will be stored. */
#include <stdlib.h>
#include <string.h>

#include "daemon/store/write.h"

/* How many rows ahead memory is asked for what will be copied. */
enum { AHEAD = 12 };

/* One stable pass over 11 bits; says so when all keys agree and nothing moved. */
static bool
radix_pass(const uint32_t *key, int shift, const uint32_t *from, uint32_t *to, size_t n)
{
	size_t count[2048] = { 0 }, sum = 0;

	for (size_t i = 0; i < n; i++)
		count[key[from[i]] >> shift & 2047]++;
	if (count[key[from[0]] >> shift & 2047] == n)
		return false;
	for (size_t d = 0; d < 2048; d++) {
		size_t c = count[d];

		count[d] = sum;
		sum += c;
	}
	for (size_t i = 0; i < n; i++)
		to[count[key[from[i]] >> shift & 2047]++] = from[i];
	return true;
}

static void
radix_sort(uint32_t *key, uint32_t **order, uint32_t **spare, size_t n)
{
	for (int shift = 0; shift < 32; shift += 11) {
		if (radix_pass(key, shift, *order, *spare, n)) {
			uint32_t *t = *order;

			*order = *spare;
			*spare = t;
		}
	}
}

/* spare->order = rows [from, to) by (account, piece, wall), those of one wall oldest first.
 * Rows of failed files lose their account and so come first. */
static void
order_rows(struct batch *b, size_t from, size_t to, bool pieces, struct batch_spare *s)
{
	size_t n = to - from;
	int64_t least = INT64_MAX, greatest = INT64_MIN;

	for (size_t i = 0; i < n; i++) {
		struct event_in *r = &b->row[from + i];

		const struct piece *p = &b->piece[r->piece];
		size_t begin = p->row - from;

		if (p->failed)
			r->acct = NULL;
		least = r->wall < least ? r->wall : least;
		greatest = r->wall > greatest ? r->wall : greatest;
		s->order[p->newest_first ? begin + p->n_row - 1 - (i - begin) : i] = (uint32_t)i;
	}
	for (size_t i = 0; i < n; i++)
		s->key[i] = (uint32_t)(b->row[from + i].wall - least);
	radix_sort(s->key, &s->order, &s->other, n);
	if (greatest - least > UINT32_MAX) {	/* walls more than 136 years apart */
		for (size_t i = 0; i < n; i++)
			s->key[i] = (uint32_t)((b->row[from + i].wall - least) >> 32);
		radix_sort(s->key, &s->order, &s->other, n);
	}
	if (pieces) {
		for (size_t i = 0; i < n; i++)
			s->key[i] = b->row[from + i].piece;
		radix_sort(s->key, &s->order, &s->other, n);
	}
	for (size_t i = 0; i < n; i++)
		s->key[i] = b->row[from + i].acct ? b->row[from + i].acct->index + 1 : 0;
	radix_sort(s->key, &s->order, &s->other, n);
}

/* Copies rows [from, to) with their texts behind what has been copied already. */
static size_t
move_rows(const struct batch *b, size_t from, size_t to, struct batch_spare *s, size_t n_text)
{
	for (size_t i = 0; i < to - from; i++) {
		struct event_in *r = &s->row[from + i];
		size_t size = RT_COUNT;

		if (i + 2 * AHEAD < to - from) {
			const struct event_in *soon = &b->row[from + s->order[i + 2 * AHEAD]];

			__builtin_prefetch(soon);
			__builtin_prefetch((const char *)soon + 64);
			__builtin_prefetch(b->text + b->row[from + s->order[i + AHEAD]].text);
		}
		*r = b->row[from + s->order[i]];
		for (int t = 0; t < RT_COUNT; t++)
			size += r->n[t];
		memcpy(s->text + n_text, b->text + r->text, size);
		r->text = (uint32_t)n_text;
		n_text += size;
	}
	return n_text;
}

/* The end of the group of pieces that begins at `i`: whole files, or one part. */
static size_t
group_end(const struct batch *b, size_t i)
{
	size_t j = i + 1;

	if (b->piece[i].begins && b->piece[i].ends)
		while (j < b->n_piece && b->piece[j].begins && b->piece[j].ends)
			j++;
	return j;
}

void
batch_sort(struct batch *b, struct batch_spare *s)
{
	size_t n_text = 0, cap = s->cap_order, cap_other = s->cap_order;

	s->row = x_grow(s->row, &s->cap_row, b->n_row + 1, sizeof *s->row);
	s->text = x_grow(s->text, &s->cap_text, b->n_text + 1, 1);
	s->order = x_grow(s->order, &cap, b->n_row + 1, sizeof *s->order);
	s->other = x_grow(s->other, &cap_other, b->n_row + 1, sizeof *s->other);
	s->key = x_grow(s->key, &s->cap_order, b->n_row + 1, sizeof *s->key);
	for (size_t i = 0, j; i < b->n_piece; i = j) {
		const struct piece *last;
		size_t from = b->piece[i].row, to;

		j = group_end(b, i);
		last = &b->piece[j - 1];
		to = last->row + last->n_row;
		if (from == to)
			continue;
		order_rows(b, from, to, j - i > 1, s);
		n_text = move_rows(b, from, to, s, n_text);
	}
	/* Set-aside rows keep their texts behind. */
	for (size_t i = 0; i < b->n_aside; i++) {
		struct aside_in *a = &b->aside[i];

		memcpy(s->text + n_text, b->text + a->raw, a->n_raw);
		a->raw = (uint32_t)n_text;
		n_text += a->n_raw;
	}
	struct batch old = *b;

	b->row = s->row;
	b->cap_row = s->cap_row;
	b->text = s->text;
	b->cap_text = s->cap_text;
	b->n_text = n_text;
	s->row = old.row;
	s->cap_row = old.cap_row;
	s->text = old.text;
	s->cap_text = old.cap_text;
}

void
batch_spare_release(struct batch_spare *s)
{
	free(s->row);
	free(s->text);
	free(s->order);
	free(s->other);
	free(s->key);
	*s = (struct batch_spare){ 0 };
}

void
batch_release(struct batch *b)
{
	free(b->row);
	free(b->aside);
	free(b->piece);
	free(b->text);
	*b = (struct batch){ 0 };
}
