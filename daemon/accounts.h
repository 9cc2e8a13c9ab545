/* accounts.h - the accounts that the reading side knows, by their texts.
 *
 * Two tables: account, receiver and line (letter case aside) to the entry that both
 * sides of an ingest share, and account to the zone that sites names. Entries stay where
 * they are.
 */
#ifndef DAEMON_ACCOUNTS_H
#define DAEMON_ACCOUNTS_H

#include "daemon/base/arena.h"
#include "daemon/store/write.h"
#include "parsers/tz.h"

/* More accounts than any receiver serves; keeps the table bounded. */
#define ACCOUNTS_MAX 1000000

struct accounts {
	struct arena   *arena;		/* holds entries and texts; set by the owner */
	struct tz_set  *zones;		/* set by the owner */
	struct acct   **acct;		/* slots */
	size_t          n_acct, cap_acct;
	struct acct    *last;
	struct zone_of *zone;		/* slots */
	size_t          n_zone, cap_zone;
};

uint64_t accounts_hash(struct span account, struct span receiver, struct span line);
/* The entry, made if need be; NULL when there are too many. `hash` is accounts_hash(). */
struct acct *accounts_find(struct accounts *t, uint64_t hash, struct span account,
    struct span receiver, struct span line);
struct acct *accounts_add(struct accounts *t, struct span account, struct span receiver,
    struct span line);
/* Asks memory for what accounts_find() will need: first for the slot, then (`second`)
 * for the entry in it. */
void accounts_soon(const struct accounts *t, uint64_t hash, bool second);

/* Tells an account's zone; a name that the database does not know is passed over. */
int accounts_timezone(struct accounts *t, const char *account, const char *name);
const struct tz *accounts_zone(const struct accounts *t, const char *account);	/* or NULL */

void accounts_release(struct accounts *t);

#endif
