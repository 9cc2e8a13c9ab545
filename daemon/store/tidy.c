/* tidy.c - the log of a large transaction into the file itself, beside other work. */
#include <pthread.h>
#include <stdlib.h>

#include "daemon/store/db.h"

struct store_tidy {
	pthread_t thread;
	sqlite3  *db;
};

static void *
run(void *tidy)
{
	struct store_tidy *t = tidy;

	/* A handle finds out that there is a log when it first reads. What this does not
	 * finish, the next commit or close does. */
	sqlite3_exec(t->db, "SELECT 1 FROM sqlite_schema", NULL, NULL, NULL);
	sqlite3_wal_checkpoint_v2(t->db, NULL, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL);
	return NULL;
}

struct store_tidy *
store_tidy_begin(struct store *s)
{
	struct store_tidy *t = x_calloc(1, sizeof *t);

	if (sqlite3_open_v2(s->path, &t->db, SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_READWRITE, NULL)
	    == SQLITE_OK && pthread_create(&t->thread, NULL, run, t) == 0)
		return t;
	sqlite3_close(t->db);
	free(t);
	return NULL;
}

void
store_tidy_end(struct store_tidy *t, bool hurry)
{
	if (!t)
		return;
	if (hurry)
		sqlite3_interrupt(t->db);
	pthread_join(t->thread, NULL);
	sqlite3_close(t->db);
	free(t);
}

void
store_tidy_later(struct store *s, bool later)
{
	sqlite3_wal_autocheckpoint(s->db, later ? 0 : 1000);
}
