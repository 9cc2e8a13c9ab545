/* cells.h - names of battery cells folded to one key, and how many.
 *
 * People write the same cell in many ways: "CR123", "2 x CR123A", "CR17345 (2)". Names
 * of one chemistry and size are one key; other chemistries stay apart, however alike
 * they look: a lithium cell of AA size is no AA.
 */
#ifndef RULES_CELLS_H
#define RULES_CELLS_H

#include "daemon/base/arena.h"

struct cell {
	const char *key;	/* "CR123A"; a name not in the table in capitals; "" = not given */
	const char *label;	/* for people: "CR123A (lithium 3 V)"; the key when not in the table */
	int         count;	/* "2 x AA" = 2; 0 = not said; up to 99 */
};

/* Texts are static or the arena's. */
struct cell cell_fold(struct arena *a, const char *text);

#endif
