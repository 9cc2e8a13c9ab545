/* fuzz_csv.c - any bytes, any read size: no crash and no endless loop; cells lie
 * within the limits; lines never go back; and the records are the same when all
 * bytes come in one read. The first bytes choose separator, sizes and limits. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "parsers/bytes.h"
#include "parsers/csv.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
promise(int kept)
{
	if (!kept)
		abort();
}

static struct csv *
open_csv(struct bytes **b, const uint8_t *p, size_t n, size_t step, const uint8_t *choice)
{
	struct csv_options o = {
		.read_size = step, .row_limit = choice[1] & 0x80 ? 0 : 1 + choice[1],
		.cell_limit = choice[2] & 0x80 ? 0 : 1 + choice[2],
	};
	struct err e;
	struct csv *c;
	struct span head;

	*b = bytes_memory("fuzz", p, n, step, &e);
	if (!*b)
		return NULL;
	c = csv_open(*b, &o);
	if (choice[0] & 4) {
		struct csv_row row;

		if (csv_survey(c, &head, &e) < 0) {
			csv_close(c);
			bytes_close(*b);
			return NULL;
		}
		while (csv_next(c, &row, &e) > 0)
			;
	}
	csv_rewind(c, ",;\t,"[choice[0] & 3], choice[0] & 8);
	if (choice[0] & 4)
		csv_begin(c);
	return c;
}

static int
same(struct span a, struct span b)
{
	return a.n == b.n && (a.n == 0 || memcmp(a.p, b.p, a.n) == 0);
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct bytes *b[2];
	struct csv *c[2];
	struct csv_row row[2];
	enum csv_result got[2];
	struct err e;
	uint64_t line = 0;
	size_t limit;

	if (size < 4)
		return 0;
	limit = data[1] & 0x80 ? 65536 : 1u + data[1];
	c[0] = open_csv(&b[0], data + 4, size - 4, 1 + data[3] % 70, data);
	c[1] = open_csv(&b[1], data + 4, size - 4, 0, data);
	promise(!c[0] == !c[1]);
	while (c[0]) {
		for (int i = 0; i < 2; i++)
			got[i] = csv_next(c[i], &row[i], &e);
		promise(got[0] == got[1]);
		if (got[0] <= 0)
			break;
		promise(row[0].line == row[1].line && row[0].line > line);
		line = row[0].line;
		promise(same(row[0].raw, row[1].raw) && row[0].reason == row[1].reason);
		promise((got[0] == CSV_ASIDE) == (row[0].reason != NULL));
		promise(row[0].n == row[1].n && (row[0].n == 0) == (got[0] == CSV_ASIDE));
		/* one byte of Windows-1252 can become three of UTF-8 */
		promise(row[0].raw.n <= 3 * limit * CSV_KEEP);
		for (size_t i = 0; i < row[0].n; i++) {
			promise(same(row[0].cell[i], row[1].cell[i]));
			promise(row[0].cell[i].n <= 3 * limit);
		}
	}
	for (int i = 0; c[0] && i < 2; i++) {
		csv_close(c[i]);
		bytes_close(b[i]);
	}
	return 0;
}
