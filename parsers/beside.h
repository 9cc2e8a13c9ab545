/* beside.h - what stands in a file beside its rows.
 *
 * Passed over, counted, and said once a file; no rows, and not set aside:
 * - the lines above the header: titles, a spreadsheet's "sep=;";
 * - the header once more, and these lines once more, where files were joined (a
 *   byte-order mark in front does not count);
 * - a row count: a record that is no readable row and holds one number, which is just
 *   the number of records since the header or in the file, and a word that goes with it,
 *   English or German ("Total: 1,204", "(1204 rows)", "1204;Zeilen").
 */
#ifndef PARSERS_BESIDE_H
#define PARSERS_BESIDE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/base/arena.h"
#include "daemon/base/span.h"

/* The header is looked for in the first records, up to this many of them above it. */
enum { BESIDE_ABOVE = 20 };

struct beside {
	struct span header, above[BESIDE_ABOVE];	/* as read; lent by the caller */
	size_t      n_above;
	uint64_t    since, all;			/* records since the header, in the file */
	uint64_t    n_title, n_header, n_count;	/* passed over */
};

/* One record below the header: true if it is passed over. `readable`: it is a row. */
bool beside_rows(struct beside *b, struct span raw, bool readable);
/* "2 lines above the header, 1 row count"; "" if nothing was passed over. Lent by `a`. */
const char *beside_text(struct arena *a, const struct beside *b);

#endif
