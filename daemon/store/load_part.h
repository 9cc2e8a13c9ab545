/* load_part.h - what the files that load a view share; nobody else includes it. */
#ifndef DAEMON_STORE_LOAD_PART_H
#define DAEMON_STORE_LOAD_PART_H

#include "daemon/store/db.h"
#include "daemon/store/load.h"

/* The account that this one was renamed from, whose history it takes over. */
struct former {
	const char *account;	/* "" = none */
	int64_t     id;		/* 0 = none, or not known */
	int64_t     until;	/* its number was given to somebody else then; else INT64_MAX */
};

/* In which order the runs of an account (r, of file f) are gone through: as they were read. */
#define LOAD_ORDER " ORDER BY r.file, iif(f.newest_first, -r.block, r.block)"

/* load_events.c. The points of one stored account go behind those that the view has. */
int load_points(struct store *s, struct view *v, int64_t id, struct err *e);
/* Points in an order of their own, so that devices do not depend on which file was read
 * first; *rank says where each point went. */
void load_sort_points(struct view *v, uint32_t **rank);
/* Adds the events of one stored account; their points begin at `base`. */
int load_events(struct store *s, struct view *v, int64_t id, uint32_t base, int64_t as_of,
    bool texts, struct event **list, size_t *cap, struct err *e);

/* load_lists.c. Rosters, plan and service of the account, and of its former name. */
int load_roster(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e);
int load_plan(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e);
int load_service(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e);
/* Serials that it learned or heard and that other accounts know. */
int load_elsewhere(struct store *s, struct view *v, const char *account, const struct former *was,
    struct err *e);

#endif
