/* cases.h - what the store's own files share about findings and their cases. */
#ifndef DAEMON_STORE_CASES_H
#define DAEMON_STORE_CASES_H

#include "daemon/store/store.h"
#include "rules/rule.h"

/* All findings of one account (v NULL: of the fleet) to their cases; what was open under
 * `identity` and is not among them is cleared as of `now`. */
int cases_keep(struct store *s, const struct view *v, const char *identity, const char *display,
    struct finding *const *f, size_t n, int64_t now, int64_t wall_clock, struct err *e);

/* Rules that clear by restore and a person's decision: clears the finding where it was
 * restored and somebody has said `seen`, and nothing came after. Others are left alone. */
int cases_decided(struct store *s, const char *rule, const char *id, struct err *e);

/* Texts as a JSON array. */
const char *cases_texts(struct arena *a, const char *const *text, size_t n);

/* Measures as the JSON text that the store keeps. */
const char *cases_measures(struct arena *a, const struct measure *m, size_t n);

#endif
