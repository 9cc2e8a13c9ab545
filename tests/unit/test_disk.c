/* test_disk.c - folders and their names. What a sync is worth: tests/crash/crash.py. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/base/disk.h"

static void
test_folder(void **state)
{
	char dir[] = "/tmp/tripsift-disk-XXXXXX";
	struct stat st;
	int fd;

	(void)state;
	assert_non_null(mkdtemp(dir));
	assert_int_equal(chdir(dir), 0);
	umask(007);	/* as --group has it */
	assert_int_equal(disk_folder("group"), 0);
	assert_int_equal(stat("group", &st), 0);
	assert_int_equal(st.st_mode & 0777, 0770);
	umask(077);	/* as main() has it */
	assert_int_equal(disk_folder("a"), 0);
	assert_int_equal(disk_folder("a"), 0);		/* there already */
	assert_int_equal(disk_folder("a/b/"), 0);
	assert_int_equal(stat("a/b", &st), 0);
	assert_int_equal(st.st_mode & 0777, 0700);
	assert_int_equal(disk_folder("x/y"), -1);
	assert_int_equal(errno, ENOENT);
	fd = open("file", O_RDWR | O_CREAT, 0600);
	assert_true(fd >= 0);
	close(fd);
	assert_int_equal(disk_folder("file"), -1);
	assert_int_equal(errno, ENOTDIR);
	assert_int_equal(unlink("file") + rmdir("a/b") + rmdir("a") + rmdir("group") + chdir("/") + rmdir(dir), 0);
}

static void
test_name_of(void **state)
{
	static const struct { const char *path; int rc; } cases[] = {
		{ "/etc", 0 }, { "/", 0 }, { "/etc/passwd", 0 }, { "/etc//", 0 }, { "here", 0 },
		{ "//etc", 0 }, { "", 0 }, { "/no/such/thing", -1 }, { "no/such", -1 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		int rc = disk_sync_name_of(cases[i].path);

		if (rc != cases[i].rc)
			fail_msg("%s: %d", cases[i].path, rc);
	}
	assert_int_equal(disk_sync_names(-1), -1);
	assert_int_equal(errno, EBADF);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_folder),
		cmocka_unit_test(test_name_of),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
