/* board.h - the ranked findings as a page for a desk: board.html.
 *
 * What needs a person now, what is new, what goes on, what cleared; each finding once, in
 * the order of lists. It is read whole without its script (board.js), which adds filters,
 * sorting, keys, and a decisions file made on the page. For monitoring staff: what must not
 * lie in a house (silent.h) stands on it in full.
 */
#ifndef DAEMON_REPORT_BOARD_H
#define DAEMON_REPORT_BOARD_H

#include "daemon/report/digest.h"
#include "daemon/report/html.h"

/* So many rows at most; beyond them only what is at `now` or of life safety, and the page
 * says what is left out and where it stands. Measured with 5,000 rows (7 MB) on two busy
 * cores: the page opens in about a second, a key in the filter is answered in 0.2 s, all
 * rows are back in 0.4 s, and sorted in 0.4 s. */
enum { BOARD_ROWS = 5000 };

/* All borrowed. */
struct board {
	const struct stored_finding *finding;	/* in the order of lists, cleared ones last */
	size_t                       n_finding;
	const struct text_zone      *zone;	/* each finding's own clock */
	const enum digest_change    *change;	/* of each against the last night; NULL = by state */
	const char                  *filter;	/* "only account 1042"; "" = nothing left out */
	const char                  *rest;	/* where those stand that are left out */
	const char                  *since;	/* against what "new" is meant; "" = not told */
	const char                  *alert;	/* stands first, as it is; "" = nothing */
	const struct account_info   *uncovered;	/* no data of the last 3 days */
	size_t                       n_uncovered;
	const struct account_info   *behind;	/* of sites, not covered up to `expected` */
	size_t                       n_behind;
	int64_t                      expected;
	const struct digest_failed  *failed;	/* files that could not be taken in */
	size_t                       n_failed;
	int64_t                      open[3];	/* findings by level, whatever the filter */
	int64_t                      accounts, cover_from, cover_to, due;
	int64_t                      at;	/* wall clock */
	bool                         beside;	/* the other pages of a night lie beside it */
	struct html_sites            sites;
};

void board_html(struct page *p, const struct board *b);

#endif
