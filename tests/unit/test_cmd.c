/* test_cmd.c - the tables of commands and options: complete, unique, in bounds. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/cmd.h"
#include "rules/rule.h"

static void
commands_are_complete(void **state)
{
	(void)state;
	for (const struct command *const *c = cmd_table; *c; c++) {
		const struct command *x = *c;

		print_message("%s\n", x->name);
		assert_ptr_equal(cmd_find(x->name), x);	/* also: the name stands once */
		assert_true(strlen(x->purpose) > 10 && strlen(x->purpose) <= 68);
		assert_true(x->purpose[strlen(x->purpose) - 1] != '.');
		assert_true(strlen(x->about) > 40);
		assert_non_null(strstr(x->exits, "0 "));
		assert_non_null(strstr(x->exits, "2 "));
		assert_non_null(strstr(x->exits, "3 "));
		assert_non_null(x->run);
		for (const char *line = x->examples; *line; line += strcspn(line, "\n") + 1) {
			assert_non_null(strstr(line, x->name));
			assert_true(strcspn(line, "\n") <= 78);
			assert_int_equal(line[strcspn(line, "\n")], '\n');
		}
	}
	assert_null(cmd_find("nosuch"));
}

static void
options_are_unique(void **state)
{
	(void)state;
	for (const struct command *const *c = cmd_table; *c; c++) {
		bool help = false, db = false;

		for (const struct opt *o = (*c)->opt; o->name; o++) {
			print_message("%s --%s\n", (*c)->name, o->name);
			for (const struct opt *p = (*c)->opt; p != o; p++) {
				assert_string_not_equal(p->name, o->name);
				assert_true(!o->letter || p->letter != o->letter);
			}
			assert_int_equal(o->kind == OPT_FLAG, o->arg == NULL);
			assert_int_equal(o->kind == OPT_CHOICE, o->words != NULL);
			assert_true(o->kind != OPT_COUNT || o->min < o->max);
			help |= strcmp(o->name, "help") == 0;
			db |= strcmp(o->name, "db") == 0;
		}
		assert_true(help && db);
	}
}

static void
typed_times(void **state)
{
	struct opts_when none = { .form = WHEN_NONE };
	struct opts_when span = { .form = WHEN_SPAN, .span = 2 * HOUR };
	struct opts_when local = { .form = WHEN_STAMP,
		.stamp = { .wall = 7200, .ms = 250, .offset = OFFSET_LOCAL } };
	struct opts_when offset = { .form = WHEN_STAMP, .stamp = { .wall = 7200, .offset = 120 } };
	struct tz_set *zones = tz_set_open();
	struct err e;
	const struct tz *utc = tz_find(zones, SPAN("UTC"), &e);

	(void)state;
	assert_non_null(utc);
	assert_int_equal(cmd_when(&none, utc, 5, 1), NO_TIME);
	assert_int_equal(cmd_when(&span, utc, DAY, -1), 22 * HOUR);
	assert_int_equal(cmd_when(&span, utc, DAY, 1), 26 * HOUR);
	assert_int_equal(cmd_when(&span, utc, NO_TIME, -1), NO_TIME);
	assert_int_equal(cmd_when(&local, utc, 5, 1), 2 * HOUR + 250);
	assert_int_equal(cmd_when(&offset, utc, 5, 1), 0);
	tz_set_close(zones);
}

static void
the_store_is_named(void **state)
{
	struct opts_common given = { .db = "a.db" }, none = { 0 };

	(void)state;
	assert_int_equal(unsetenv("TRIPSIFT_DB"), 0);
	assert_string_equal(cmd_db(&none), "tripsift.db");
	assert_int_equal(setenv("TRIPSIFT_DB", "", 1), 0);
	assert_string_equal(cmd_db(&none), "tripsift.db");
	assert_int_equal(setenv("TRIPSIFT_DB", "env.db", 1), 0);
	assert_string_equal(cmd_db(&none), "env.db");
	assert_string_equal(cmd_db(&given), "a.db");
}

static void
rules_by_name(void **state)
{
	struct err e = { 0 };

	(void)state;
	assert_ptr_equal(cmd_rule("chatter", &e), rule_find("chatter"));
	assert_null(cmd_rule("chater", &e));
	assert_int_equal(e.code, ERR_USAGE);
	assert_string_equal(e.text, "no rule \"chater\"; nearest: chatter");
	assert_null(cmd_rule("zzzzzzzz", &e));
	assert_string_equal(e.text, "no rule \"zzzzzzzz\"; \"tripsift rules\" lists them");
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(commands_are_complete),
		cmocka_unit_test(options_are_unique),
		cmocka_unit_test(typed_times),
		cmocka_unit_test(the_store_is_named),
		cmocka_unit_test(rules_by_name),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
