/* digest.h - what a night brought, for a person who has five minutes: changes first.
 *
 * It says "nothing new" only when the exports reached the hour that was expected;
 * else it begins with "NO NEW DATA since".
 */
#ifndef DAEMON_REPORT_DIGEST_H
#define DAEMON_REPORT_DIGEST_H

#include "daemon/report/text.h"
#include "daemon/store/store.h"

/* What a finding is against the night before. */
enum digest_change {
	DIGEST_SAME,
	DIGEST_NEW,
	DIGEST_RISEN,	/* its level is higher now */
	DIGEST_MORE,	/* twice the count, or more */
	DIGEST_EARLIER,	/* it began earlier than was told: rows came late, or a list changed */
	DIGEST_BACK,	/* was told as cleared, and is open again */
	DIGEST_CLEARED,
	DIGEST_PASSED,	/* raised and cleared in between */
	DIGEST_GONE,	/* cleared, and told so before */
	DIGEST_CHANGES
};

struct digest_failed { const char *name, *why; };

/* All borrowed. */
struct digest {
	int64_t                      at;	/* wall clock of the run */
	const char                  *damage;	/* of the store's file; NULL or "" = none */
	int64_t                      expected;	/* the instant that exports should reach */
	struct night                 last;
	const struct stored_finding *finding;	/* all, cleared ones too, in the order of lists */
	size_t                       n_finding;
	const struct text_zone      *zone;	/* of each finding */
	const struct told           *told;
	size_t                       n_told;
	const struct account_info   *uncovered;	/* not in the exports of the last 3 days */
	size_t                       n_uncovered;
	const struct account_info   *account;
	size_t                       n_account;
	int64_t                      cover_from, cover_to, due;
	const struct night_file     *file;
	size_t                       n_file;
	size_t                       n_known;	/* files left alone: read in an earlier night */
	const struct digest_failed  *failed;
	size_t                       n_failed;
	const struct night_reason   *reason;
	size_t                       n_reason;
	double                       aside_limit;	/* percent */
	const struct night_change   *change;
	size_t                       n_change;
	const struct night_decision *decision;
	size_t                       n_decision;
	const struct night_removal  *removal;
	size_t                       n_removal;
};

enum digest_change digest_change(const struct digest *d, const struct stored_finding *f);
/* Did the exports reach the expected hour? */
bool digest_reached(const struct digest *d);
/* "NO NEW DATA since ..."; "" when they did. */
const char *digest_stale(struct page *p, const struct digest *d);
/* "against the night of ...", or that it is the first. */
const char *digest_against(struct page *p, const struct digest *d);
const char *digest_failure(struct page *p, const struct digest_failed *f);
/* The accounts of sites that are not covered up to that hour. */
size_t digest_behind(const struct digest *d, struct arena *a, struct account_info **out);
/* What asks for a person: a new `now` (or one that rose or came back), a failed file, no
 * new data, set-aside rows above the limit or for a reason never seen before. "" = nothing.
 * Lent by the page. */
const char *digest_attention(struct page *p, const struct digest *d);
void digest_text(struct page *p, const struct digest *d);

#endif
