/* fuzz_reader.c - any file at any read size: no crash; the same rows, reasons and
 * errors and notes as in one read; a row that is taken has what its kind requires; a row that
 * is set aside can be given back to the reader under its header, and stays one. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/arena.h"
#include "parsers/reader.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
promise(int kept)
{
	if (!kept)
		abort();
}

static int
same(struct span a, struct span b)
{
	return a.n == b.n && (a.n == 0 || memcmp(a.p, b.p, a.n) == 0);
}

static void
required_are_there(enum file_kind kind, const struct row *row)
{
	switch (kind) {
	case FILE_EVENTS:
		promise(row->cell[COL_ACCOUNT].n && row->has_time && row->cell[COL_EVENT].n);
		promise(row->meaning.word < WORD_COUNT && row->meaning.hint < KIND_COUNT);
		promise(row->time.ms >= 0 && row->time.ms < 1000);
		break;
	case FILE_ROSTER:
		promise(row->cell[COL_ACCOUNT].n && row->kind != KIND_UNKNOWN);
		break;
	case FILE_PLAN:
		promise(row->cell[COL_SERIAL].n && row->has_visit);
		break;
	default:
		break;
	}
}

static void
again(const struct reader_info *info, const struct row *row)
{
	struct arena a = { 0 };
	struct span cell[COL_COUNT];

	reader_cells(&a, info->header, info->separator, row->raw, cell);
	arena_release(&a);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct reader *r[2];
	struct row row[2];
	enum read_result got[2];
	struct err e[2];

	if (size < 1)
		return 0;
	for (int i = 0; i < 2; i++) {
		struct reader_options o = { .read_size = i ? 4096 : 1 + data[0] % 70,
			.row_limit = 1000, .cell_limit = 500 };

		memset(&e[i], 0, sizeof e[i]);
		r[i] = reader_memory("fuzz", data + 1, size - 1, &o, &e[i]);
	}
	promise(!r[0] == !r[1]);
	if (!r[0]) {
		promise(strcmp(e[0].text, e[1].text) == 0 && *e[0].text);
		return 0;
	}
	for (;;) {
		for (int i = 0; i < 2; i++)
			got[i] = reader_next(r[i], &row[i], &e[i]);
		promise(got[0] == got[1]);
		if (got[0] <= 0)
			break;
		promise(row[0].line == row[1].line && row[0].reason == row[1].reason);
		promise(same(row[0].raw, row[1].raw));
		for (int c = 0; c < COL_COUNT; c++)
			promise(same(row[0].cell[c], row[1].cell[c]));
		promise(row[0].time.wall == row[1].time.wall &&
		    row[0].meaning.word == row[1].meaning.word);
		if (got[0] == READ_ROW)
			required_are_there(reader_info(r[0])->kind, &row[0]);
		else
			again(reader_info(r[0]), &row[0]);
	}
	if (got[0] == READ_END)
		promise(strcmp(reader_note(r[0]), reader_note(r[1])) == 0 &&
		    reader_info(r[0])->size == size - 1 &&
		    reader_info(r[0])->crc32 == reader_info(r[1])->crc32);
	reader_close(r[0]);
	reader_close(r[1]);
	return 0;
}
