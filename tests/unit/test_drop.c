/* test_drop.c - when a file is whole, and its way through the folders. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <dirent.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <unistd.h>
#include <zlib.h>

#include "daemon/drop_part.h"
#include "daemon/log.h"
#include "daemon/notify.h"

struct case_ { char dir[64]; struct drop *d; struct arena a; };
static const volatile sig_atomic_t never = 0, at_once = 1;

/* What odd() was told; a test looks at it and empties it. */
static char odd_told[256];

static void
odd(const char *name, const char *why)
{
	snprintf(odd_told + strlen(odd_told), sizeof odd_told - strlen(odd_told), "%s: %s\n", name,
	    why);
}

static void
begin(struct case_ *c, int64_t settle)
{
	struct err e;

	*c = (struct case_){ .dir = "/tmp/drop.XXXXXX" };
	assert_non_null(mkdtemp(c->dir));
	c->d = drop_open(c->dir, settle, false, &e);
	assert_non_null(c->d);
	odd_told[0] = '\0';
}

static void
remove_all(const char *dir)
{
	DIR *d = opendir(dir);
	struct dirent *entry;
	char path[PATH_MAX];

	while (d && (entry = readdir(d)) != NULL) {
		struct stat st;

		if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
			continue;
		snprintf(path, sizeof path, "%s/%s", dir, entry->d_name);
		if (lstat(path, &st) == 0 && S_ISDIR(st.st_mode))
			remove_all(path);
		else
			unlink(path);
	}
	if (d)
		closedir(d);
	rmdir(dir);
}

static void
end(struct case_ *c)
{
	drop_close(c->d);
	remove_all(c->dir);
	arena_release(&c->a);
}

static const char *
at(struct case_ *c, const char *name)
{
	return arena_fmt(&c->a, "%s/%s", c->dir, name);
}

static void
put(struct case_ *c, const char *name, const char *text)
{
	FILE *f = fopen(at(c, name), "a");

	assert_non_null(f);
	fputs(text, f);
	assert_int_equal(fclose(f), 0);
}

static const char *
content(struct case_ *c, const char *name)
{
	gzFile f = gzopen(at(c, name), "rb");
	char text[256];
	int n;

	if (!f)
		return NULL;
	n = gzread(f, text, sizeof text - 1);
	assert_true(n >= 0);
	text[n] = '\0';
	gzclose(f);
	return arena_fmt(&c->a, "%s", text);
}

static bool
there(struct case_ *c, const char *name)
{
	struct stat st;

	return lstat(at(c, name), &st) == 0;
}

/* Looks, claims, and says what lies in work/: "desk/a inbox/b". */
static const char *
claim(struct case_ *c, int64_t now)
{
	struct drop_file *f;
	const char *text = "";
	struct err e;
	size_t n;

	drop_listen(c->d);
	assert_int_equal(drop_look(c->d, now, odd, &e), 0);
	assert_int_equal(drop_claim(c->d, now, 100, &e), 0);
	assert_int_equal(drop_work(c->d, &c->a, &f, &n, &e), 0);
	for (size_t i = 0; i < n; i++)
		text = arena_fmt(&c->a, "%s%s%s", text, i ? " " : "", f[i].path);
	return text;
}

static void
whole_is_quiet_for_the_settling_time(void **state)
{
	struct case_ c;

	(void)state;
	begin(&c, 1000);
	put(&c, "inbox/a.csv", "x");
	assert_string_equal(claim(&c, 5000), "");
	assert_int_equal(drop_next(c.d, 5000), 1000);
	assert_string_equal(claim(&c, 5999), "");
	put(&c, "inbox/a.csv", "y");
	assert_string_equal(claim(&c, 6000), "");	/* it grew: from now on again */
	assert_string_equal(claim(&c, 6999), "");
	assert_string_equal(claim(&c, 7000), "inbox/a.csv");
	assert_int_equal(drop_next(c.d, 7000), -1);
	end(&c);
}

static void
renamed_in_is_whole(void **state)
{
	struct case_ c;

	(void)state;
	begin(&c, 1000);
	put(&c, "inbox/a.csv.part", "x");
	put(&c, "inbox/b.TMP", "x");
	put(&c, "inbox/.hidden", "x");
	assert_string_equal(claim(&c, 5000), "");
	assert_int_equal(drop_waiting(c.d), 0);
	assert_int_equal(rename(at(&c, "inbox/a.csv.part"), at(&c, "inbox/a.csv")), 0);
	assert_string_equal(claim(&c, 5001), drop_fd(c.d) < 0 ? "" : "inbox/a.csv");
	end(&c);
}

static void
open_for_writing_is_not_whole(void **state)
{
	struct case_ c;
	FILE *f;

	(void)state;
	begin(&c, 1000);
	if (drop_fd(c.d) < 0) {
		end(&c);
		skip();
	}
	f = fopen(at(&c, "inbox/slow.csv"), "w");
	assert_string_equal(claim(&c, 1000), "");
	assert_string_equal(claim(&c, 3000), "");	/* made, empty, not closed */
	fputs("x", f);
	fflush(f);
	assert_string_equal(claim(&c, 5000), "");
	assert_string_equal(claim(&c, 304999), "");
	assert_string_equal(claim(&c, 305000), "inbox/slow.csv");	/* after 5 min all the same */
	fclose(f);
	put(&c, "inbox/closed.csv", "x");
	claim(&c, 400000);
	assert_string_equal(claim(&c, 401000), "inbox/slow.csv inbox/closed.csv");
	end(&c);
}

static void
no_file_is_passed_over_and_told_once(void **state)
{
	struct case_ c;

	(void)state;
	begin(&c, 0);
	put(&c, "inbox/z.part", "x");
	assert_int_equal(symlink("/etc/passwd", at(&c, "inbox/a")), 0);
	assert_int_equal(mkfifo(at(&c, "inbox/b"), 0600), 0);
	assert_int_equal(mkdir(at(&c, "desk/c.csv"), 0700), 0);
	assert_int_equal(link(at(&c, "inbox/z.part"), at(&c, "inbox/d")), 0);
	assert_string_equal(claim(&c, 1), "");
	assert_string_equal(odd_told, "desk/c.csv: a folder\ninbox/a: a symbolic link\n"
	    "inbox/b: a pipe\ninbox/d: a file with more than one name\n");
	odd_told[0] = '\0';
	assert_string_equal(claim(&c, 2), "");
	assert_string_equal(odd_told, "");
	/* Uploaded under a second name: whole once the first is gone. */
	unlink(at(&c, "inbox/z.part"));
	assert_string_equal(claim(&c, 3), "inbox/d");
	end(&c);
}

static void
claimed_in_order_of_age(void **state)
{
	struct case_ c;
	const struct timeval old[2] = { { 1000, 0 }, { 1000, 0 } };

	(void)state;
	begin(&c, 0);
	put(&c, "inbox/a", "x");
	put(&c, "inbox/b", "x");
	put(&c, "desk/z", "x");
	utimes(at(&c, "inbox/b"), old);
	assert_string_equal(claim(&c, 1), "desk/z inbox/b inbox/a");
	end(&c);
}

static void
one_file(struct case_ *c, const char *name, const char *text, struct drop_file *f)
{
	struct drop_file *list;
	struct err e;
	size_t n;

	put(c, name, text);
	claim(c, 1);
	assert_int_equal(drop_work(c->d, &c->a, &list, &n, &e), 0);
	assert_int_equal(n, 1);
	*f = list[0];
}

/* Below the folder of the day. */
static const char *
done(struct case_ *c, const char *place)
{
	const char *p = strstr(place, "/done/");

	assert_non_null(p);
	assert_true(there(c, p + 1));
	assert_string_equal(arena_fmt(&c->a, "%.6s", p), "/done/");
	return p + 1 + strlen("done/2026-10-01/");
}

static void
done_is_compressed_and_never_replaced(void **state)
{
	struct drop_file f;
	struct case_ c;
	const char *place;
	struct err e;

	(void)state;
	begin(&c, 0);
	one_file(&c, "inbox/a.csv", "one", &f);
	assert_int_equal(drop_done(c.d, &f, &never, &c.a, &place, &e), 0);
	assert_int_equal(drop_flush(c.d, &e), 0);
	assert_string_equal(done(&c, place), "a.csv.gz");
	assert_string_equal(content(&c, strstr(place, "done/")), "one");
	assert_false(there(&c, "work/inbox/a.csv"));
	/* The same name again: other content, then the same content as after a stop. */
	one_file(&c, "inbox/a.csv", "two", &f);
	assert_int_equal(drop_done(c.d, &f, &never, &c.a, &place, &e), 0);
	assert_int_equal(drop_flush(c.d, &e), 0);
	assert_string_equal(done(&c, place), "a.2.csv.gz");
	one_file(&c, "inbox/a.csv", "two", &f);
	assert_int_equal(drop_done(c.d, &f, &never, &c.a, &place, &e), 0);
	assert_int_equal(drop_flush(c.d, &e), 0);
	assert_string_equal(done(&c, place), "a.2.csv.gz");
	/* What is compressed already, or has no time left, goes as it is. */
	one_file(&c, "inbox/b.gz", "\x1f\x8b...", &f);
	assert_int_equal(drop_done(c.d, &f, &never, &c.a, &place, &e), 0);
	assert_int_equal(drop_flush(c.d, &e), 0);
	assert_string_equal(done(&c, place), "b.gz");
	one_file(&c, "inbox/c", "three", &f);
	assert_int_equal(drop_done(c.d, &f, &at_once, &c.a, &place, &e), 0);
	assert_int_equal(drop_flush(c.d, &e), 0);
	assert_string_equal(done(&c, place), "c");
	/* Changed since it was listed: it stays. */
	one_file(&c, "inbox/d", "four", &f);
	put(&c, "work/inbox/d", "more");
	assert_int_equal(drop_done(c.d, &f, &never, &c.a, &place, &e), 1);
	assert_true(there(&c, "work/inbox/d"));
	unlink(at(&c, "work/inbox/d"));
	/* Changed after its copy was made: it stays too, and is read again. */
	one_file(&c, "inbox/e", "five", &f);
	assert_int_equal(drop_done(c.d, &f, &never, &c.a, &place, &e), 0);
	assert_true(there(&c, "work/inbox/e"));
	put(&c, "work/inbox/e", "more");
	assert_int_equal(drop_flush(c.d, &e), 0);
	assert_true(there(&c, "work/inbox/e"));
	end(&c);
}

static void
failed_has_a_note(void **state)
{
	struct drop_failed *list;
	struct drop_file f;
	struct case_ c;
	char name[280], why[280];
	struct err e;
	size_t n;

	(void)state;
	begin(&c, 0);
	one_file(&c, "inbox/a.csv", "one", &f);
	assert_int_equal(drop_fail(c.d, &f, "first\nsecond", &e), 0);
	assert_string_equal(content(&c, "failed/a.csv"), "one");
	assert_string_equal(content(&c, "failed/a.csv.why.txt"), "first\nsecond\n");
	one_file(&c, "inbox/a.csv", "two", &f);
	assert_int_equal(drop_fail(c.d, &f, "other", &e), 0);
	assert_string_equal(content(&c, "failed/a.2.csv"), "two");
	assert_string_equal(content(&c, "failed/a.csv"), "one");
	/* A dropped file that is called like a note replaces none. */
	one_file(&c, "inbox/a.csv.why.txt", "three", &f);
	assert_int_equal(drop_fail(c.d, &f, "third", &e), 0);
	assert_string_equal(content(&c, "failed/a.csv.why.txt"), "first\nsecond\n");
	assert_int_equal(drop_failures(c.d, &c.a, &list, &n, &e), 0);
	assert_int_equal(n, 3);
	assert_string_equal(list[0].name, "failed/a.2.csv");
	assert_string_equal(list[1].why, "first");
	assert_string_equal(list[2].name, "failed/a.csv.why.txt.file");
	/* The longest name of a file system leaves room for the note's. */
	snprintf(name, sizeof name, "inbox/%0255d", 7);
	one_file(&c, name, "long", &f);
	assert_int_equal(drop_fail(c.d, &f, "long", &e), 0);
	snprintf(why, sizeof why, "failed/%0200d.why.txt", 0);
	assert_true(there(&c, why));
	end(&c);
}

static void
back_replaces_nothing(void **state)
{
	struct drop_file f;
	struct case_ c;
	struct err e;

	(void)state;
	begin(&c, 0);
	one_file(&c, "inbox/a.csv", "one", &f);
	assert_int_equal(drop_back(c.d, &f, &e), 0);
	assert_string_equal(content(&c, "inbox/a.csv"), "one");
	claim(&c, 1);
	put(&c, "inbox/a.csv", "newer");
	assert_int_equal(drop_back(c.d, &f, &e), 0);
	assert_string_equal(content(&c, "inbox/a.csv"), "newer");
	assert_string_equal(content(&c, "work/inbox/a.csv"), "one");
	end(&c);
}

static void
log_values_stay_on_their_line(void **state)
{
	static const struct { const char *in, *out; } row[] = {
		{ "a.csv", "a.csv" }, { "", "\"\"" }, { "a b", "\"a b\"" }, { "a=b", "\"a=b\"" },
		{ "a\"b\\", "\"a\\\"b\\\\\"" }, { "a\nlevel=error", "\"a\\x0Alevel=error\"" },
		{ "\x1b[2J", "\\x1B[2J" }, { "\xff", "\\xFF" }, { "\xc3\xa4", "\xc3\xa4" },
	};
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof row / sizeof *row; i++)
		assert_string_equal(log_value(&a, row[i].in), row[i].out);
	arena_release(&a);
}

static void
watchdog_is_half_and_ours(void **state)
{
	/* sd_watchdog_enabled(3): half of WATCHDOG_USEC; only when WATCHDOG_PID is ours. */
	char own[32];

	(void)state;
	snprintf(own, sizeof own, "%ld", (long)getpid());
	unsetenv("WATCHDOG_USEC");
	unsetenv("WATCHDOG_PID");
	unsetenv("NOTIFY_SOCKET");
	assert_int_equal(notify_watchdog_ms(), 0);
	assert_int_equal(notify("READY=1"), 1);
	setenv("WATCHDOG_USEC", "30000000", 1);
	assert_int_equal(notify_watchdog_ms(), 15000);
	setenv("WATCHDOG_PID", own, 1);
	assert_int_equal(notify_watchdog_ms(), 15000);
	setenv("WATCHDOG_PID", "1", 1);
	assert_int_equal(notify_watchdog_ms(), 0);
	unsetenv("WATCHDOG_PID");
	setenv("WATCHDOG_USEC", "nothing", 1);
	assert_int_equal(notify_watchdog_ms(), 0);
	unsetenv("WATCHDOG_USEC");
}

/* More happened than the system keeps in mind: the closing of a file may be among it. */
static void
too_much_to_hear(void **state)
{
	struct case_ c;
	struct err e;
	FILE *f;

	(void)state;
	begin(&c, 10);
	f = fopen(at(&c, "inbox/a.csv"), "w");
	assert_non_null(f);
	fputs("x", f);
	fflush(f);
	assert_string_equal(claim(&c, 1000), "");
	assert_true(drop_next(c.d, 1010) > 10);		/* somebody writes: for minutes */
	/* Two names by turns, so that no two words are the same; 16384 are kept by default. */
	for (int i = 0; i < 20000; i++) {
		const char *name = i % 2 ? "inbox/b.tmp" : "inbox/c.tmp";

		close(open(at(&c, name), O_WRONLY | O_CREAT, 0600));
		unlink(at(&c, name));
		arena_reset(&c.a);
	}
	assert_int_equal(fclose(f), 0);
	put(&c, "inbox/d.csv", "x");
	drop_listen(c.d);
	assert_int_equal(drop_look(c.d, 2000, odd, &e), 0);
	assert_int_equal(drop_waiting(c.d), 2);
	assert_string_equal(claim(&c, 2010), "inbox/a.csv inbox/d.csv");
	end(&c);
}

/* Folders in inbox/ as groups: one deep, no link followed, whatever their names. */
static void
folders_are_groups(void **state)
{
	static const char *const odd_name = "inbox/o d\n=\"";
	struct case_ c;
	struct drop_file *f;
	const char *place;
	struct err e;
	size_t n;

	(void)state;
	begin(&c, 0);
	drop_close(c.d);
	c.d = drop_open(c.dir, 0, true, &e);
	assert_non_null(c.d);
	assert_int_equal(mkdir(at(&c, "inbox/N.1"), 0700) + mkdir(at(&c, odd_name), 0700) +
	    mkdir(at(&c, "inbox/N.1/deep"), 0700) + mkdir(at(&c, "inbox/.x"), 0700) +
	    mkdir(at(&c, "inbox/y.tmp"), 0700) + mkdir(at(&c, "desk/N"), 0700) +
	    mkdir(at(&c, "away"), 0700), 0);
	put(&c, "away/a.csv", "x");
	put(&c, "desk/N/a.csv", "x");
	put(&c, "inbox/y.tmp/a.csv", "x");
	put(&c, "inbox/.x/a.csv", "x");
	put(&c, "inbox/N.1/deep/a.csv", "x");
	assert_int_equal(symlink("../away", at(&c, "inbox/link")), 0);
	assert_int_equal(symlink("../../away/a.csv", at(&c, "inbox/N.1/link.csv")), 0);
	put(&c, "inbox/N.1/a.csv", "one");
	put(&c, "inbox/a.csv", "two");
	put(&c, arena_fmt(&c.a, "%s/a.csv", odd_name), "three");
	claim(&c, 1000);
	assert_non_null(strstr(odd_told, "inbox/N.1/deep: a folder"));
	assert_non_null(strstr(odd_told, "inbox/N.1/link.csv: a symbolic link"));
	assert_non_null(strstr(odd_told, "inbox/link: a symbolic link"));
	assert_non_null(strstr(odd_told, "desk/N: a folder"));
	assert_null(strstr(odd_told, "N.1: "));
	assert_true(there(&c, "work/inbox/N.1/a.csv") && there(&c, "away/a.csv"));
	assert_int_equal(drop_work(c.d, &c.a, &f, &n, &e), 0);
	assert_int_equal(n, 3);
	for (size_t i = 0; i < n; i++) {
		const char *group = strchr(f[i].name, '/') ? f[i].name[0] == 'N' ? "N.1" : odd_name + 6 : "";

		assert_string_equal(f[i].group, group);
		if (*group == 'N')
			assert_int_equal(drop_back(c.d, &f[i], &e), 0);
		else if (*group)
			assert_int_equal(drop_fail(c.d, &f[i], "why", &e), 0);
		else
			assert_int_equal(drop_done(c.d, &f[i], &never, &c.a, &place, &e), 0);
	}
	assert_int_equal(drop_flush(c.d, &e), 0);
	assert_true(there(&c, "inbox/N.1/a.csv") && there(&c, arena_fmt(&c.a, "failed/%s.a.csv", odd_name + 6)));
	/* Empty ones do not stay in work/. */
	assert_int_equal(drop_work(c.d, &c.a, &f, &n, &e), 0);
	assert_int_equal(n, 0);
	assert_false(there(&c, "work/inbox/N.1"));
	/* A folder that became a link since it was looked at. */
	drop_listen(c.d);
	assert_int_equal(drop_look(c.d, 2000, odd, &e), 0);
	assert_int_equal(drop_waiting(c.d), 1);
	assert_int_equal(rename(at(&c, "inbox/N.1"), at(&c, "gone")), 0);
	assert_int_equal(symlink("../away", at(&c, "inbox/N.1")), 0);
	assert_int_equal(drop_claim(c.d, 2000, 10, &e), 0);
	assert_true(there(&c, "away/a.csv") && there(&c, "gone/a.csv"));
	/* What happens in a folder that was made just now is heard. */
	assert_int_equal(mkdir(at(&c, "inbox/new"), 0700), 0);
	drop_listen(c.d);
	assert_int_equal(drop_look(c.d, 3000, odd, &e), 0);
	put(&c, "away/b.csv", "four");
	assert_int_equal(rename(at(&c, "away/b.csv"), at(&c, "inbox/new/b.csv")), 0);
	c.d->settle = 1000;
	assert_string_equal(claim(&c, 3001), "inbox/new/b.csv");
	end(&c);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(whole_is_quiet_for_the_settling_time),
		cmocka_unit_test(renamed_in_is_whole),
		cmocka_unit_test(open_for_writing_is_not_whole),
		cmocka_unit_test(no_file_is_passed_over_and_told_once),
		cmocka_unit_test(claimed_in_order_of_age),
		cmocka_unit_test(done_is_compressed_and_never_replaced),
		cmocka_unit_test(failed_has_a_note),
		cmocka_unit_test(back_replaces_nothing),
		cmocka_unit_test(too_much_to_hear),
		cmocka_unit_test(folders_are_groups),
		cmocka_unit_test(log_values_stay_on_their_line),
		cmocka_unit_test(watchdog_is_half_and_ours),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
