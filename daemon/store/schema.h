/* schema.h - the tables of the store, with the comments a reader of the file sees. */
#ifndef DAEMON_STORE_SCHEMA_H
#define DAEMON_STORE_SCHEMA_H

enum {
	STORE_APPLICATION_ID = 0x54734674,	/* "TsFt", so that `file` and we can tell it */
	STORE_SCHEMA = 1,			/* user_version; see schema.c for the upgrade path */
};

extern const char schema_permanent[];	/* what was read and decided: never rebuilt */
extern const char schema_derived[];	/* what can be made anew from it */

/* upgrade[i] takes a store of schema i + 1 to i + 2; NULL ends the list. */
extern const char *const schema_upgrade[];

#endif
