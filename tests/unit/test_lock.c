/* test_lock.c - who holds the lock of a store, what that one does, and how long both are told. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/base/civil.h"
#include "daemon/lock.h"

static void
test_told(void **state)
{
	char dir[] = "/tmp/tripsift-lock-XXXXXX";
	char holder[64], longest[600];
	struct arena a = { 0 };
	struct lock_look look;
	struct err e;
	int lock;

	(void)state;
	assert_non_null(mkdtemp(dir));
	assert_int_equal(chdir(dir), 0);
	look = lock_look(&a, "s.db");
	assert_string_equal(look.holder, "");
	assert_string_equal(look.doing, "");
	assert_true(look.beat == NO_TIME);

	lock = lock_take("s.db", "watch", &e);
	assert_true(lock >= 0);
	snprintf(holder, sizeof holder, "watch, process %ld", (long)getpid());
	look = lock_look(&a, "s.db");
	assert_string_equal(look.holder, holder);
	assert_string_equal(look.doing, "");
	assert_true(look.beat != NO_TIME);

	/* A shorter text leaves nothing of a longer one. */
	lock_beat(lock, "inbox/october.csv, 100 %");
	assert_string_equal(lock_look(&a, "s.db").doing, "inbox/october.csv, 100 %");
	lock_beat(lock, "judging, 1 %");
	look = lock_look(&a, "s.db");
	assert_string_equal(look.holder, holder);
	assert_string_equal(look.doing, "judging, 1 %");
	/* One line, cut where the room ends. */
	lock_beat(lock, "one\ntwo");
	assert_string_equal(lock_look(&a, "s.db").doing, "one");
	memset(longest, 'x', sizeof longest - 1);
	longest[sizeof longest - 1] = '\0';
	lock_beat(lock, longest);
	look = lock_look(&a, "s.db");
	assert_string_equal(look.holder, holder);
	assert_in_range(strlen(look.doing), 400, 512);
	assert_int_equal(strspn(look.doing, "x"), strlen(look.doing));
	lock_beat(lock, "");
	assert_string_equal(lock_look(&a, "s.db").doing, "");

	/* Taken twice: the second is told by whom. Nothing is told of one who is gone. */
	lock_beat(lock, "judging, 2 %");
	assert_int_equal(lock_take("s.db", "nightly", &e), -1);
	assert_non_null(strstr(e.text, holder));
	assert_null(strstr(e.text, "judging"));
	close(lock);
	look = lock_look(&a, "s.db");
	assert_string_equal(look.holder, "");
	assert_string_equal(look.doing, "");
	assert_true(look.beat != NO_TIME);
	lock = lock_take("s.db", "nightly", &e);
	assert_true(lock >= 0);
	assert_string_equal(lock_look(&a, "s.db").doing, "");
	close(lock);

	unlink("s.db.lock");
	assert_int_equal(chdir("/"), 0);
	rmdir(dir);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_told),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
