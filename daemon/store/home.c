/* home.c - where the daemon that feeds the store works, for those who only have the store. */
#include "daemon/store/db.h"

int
store_set_home(struct store *s, const struct home *home, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "INSERT OR REPLACE INTO home VALUES(1, ?1, ?2, ?3)", e);

	if (!st)
		return -1;
	db_bind_text(st, 1, home->folder);
	db_bind_text(st, 2, home->backup);
	sqlite3_bind_int(st, 3, home->groups);
	return db_run(s, st, e);
}

int
store_home(struct store *s, struct arena *a, struct home *out, struct err *e)
{
	sqlite3_stmt *st = db_stmt(s, "SELECT folder, backup, groups FROM home", e);
	int rc = st ? db_step(s, st, e) : -1;

	*out = (struct home){ "", "", false };
	if (rc > 0)
		*out = (struct home){ db_text(st, 0, a), db_text(st, 1, a), sqlite3_column_int(st, 2) };
	if (st)
		sqlite3_reset(st);
	return rc < 0 ? -1 : 0;
}
