/* notes.h - cautions told once a page, and pointed to by a letter where they hold.
 *
 * CARE_LIFE has no letter: it stands first on every page that mentions a
 * life-safety device, and holds for whatever is marked LIFE SAFETY.
 */
#ifndef DAEMON_REPORT_NOTES_H
#define DAEMON_REPORT_NOTES_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/report/html.h"

struct notes {
	bool        life;
	const char *text[26];	/* borrowed */
	size_t      n;
};

/* Takes up the cautions of one finding. */
void notes_add(struct notes *n, bool life, const char *const *caution, size_t n_caution);
/* The letters of one finding's cautions, "a, c"; "" if none. A 27th kind of caution is
 * given in full. Lent by the page. */
const char *notes_letters(const struct notes *n, struct page *p, const char *const *caution,
    size_t n_caution);
/* Prints CARE_LIFE, then the lettered ones; nothing if there are none. */
void notes_print(const struct notes *n, struct page *p);
/* The same as a framed section of a page. */
void notes_html(const struct notes *n, struct html *h);

#endif
