/* fuzz_wordings.c - any file of wordings, over any event, text and device: no crash and
 * an answer soon; the same one for the same row; life safety stays life safety.
 *
 * Input: the wordings as a CSV, a zero byte, then lines "event|text|device". */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/arena.h"
#include "daemon/base/utf8.h"
#include "parsers/reader.h"
#include "parsers/wordings.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
promise(int kept)
{
	if (!kept)
		abort();
}

static struct span
cut(struct span *s, char at)
{
	const char *end = s->n ? memchr(s->p, at, s->n) : NULL;
	struct span head = { s->p, end ? (size_t)(end - s->p) : s->n };

	s->p += head.n + (end != NULL);
	s->n -= head.n + (end != NULL);
	return head;
}

/* At most a few rows: thousands of hard patterns are only slow. */
static struct wordings *
load(struct span text)
{
	struct err e = { 0 };
	struct reader *r = reader_memory("w.csv", text.p, text.n, NULL, &e);
	struct wordings *w = wordings_new("w.csv");
	struct row row;

	if (!r || reader_info(r)->kind != FILE_WORDINGS) {
		reader_close(r);
		return w;
	}
	for (int i = 0; i < 8 && reader_next(r, &row, &e) == READ_ROW; i++) {
		e.text[0] = '\0';
		if (wordings_add(w, row.line, row.cell[COL_WHAT], row.cell[COL_MATCH],
		    row.cell[COL_GIVES], &e) < 0)
			promise(*e.text);
	}
	reader_close(r);
	return w;
}

static void
one_row(struct wordings_run *r, struct span line)
{
	struct span cell = cut(&line, '|'), text = cut(&line, '|');
	struct meaning own, m[2] = { 0 };
	enum kind kind = KIND_COUNT, own_kind;
	const char *why[2];
	bool ours;

	if (!utf8_valid(cell) || !utf8_valid(text) || !utf8_valid(line))
		return;
	cell = span_trim(cell);
	ours = !code_meaning(cell, &own);
	for (int i = 0; i < 2; i++)
		why[i] = wordings_event(r, cell, text, &m[i]);
	promise(why[0] == why[1] && memcmp(&m[0], &m[1], sizeof m[0]) == 0);
	if (!why[0])
		promise(m[0].word < WORD_COUNT && m[0].hint < KIND_COUNT);
	if (ours && own.life)
		promise(!why[0] && m[0].word == own.word && m[0].life);
	if (!wordings_device(r, line, &kind))
		promise(kind < KIND_COUNT && (!kind_find(line, &own_kind) || !kind_is_life(own_kind) ||
		    kind == own_kind));
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct span rest = { (const char *)data, size };
	struct wordings *w = load(cut(&rest, '\0'));
	struct wordings_run *r = wordings_run_new(w);
	struct wordings_counts n;
	struct arena a = { 0 };

	for (int i = 0; i < 16 && rest.n; i++)
		one_row(r, cut(&rest, '\n'));
	wordings_count(r, &a, &n);
	for (size_t i = 0; i + 1 < n.n_text; i++)
		promise(n.text[i].rows >= n.text[i + 1].rows);
	arena_release(&a);
	wordings_run_free(r);
	wordings_free(w);
	return 0;
}
