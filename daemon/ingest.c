#include "daemon/ingest.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/derive.h"
#include "daemon/judge.h"
#include "daemon/reading.h"
#include "daemon/store/store.h"
#include "daemon/store/tables.h"
#include "daemon/tablein.h"
#include "daemon/wordin.h"

struct names { const char **name; size_t n, cap; };

static void
add_name(struct names *list, const char *name)
{
	list->name = x_grow(list->name, &list->cap, list->n + 1, sizeof *list->name);
	list->name[list->n++] = name;
}

static int
by_name(const void *a, const void *b)
{
	return strcmp(*(const char *const *)a, *(const char *const *)b);
}

bool
ingest_is_store(const struct store *s, const char *path)
{
	static const char *const tail[] = { "", "-wal", "-shm", "-journal", ".lock" };
	char full[PATH_MAX];
	size_t n = s ? strlen(store_path(s)) : 0;

	if (!s || !realpath(path, full) || strncmp(full, store_path(s), n) != 0)
		return false;
	for (size_t i = 0; i < sizeof tail / sizeof *tail; i++)
		if (strcmp(full + n, tail[i]) == 0)
			return true;
	return false;
}

void
ingest_inside_add(struct ingest_inside *x, const char *name)
{
	if (!x->n++ || strcmp(name, x->first) < 0)
		x->first = name;
}

const char *
ingest_inside_text(struct arena *a, const struct ingest_inside *x)
{
	if (x->n == 1)
		return arena_fmt(a, "The folder %s was not looked into: name it as well, if exports lie "
		    "there.", x->first);
	return arena_fmt(a, "%zu folders were not looked into, first %s: name them as well, if exports "
	    "lie there.", x->n, x->first);
}

/* A folder stands for its files; names that begin with a dot are left alone. */
static void
expand(struct arena *a, const struct store *s, const char *path, struct names *out,
    struct ingest_inside *inside)
{
	size_t first = out->n;
	struct dirent *entry;
	struct stat st;
	DIR *dir;

	if (strcmp(path, "-") == 0 || stat(path, &st) != 0 || !S_ISDIR(st.st_mode) ||
	    !(dir = opendir(path))) {
		add_name(out, path);	/* what is wrong with it is said when it is opened */
		return;
	}
	while ((entry = readdir(dir)) != NULL) {
		const char *name = arena_fmt(a, "%s%s%s", path,
		    path[strlen(path) - 1] == '/' ? "" : "/", entry->d_name);

		if (entry->d_name[0] == '.' || stat(name, &st) != 0)
			continue;
		if (S_ISDIR(st.st_mode))
			ingest_inside_add(inside, name);
		else if (S_ISREG(st.st_mode) && !ingest_is_store(s, name))
			add_name(out, name);
	}
	closedir(dir);
	qsort(out->name + first, out->n - first, sizeof *out->name, by_name);
}

static const char *
full_path(struct arena *a, const char *name)
{
	char full[PATH_MAX];

	if (strcmp(name, "-") == 0)
		return "standard input";
	return realpath(name, full) ? arena_text(a, span_of(full)) : name;
}

/* ---- reading --------------------------------------------------------------- */

struct ingest {
	struct store               *s;
	const struct ingest_options *o;
	struct ingest_result       *out;
	struct tz_set              *zones;
	struct wordin               words;
	struct reading_file        *events;	/* the event files, in order */
	size_t                      n_events;
	int64_t                     taken;
};

static void
fail(struct ingest *in, struct ingest_file *f, const struct err *e)
{
	f->failed = true;
	f->later = e->code == ERR_LATER;
	f->message = arena_text(&in->out->arena, span_of(e->text));
}

static bool
stopped(const struct ingest *in)
{
	return in->o->stop && *in->o->stop;
}

static int
say_stopped(struct err *e)
{
	return err_set(e, ERR_IO, NULL, 0, "stopped before the end; what was not finished is undone");
}

/* By the kind that it is read as; who asks only looks at its header. */
static bool
refused(struct ingest *in, struct ingest_file *f, const char *kind)
{
	const char *why = in->o->refuses ? in->o->refuses(f->name, kind) : NULL;

	if (why) {
		f->failed = true;
		f->message = arena_fmt(&in->out->arena, "%s: %s", f->name, why);
	}
	return why != NULL;
}

/* First of all the wordings, since what other files are hangs on them. Standard input
 * cannot be looked at twice: wordings from there are kept, and nothing is read by them. */
static int
take_wordings(struct ingest *in, struct err *e)
{
	struct reader_options options = { .read_size = in->o->read_size };

	in->words.named = in->o->wordings != NULL;
	for (size_t i = 0; i < in->out->n_file; i++) {
		struct ingest_file *f = &in->out->file[i];
		bool named = i == 0 && in->words.named;
		struct err fault;
		struct reader *reader = (strcmp(f->name, "-") == 0 && !named) || f->failed ? NULL
		    : reader_open(f->name, &options, &fault);
		int rc = 0;

		if (reader && reader_info(reader)->kind == FILE_WORDINGS &&
		    !refused(in, f, file_kind_text(FILE_WORDINGS))) {
			f->kind = file_kind_text(FILE_WORDINGS);
			rc = wordin_take(&in->words, in->s, reader, full_path(&in->out->arena, f->name),
			    in->taken, &in->out->arena, f, e);
			f->taken = rc == 0 && !f->failed;
		} else if (named && !reader) {
			if (!f->failed)
				fail(in, f, &fault);
		} else if (named) {
			f->failed = true;
			f->message = arena_fmt(&in->out->arena, "%s: is no file of wordings, but of %s",
			    f->name, file_kind_text(reader_info(reader)->kind));
		}
		reader_close(reader);
		if (rc)
			return -1;
		if (stopped(in))
			return say_stopped(e);
		/* Without the wordings that were asked for, what follows would be misread. */
		if (named && f->failed)
			return err_set(e, ERR_DATA, NULL, 0, "--wordings: %s", f->message);
	}
	return 0;
}

/* First pass: everything but events, so that zones and devices are known. */
static int
take_tables(struct ingest *in, struct reading *r, struct err *e)
{
	struct reader_options options = { .read_size = in->o->read_size };

	for (size_t i = 0; i < in->out->n_file; i++) {
		struct ingest_file *f = &in->out->file[i];
		struct err fault;
		struct reader *reader;
		bool events;
		int rc = 0;

		if (*f->kind || f->failed)	/* wordings, taken in before; the store itself */
			continue;
		wordin_options(&in->words, &options);
		reader = reader_open(f->name, &options, &fault);

		if (stopped(in)) {
			reader_close(reader);
			return say_stopped(e);
		}
		if (!reader) {
			fail(in, f, &fault);
			continue;
		}
		f->kind = file_kind_text(reader_info(reader)->kind);
		if (refused(in, f, f->kind)) {
			reader_close(reader);
			continue;
		}
		events = reader_info(reader)->kind == FILE_EVENTS;
		if (events) {
			struct reading_file *to = &in->events[in->n_events++];

			*to = (struct reading_file){ .out = f, .place = full_path(&in->out->arena, f->name) };
			/* Standard input cannot be opened a second time; a file is, so that a
			 * folder of thousands does not hold as many open. */
			if (strcmp(f->name, "-") == 0)
				to->reader = reader;
		} else if (reader_info(reader)->kind == FILE_WORDINGS) {
			rc = wordin_take(&in->words, in->s, reader, "-", in->taken, &in->out->arena, f, e);
			f->taken = rc == 0 && !f->failed;
		} else {
			rc = table_take(in->s, r, reader, full_path(&in->out->arena, f->name), in->o,
			    &in->words, in->zones, in->taken, &in->out->arena, f, e);
			f->taken = rc == 0 && !f->failed;
		}
		if (!events || strcmp(f->name, "-") != 0)
			reader_close(reader);
		if (rc)
			return -1;
	}
	return 0;
}

static void
show_progress(const struct ingest *in, struct reading *r, time_t begun)
{
	const char *name;
	int percent = reading_percent(r, &name);

	if (in->o->tick)
		in->o->tick(in->o->tick_ctx, name, percent);
	if (in->o->progress && time(NULL) - begun >= 1)
		fprintf(stderr, "\r\033[Kreading %.60s: %d %%", name, percent);
}

/* Second pass: the events, read on a thread of their own and written here. */
static int
take_events(struct ingest *in, struct reading *r, struct err *e)
{
	struct write_options options = { .covers_all = in->o->covers != COVERS_ROWS,
	    .stated = in->o->covers == COVERS_SPAN, .taken = in->taken, .derive = derive_time };
	struct writer *w = writer_open(in->s, &options, e);
	struct batch *b;
	time_t begun = time(NULL);
	int rc = -1;

	if (!w)
		return -1;
	if (writer_accounts(w, reading_account, r, e) ||
	    writer_cells(w, &in->out->arena, reading_cells(r), e) || reading_start(r, e))
		goto out;
	while ((b = reading_next(r)) != NULL) {
		if (writer_take(w, b, reading_cells(r), e))
			goto out;
		for (size_t i = 0; i < b->n_piece; i++) {
			struct ingest_file *f = in->events[b->piece[i].file - 1].out;

			f->stored += b->piece[i].stored;
			f->repeated += b->piece[i].repeated;
			f->expired += b->piece[i].expired;
			f->taken = b->piece[i].ends && !b->piece[i].failed;
		}
		show_progress(in, r, begun);
	}
	if (in->o->progress)
		fputs("\r\033[K", stderr);
	rc = stopped(in) ? say_stopped(e) : 0;
	for (size_t i = 0; i < in->n_events; i++)
		in->events[i].id = writer_file_id(w, (uint32_t)i + 1);
out:
	writer_close(w);
	return rc;
}

/* The same bytes were read before, with other wordings or none: those events stay where
 * they are and mean what these wordings say. */
static int
reword_copies(struct ingest *in, struct err *e)
{
	int rc = 0;

	for (size_t i = 0; rc == 0 && i < in->n_events; i++) {
		struct reading_file *f = &in->events[i];
		struct wordings_run *run;
		struct reworded n = { 0 };

		if (!f->wordings || f->id == 0)
			continue;
		run = wordings_run_new(f->wordings);
		rc = store_begin(in->s, e);
		if (rc == 0 && !(rc = store_reword_copies(in->s, f->id, wordin_reword, run, &n, e)))
			rc = store_commit(in->s, e);
		if (rc)
			table_abort(in->s);
		wordings_run_free(run);
		f->out->note = wordin_join(&in->out->arena, f->out->note,
		    wordin_reworded(&in->out->arena, &n));
	}
	return rc;
}

static int
compare_reasons(const void *a, const void *b)
{
	const struct ingest_reason *x = a, *y = b;

	return (y->rows > x->rows) - (y->rows < x->rows);
}

static void
add_up(struct ingest *in)
{
	for (size_t i = 0; i < in->out->n_file; i++) {
		struct ingest_file *f = &in->out->file[i];

		if (f->failed)
			f->rows = f->stored = f->repeated = f->set_aside = f->expired = 0;
		else
			f->rows = f->stored + f->repeated + f->set_aside + f->expired;
		if (f->n_reason)
			qsort(f->reason, f->n_reason, sizeof *f->reason, compare_reasons);
	}
}

static int
take_all(struct ingest *in, struct err *e)
{
	struct reading *r;
	int rc;

	in->events = arena_take(&in->out->arena, (in->out->n_file + 1) * sizeof *in->events);
	r = reading_open(in->events, 0, in->o, in->zones, &in->out->arena);
	rc = table_timezones(in->s, reading_timezone, r, e);
	if (rc == 0)
		rc = take_wordings(in, e) || wordin_kept(&in->words, in->s, &in->out->arena, e) ? -1 : 0;
	if (rc == 0)
		rc = take_tables(in, r, e);
	reading_files(r, in->n_events);
	reading_wordings(r, &in->words);
	if (rc == 0 && in->n_events)
		rc = take_events(in, r, e);
	reading_close(r);
	if (rc == 0)
		rc = reword_copies(in, e);
	wordin_end(&in->words, &in->out->arena);
	add_up(in);
	return rc;
}

/* ---- the whole ------------------------------------------------------------- */

/* `check` reads into a store of its own that is gone afterwards: the same code, and
 * rows that repeat one another are told as such. */
static struct store *
scratch_store(char *path, size_t size, struct err *e)
{
	const char *dir = getenv("TMPDIR");
	int fd;

	snprintf(path, size, "%s/tripsift-check-XXXXXX", dir && *dir ? dir : "/tmp");
	if ((fd = mkstemp(path)) < 0) {
		err_set(e, ERR_IO, path, 0, "cannot make a file to work in: %s", strerror(errno));
		return NULL;
	}
	close(fd);
	return store_open(path, STORE_CREATE, NULL, e);
}

static void
remove_scratch(const char *path)
{
	static const char *const tail[] = { "", "-wal", "-shm" };
	char name[PATH_MAX + 8];

	for (size_t i = 0; i < sizeof tail / sizeof *tail; i++) {
		snprintf(name, sizeof name, "%s%s", path, tail[i]);
		unlink(name);
	}
}

int
ingest_paths(struct store *s, const char *const *path, size_t n_path,
    const struct ingest_options *o, struct ingest_result *out, struct err *e)
{
	struct ingest in = { .s = s, .o = o, .out = out };
	struct judge_options judge = { .as_of = o->as_of, .progress = o->progress, .stop = o->stop,
	    .tick = o->tick, .tick_ctx = o->tick_ctx };
	struct names names = { 0 };
	char scratch[PATH_MAX] = "";
	struct timespec now;
	int rc = 0;

	*out = (struct ingest_result){ 0 };
	clock_gettime(CLOCK_REALTIME, &now);
	in.taken = (int64_t)now.tv_sec * SECOND + now.tv_nsec / 1000000;
	if (o->wordings)
		add_name(&names, o->wordings);
	for (size_t i = 0; i < n_path; i++)
		expand(&out->arena, s, path[i], &names, &out->inside);
	out->file = arena_take(&out->arena, (names.n + 1) * sizeof *out->file);
	out->n_file = names.n;
	for (size_t i = 0; i < names.n; i++) {
		out->file[i] = (struct ingest_file){ .name = names.name[i], .kind = "", .note = "",
		    .from = NO_TIME, .to = NO_TIME, .failed = ingest_is_store(s, names.name[i]) };
		if (out->file[i].failed)
			out->file[i].message = arena_fmt(&out->arena, "%s: is the store itself",
			    names.name[i]);
	}
	free(names.name);
	if (o->dry && !(in.s = scratch_store(scratch, sizeof scratch, e)))
		return -1;
	in.zones = tz_set_open();
	store_tidy_later(in.s, !o->dry && !o->no_judge);
	rc = take_all(&in, e);
	if (rc == 0 && !o->dry && !o->no_judge) {
		struct store_tidy *tidy = store_tidy_begin(in.s);

		rc = judge_due(in.s, &judge, &out->judged, &out->raised, &out->cleared, e);
		store_tidy_end(tidy, o->stop && *o->stop);
	}
	store_tidy_later(in.s, false);
	wordin_release(&in.words);
	tz_set_close(in.zones);
	if (o->dry) {
		store_close(in.s);
		remove_scratch(scratch);
	}
	return rc;
}

void
ingest_result_release(struct ingest_result *r)
{
	arena_release(&r->arena);
}
