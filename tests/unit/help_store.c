#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <dirent.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <zlib.h>

#include "daemon/base/civil.h"
#include "daemon/judge.h"
#include "rules/rule.h"
#include "tests/unit/help_store.h"

static void
must(int rc, const struct err *e)
{
	if (rc)
		fail_msg("%s", e->text);
}

void
help_open(struct help *h)
{
	const char *tmp = getenv("TMPDIR");
	struct err e;
	bool made;

	*h = (struct help){ .o = { .timezone = "UTC", .no_judge = true, .as_of = NO_TIME } };
	snprintf(h->dir, sizeof h->dir, "%s/store-test-XXXXXX", tmp && *tmp ? tmp : "/tmp");
	assert_non_null(mkdtemp(h->dir));
	snprintf(h->db, sizeof h->db, "%s/s.db", h->dir);
	h->s = store_open(h->db, STORE_CREATE, &made, &e);
	must(h->s ? 0 : -1, &e);
	assert_true(made);
}

void
help_reopen(struct help *h)
{
	struct err e;

	store_close(h->s);
	h->s = store_open(h->db, STORE_WRITE, NULL, &e);
	must(h->s ? 0 : -1, &e);
}

void
help_close(struct help *h)
{
	DIR *dir = opendir(h->dir);
	struct dirent *entry;

	store_close(h->s);
	ingest_result_release(&h->result);
	while (dir && (entry = readdir(dir)) != NULL)
		if (entry->d_name[0] != '.')
			unlinkat(dirfd(dir), entry->d_name, 0);
	if (dir)
		closedir(dir);
	rmdir(h->dir);
	arena_release(&h->arena);
}

/* ---- files ----------------------------------------------------------------- */

const char *
help_bytes(struct help *h, const char *name, const void *p, size_t n)
{
	const char *path = arena_fmt(&h->arena, "%s/%s", h->dir, name);
	FILE *f = fopen(path, "wb");

	assert_non_null(f);
	assert_int_equal(fwrite(p, 1, n, f), n);
	assert_int_equal(fclose(f), 0);
	return path;
}

const char *
help_file(struct help *h, const char *name, const char *text)
{
	return help_bytes(h, name, text, strlen(text));
}

const char *
help_gzip(struct help *h, const char *name, const char *text, size_t cut)
{
	size_t n = strlen(text), room = n + n / 100 + 64;
	unsigned char *out = x_alloc(room);
	z_stream z = { 0 };
	const char *path;

	assert_int_equal(deflateInit2(&z, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
	z.next_in = (unsigned char *)(uintptr_t)text;
	z.avail_in = (unsigned)n;
	z.next_out = out;
	z.avail_out = (unsigned)room;
	assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
	assert_true(z.total_out > cut);
	path = help_bytes(h, name, out, z.total_out - cut);
	deflateEnd(&z);
	free(out);
	return path;
}

/* ---- ingest ---------------------------------------------------------------- */

static void
ingest(struct help *h, const char *const *path, size_t n)
{
	struct err e;

	ingest_result_release(&h->result);
	must(ingest_paths(h->s, path, n, &h->o, &h->result, &e), &e);
}

void
help_ingest(struct help *h, const char *path, ...)
{
	const char *list[64] = { path };
	size_t n = 1;
	va_list ap;

	va_start(ap, path);
	while ((list[n] = va_arg(ap, const char *)) != NULL)
		assert_true(++n < sizeof list / sizeof *list);
	va_end(ap);
	ingest(h, list, n);
}

const struct ingest_file *
help_take(struct help *h, const char *name, const char *text)
{
	const char *path = help_file(h, name, text);

	ingest(h, &path, 1);
	assert_int_equal(h->result.n_file, 1);
	if (h->result.file[0].failed)
		fail_msg("%s", h->result.file[0].message);
	return &h->result.file[0];
}

const struct ingest_file *
help_events(struct help *h, const char *name, const char *rows)
{
	return help_take(h, name, arena_fmt(&h->arena, "account,time,event,zone\n%s", rows));
}

const char *
help_counts(struct help *h, size_t file)
{
	const struct ingest_file *f = &h->result.file[file];

	assert_true(file < h->result.n_file);
	return f->failed ? "failed" : arena_fmt(&h->arena, "%d %d %d %d", (int)f->rows,
	    (int)f->stored, (int)f->repeated, (int)f->set_aside);
}

/* ---- judging --------------------------------------------------------------- */

const char *
help_judged(struct help *h, bool all)
{
	struct judge_options o = { .all = all, .as_of = h->o.as_of };
	int64_t judged, raised, cleared;
	struct err e;

	must(judge_due(h->s, &o, &judged, &raised, &cleared, &e), &e);
	return arena_fmt(&h->arena, "%d %d %d", (int)judged, (int)raised, (int)cleared);
}

static size_t
findings(struct help *h, struct stored_finding **out)
{
	struct finding_filter all = { .level = -1, .state = "all", .since = NO_TIME,
	    .as_of = NO_TIME };
	struct err e;
	size_t n;

	must(store_findings(h->s, &all, &h->arena, out, &n, &e), &e);
	return n;
}

const char *
help_found(struct help *h)
{
	struct stored_finding *f;
	size_t n = findings(h, &f);
	const char *out = "";

	for (size_t i = 0; i < n; i++)
		out = arena_fmt(&h->arena, "%s%s %s %s %s %s %s %ld %s\n", out, f[i].rule,
		    level_text((enum level)f[i].level), f[i].account, *f[i].zone ? f[i].zone : "-",
		    *f[i].serial ? f[i].serial : "-", f[i].state, f[i].count, f[i].id);
	return out;
}

const char *
help_id(struct help *h, const char *rule, const char *account)
{
	struct stored_finding *f;
	size_t n = findings(h, &f);
	const char *id = NULL;

	for (size_t i = 0; i < n; i++) {
		if (strcmp(f[i].rule, rule) != 0 || strcmp(f[i].account, account) != 0)
			continue;
		if (id)
			fail_msg("two findings of %s for %s:\n%s", rule, account, help_found(h));
		id = f[i].id;
	}
	if (!id)
		fail_msg("no finding of %s for %s:\n%s", rule, account, help_found(h));
	return id;
}

/* ---- SQL ------------------------------------------------------------------- */

static const char *
ask(struct help *h, const char *sql)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *st;
	const char *out = "";
	int rc;

	assert_int_equal(sqlite3_open_v2(h->db, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
	if (sqlite3_prepare_v2(db, sql, -1, &st, NULL) != SQLITE_OK)
		fail_msg("%s: %s", sql, sqlite3_errmsg(db));
	while ((rc = sqlite3_step(st)) == SQLITE_ROW) {
		for (int i = 0; i < sqlite3_column_count(st); i++) {
			const char *cell = (const char *)sqlite3_column_text(st, i);

			out = arena_fmt(&h->arena, "%s%s%s", out, i ? "|" : *out ? "\n" : "",
			    cell ? cell : "-");
		}
	}
	if (rc != SQLITE_DONE)
		fail_msg("%s: %s", sql, sqlite3_errmsg(db));
	sqlite3_finalize(st);
	sqlite3_close(db);
	return out;
}

const char *
help_sql(struct help *h, const char *fmt, ...)
{
	va_list ap;
	const char *sql;

	va_start(ap, fmt);
	sql = arena_vfmt(&h->arena, fmt, ap);
	va_end(ap);
	return ask(h, sql);
}

int64_t
help_number(struct help *h, const char *fmt, ...)
{
	va_list ap;
	const char *sql;

	va_start(ap, fmt);
	sql = arena_vfmt(&h->arena, fmt, ap);
	va_end(ap);
	return strtoll(ask(h, sql), NULL, 10);
}

void
help_exec(const char *path, const char *sql)
{
	sqlite3 *db = NULL;

	assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
	if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK)
		fail_msg("%s: %s", sql, sqlite3_errmsg(db));
	sqlite3_close(db);
}

const char *
help_dump(struct help *h)
{
	return arena_fmt(&h->arena, "%s\n--\n%s",
	    ask(h, "SELECT lower(account), lower(receiver), lower(receiver_line), time, utc, lower(event),"
	        " word, ltrim(partition, '0'), ltrim(zone, '0'), upper(replace(serial, '-', '')), user,"
	        " text, received, signal, marks FROM event_log ORDER BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11,"
	        " 12, 13, 14, 15"),
	    ask(h, "SELECT a.account, a.receiver, a.line, min(c.from_at), max(c.to_at) FROM account_span c"
	        " JOIN account a ON a.id = c.account GROUP BY 1, 2, 3 ORDER BY 1, 2, 3"));
}
