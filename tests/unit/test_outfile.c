/* test_outfile.c - a file that is there whole or not at all. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/report/outfile.h"

struct place { char dir[64], path[96], part[104]; };

static void
make(struct place *p)
{
	snprintf(p->dir, sizeof p->dir, "/tmp/outfile.XXXXXX");
	assert_non_null(mkdtemp(p->dir));
	snprintf(p->path, sizeof p->path, "%s/a.csv", p->dir);
	snprintf(p->part, sizeof p->part, "%s.part", p->path);
}

static void
expect(const char *path, const char *text)
{
	char got[64] = "";
	FILE *f = fopen(path, "r");

	assert_non_null(f);
	got[fread(got, 1, sizeof got - 1, f)] = '\0';
	fclose(f);
	assert_string_equal(got, text);
}

static void
appears_when_whole(void **state)
{
	struct place p;
	struct outfile o;
	struct stat st;
	struct err e;

	(void)state;
	make(&p);
	/* As with --group: its members read, nobody else does, whatever the umask. */
	for (mode_t mask = 0; mask <= 007; mask += 007) {
		umask(mask);
		assert_int_equal(outfile_open(&o, p.path, &e), 0);
		assert_int_equal(outfile_close(&o, &e), 0);
		assert_int_equal(stat(p.path, &st), 0);
		assert_int_equal(st.st_mode & 0777, 0640);
		unlink(p.path);
	}
	umask(077);	/* as main() has it */
	assert_int_equal(outfile_open(&o, p.path, &e), 0);
	fputs("one", o.f);
	assert_int_not_equal(access(p.path, F_OK), 0);
	assert_int_equal(outfile_close(&o, &e), 0);
	expect(p.path, "one");
	assert_int_equal(stat(p.path, &st), 0);
	assert_int_equal(st.st_mode & 0777, 0600);
	/* Given up, or failed: the old one stays. */
	assert_int_equal(outfile_open(&o, p.path, &e), 0);
	fputs("two", o.f);
	outfile_drop(&o);
	outfile_drop(&o);
	expect(p.path, "one");
	assert_int_not_equal(access(p.part, F_OK), 0);
	unlink(p.path);
	rmdir(p.dir);
}

static void
refuses_what_is_no_file(void **state)
{
	struct place p;
	struct outfile o = { 0 };
	struct stat st;
	struct err e;

	(void)state;
	make(&p);
	assert_int_equal(outfile_open(&o, p.dir, &e), -1);
	assert_int_equal(e.code, ERR_IO);
	assert_int_equal(mkfifo(p.path, 0600), 0);
	assert_int_equal(outfile_open(&o, p.path, &e), -1);
	assert_int_equal(stat(p.path, &st), 0);
	assert_true(S_ISFIFO(st.st_mode));
	unlink(p.path);
	rmdir(p.dir);
	assert_int_equal(outfile_open(&o, p.path, &e), -1);	/* no such folder */
}

static void
takes_over_what_was_left(void **state)
{
	struct place p;
	struct outfile o;
	struct err e;
	FILE *f;

	(void)state;
	make(&p);
	f = fopen(p.part, "w");
	assert_non_null(f);
	fputs("left by a run that was killed", f);
	fclose(f);
	assert_int_equal(outfile_open(&o, p.path, &e), 0);
	fputs("x", o.f);
	assert_int_equal(outfile_close(&o, &e), 0);
	expect(p.path, "x");
	unlink(p.path);
	rmdir(p.dir);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(appears_when_whole),
		cmocka_unit_test(refuses_what_is_no_file),
		cmocka_unit_test(takes_over_what_was_left),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
