/* retained.h - what was removed because of its age, or would be, for each kind of copy. */
#ifndef DAEMON_REPORT_RETAINED_H
#define DAEMON_REPORT_RETAINED_H

#include "daemon/report/text.h"
#include "daemon/store/store.h"

enum kept {
	KEPT_EVENTS, KEPT_ASIDE, KEPT_DONE, KEPT_FAILED, KEPT_BACKUPS, KEPT_PAGES,
	KEPT_KINDS
};

struct retained {
	const char    *kind;	/* as the setting is called */
	int            days;	/* 0 = for good */
	bool           looked;	/* false: its folder was not named */
	struct removed sum;	/* what went, or would go */
	int64_t        left;	/* old enough, but not known to be ours: they stay */
};

/* "rows set aside", for a kind as the setting is called. */
const char *retained_kind(const char *kind);
/* "1.5 MiB" */
const char *retained_size(struct page *p, int64_t bytes);
/* "400 days", "for good"; backups without a number are kept by number. */
const char *retained_days(struct page *p, const struct retained *r);

/* `done`: it was removed; `gained`: bytes that the store's file is smaller by. */
void retained_text(struct page *p, const struct retained kept[KEPT_KINDS], bool done, int64_t gained);
void retained_json(FILE *f, const struct retained kept[KEPT_KINDS], bool done, int64_t gained);

#endif
