/* parsers/codes: the tables, the qualifiers, what is ambiguous. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "parsers/codes.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static struct meaning
meaning(const char *cell)
{
	struct meaning m = { 0 };
	const char *why = code_meaning(span_of(cell), &m);

	if (why)
		print_error("\"%s\": %s\n", cell, why);
	assert_null(why);
	return m;
}

/* Every row of the DC-05 table under every spelling of every qualifier. */
static void
walk_dc05(void **state)
{
	static const struct { const char *spelling; int q; } qualifiers[] = {
		{ "1", 1 }, { "E", 1 }, { "e", 1 }, { "3", 3 }, { "R", 3 }, { "r", 3 },
		{ "6", 6 }, { "P", 6 }, { "p", 6 },
	};
	size_t n;
	const struct code_row *t = code_table_dc05(&n);

	(void)state;
	assert_true(n > 250);
	for (size_t i = 0; i < n; i++) {
		if (i)		/* sorted, hence unique */
			assert_true(strcmp(t[i - 1].code, t[i].code) < 0);
		assert_int_equal(strlen(t[i].code), 3);
		assert_true(*t[i].text);
		for (size_t k = 0; k < COUNT(qualifiers); k++) {
			static const struct { const char *front, *between, *behind; } forms[] = {
				{ "", "", "" }, { "", " ", "" }, { "", "-", "" }, { " ", "", "\t" },
				{ "", "", " 01 015" }, { "", "", "01015" }, { "", "-", "-01-015" },
				{ "18 ", "", " 01 015" }, { "98", "", "01015" },
			};

			for (size_t f = 0; f < COUNT(forms); f++) {
				char cell[24];
				struct meaning m;

				/* a message with its type has digits only */
				if (strchr(forms[f].front, '8') && qualifiers[k].spelling[0] > '9')
					continue;
				snprintf(cell, sizeof cell, "%s%s%s%s%s", forms[f].front,
				    qualifiers[k].spelling, forms[f].between, t[i].code, forms[f].behind);
				m = meaning(cell);
				assert_int_equal(m.word, qualifiers[k].q == 3 ? t[i].ends : t[i].begins);
				assert_int_equal(m.still, qualifiers[k].q == 6);
				assert_int_equal(m.address, t[i].address);
				assert_int_equal(m.life, t[i].life);
				assert_int_equal(m.hint, t[i].hint);
				if (f < 4)
					assert_string_equal(code_text(span_of(cell)), t[i].text);
			}
		}
		/* without a qualifier: set aside */
		assert_non_null(code_meaning(span_of(t[i].code), &(struct meaning){ 0 }));
		/* an alarm ends as an alarm; a life-safety device makes a life-safety code */
		if (word_properties(t[i].begins) & WP_ALARM)
			assert_int_equal(t[i].ends, W_ALARM_RESTORE);
		if (word_properties(t[i].begins) & WP_LIFE || kind_is_life(t[i].hint))
			assert_true(t[i].life);
	}
}

static void
walk_dc03(void **state)
{
	size_t n;
	const struct code_row *t = code_table_dc03(&n);

	(void)state;
	assert_true(n > 270);
	for (size_t i = 0; i < n; i++) {
		char low[3] = { (char)(t[i].code[0] + 32), (char)(t[i].code[1] + 32), 0 };
		struct meaning m = meaning(t[i].code);

		for (size_t k = 0; k < i; k++) {
			if (strcmp(t[k].code, t[i].code) == 0)
				print_error("twice: %s\n", t[i].code);
			assert_string_not_equal(t[k].code, t[i].code);
		}
		assert_int_equal(strlen(t[i].code), 2);
		assert_true(*t[i].text);
		assert_int_equal(t[i].begins, t[i].ends);
		assert_int_equal(m.word, t[i].begins);
		assert_int_equal(m.address, t[i].address);
		assert_false(m.still);
		assert_int_equal(meaning(low).word, t[i].begins);
		assert_string_equal(code_text(span_of(low)), t[i].text);
		if (word_properties(t[i].begins) & WP_LIFE || kind_is_life(t[i].hint))
			assert_true(t[i].life);
	}
}

/* Classes of DC-05: 10x, 11x, 12x, 20x are life safety throughout. */
static void
life_classes(void **state)
{
	static const char *const more[] = {
		"151", "162", "373", "375", "376", "385", "386", "394", "465", "571", "572",
		"614", "615", "641",
	};
	static const char *const not[] = {
		"130", "137", "144", "154", "158", "301", "381", "384", "570", "602", "611", "401",
	};
	static const char families[] = "FGHKMPQS";
	size_t n;
	const struct code_row *t = code_table_dc05(&n);

	(void)state;
	for (size_t i = 0; i < n; i++) {
		if (t[i].code[0] == '2' || (t[i].code[0] == '1' && t[i].code[1] <= '2'))
			assert_true(t[i].life);
	}
	for (size_t i = 0; i < COUNT(more); i++) {
		char cell[] = "E000";

		memcpy(cell + 1, more[i], 3);
		assert_true(meaning(cell).life);
		*cell = 'R';
		assert_true(meaning(cell).life);
	}
	for (size_t i = 0; i < COUNT(not); i++) {
		char cell[] = "E000";

		memcpy(cell + 1, not[i], 3);
		assert_false(meaning(cell).life);
	}
	for (size_t i = 0; families[i]; i++) {
		for (const char *second = "ABHJRSTU"; *second; second++)
			assert_true(meaning((char[]){ families[i], *second, 0 }).life);
	}
}

/* Which codes carry a user number: the rule of the DC-05 appendix as transcribed in
 * public lists, 121, 313, 4xx with these exceptions, 574, 604, 607, 625, 642, 652, 653;
 * and the two younger codes 126 and 655. */
static void
user_numbers(void **state)
{
	static const char zones_of_4xx[] = "416 423 426 427 428 432 433 434 461 465";
	static const char users[] = "121 313 574 604 607 625 642 652 653 126 655";
	size_t n;
	const struct code_row *t = code_table_dc05(&n);

	(void)state;
	for (size_t i = 0; i < n; i++) {
		bool user = t[i].code[0] == '4' ? !strstr(zones_of_4xx, t[i].code) :
		    strstr(users, t[i].code) != NULL;

		if ((t[i].address == ADDR_USER) != user)
			print_error("%s\n", t[i].code);
		assert_int_equal(t[i].address == ADDR_USER, user);
	}
}

static void
chosen(void **state)
{
	static const struct {
		const char  *cell;
		enum word    word;
		enum address address;
		enum kind    hint;
	} cases[] = {
		{ "E110", W_FIRE_ALARM, ADDR_ZONE, KIND_UNKNOWN },
		{ "R110", W_ALARM_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "E111", W_FIRE_ALARM, ADDR_ZONE, KIND_SMOKE },
		{ "1114", W_HEAT_ALARM, ADDR_ZONE, KIND_HEAT },
		{ "1113", W_FIRE_ALARM, ADDR_ZONE, KIND_WATER_FLOW },
		{ "E115", W_FIRE_ALARM, ADDR_ZONE, KIND_CALL_POINT },
		{ "E116", W_FIRE_ALARM, ADDR_ZONE, KIND_DUCT },
		{ "E117", W_FIRE_ALARM, ADDR_ZONE, KIND_FLAME },
		{ "E162", W_CO_ALARM, ADDR_ZONE, KIND_CO },
		{ "3162", W_ALARM_RESTORE, ADDR_ZONE, KIND_CO },
		{ "E151", W_GAS_ALARM, ADDR_ZONE, KIND_GAS },
		{ "E122", W_PANIC_ALARM, ADDR_ZONE, KIND_PANIC },
		{ "E121", W_DURESS_ALARM, ADDR_USER, KIND_UNKNOWN },
		{ "E154", W_WATER_ALARM, ADDR_ZONE, KIND_WATER },
		{ "R118", W_OTHER, ADDR_ZONE, KIND_UNKNOWN },
		{ "E205", W_FIRE_SUPERVISORY, ADDR_ZONE, KIND_UNKNOWN },
		{ "R205", W_FIRE_SUPERVISORY_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "E137", W_TAMPER, ADDR_ZONE, KIND_UNKNOWN },
		{ "E144", W_TAMPER, ADDR_ZONE, KIND_UNKNOWN },
		{ "R383", W_TAMPER_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "E145", W_TAMPER, ADDR_PANEL, KIND_UNKNOWN },
		{ "E147", W_SUPERVISION_LOSS, ADDR_ZONE, KIND_UNKNOWN },
		{ "E381", W_SUPERVISION_LOSS, ADDR_ZONE, KIND_UNKNOWN },
		{ "R381", W_SUPERVISION_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "R382", W_SUPERVISION_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "E384", W_LOW_BATTERY, ADDR_ZONE, KIND_UNKNOWN },
		{ "R384", W_BATTERY_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "E302", W_PANEL_BATTERY_LOW, ADDR_PANEL, KIND_UNKNOWN },
		{ "R301", W_POWER_RESTORE, ADDR_PANEL, KIND_UNKNOWN },
		{ "E305", W_RESTART, ADDR_PANEL, KIND_UNKNOWN },
		{ "E306", W_PROGRAMMING_CHANGED, ADDR_PANEL, KIND_UNKNOWN },
		{ "E321", W_SOUNDER_TROUBLE, ADDR_PANEL, KIND_UNKNOWN },
		{ "E333", W_MODULE_LOSS, ADDR_PANEL, KIND_UNKNOWN },
		{ "R143", W_MODULE_RESTORE, ADDR_PANEL, KIND_UNKNOWN },
		{ "E344", W_JAM, ADDR_PANEL, KIND_UNKNOWN },
		{ "R344", W_JAM_CLEAR, ADDR_PANEL, KIND_UNKNOWN },
		{ "E350", W_COMM_LOSS, ADDR_PANEL, KIND_UNKNOWN },
		{ "R354", W_COMM_RESTORE, ADDR_PANEL, KIND_UNKNOWN },
		{ "E373", W_TROUBLE, ADDR_ZONE, KIND_UNKNOWN },
		{ "E374", W_EXIT_ERROR, ADDR_ZONE, KIND_UNKNOWN },
		{ "E377", W_SWINGER, ADDR_ZONE, KIND_UNKNOWN },
		{ "E385", W_SENSITIVITY, ADDR_ZONE, KIND_SMOKE },
		{ "E394", W_END_OF_LIFE, ADDR_ZONE, KIND_CO },
		/* qualifier 1 of an opening and closing code disarms, 3 arms (DC-05) */
		{ "E401", W_DISARM, ADDR_USER, KIND_UNKNOWN },
		{ "R401", W_ARM, ADDR_USER, KIND_UNKNOWN },
		{ "3408", W_ARM, ADDR_USER, KIND_UNKNOWN },
		{ "E441", W_DISARM, ADDR_USER, KIND_UNKNOWN },
		{ "R441", W_ARM_STAY, ADDR_USER, KIND_UNKNOWN },
		{ "R442", W_ARM_STAY, ADDR_USER, KIND_UNKNOWN },
		{ "R456", W_ARM_STAY, ADDR_USER, KIND_UNKNOWN },
		{ "E406", W_ALARM_CANCEL, ADDR_USER, KIND_UNKNOWN },
		{ "E457", W_EXIT_ERROR, ADDR_USER, KIND_UNKNOWN },
		{ "E453", W_OTHER, ADDR_USER, KIND_UNKNOWN },
		{ "E531", W_DEVICE_ADDED, ADDR_PANEL, KIND_UNKNOWN },
		{ "E532", W_DEVICE_REMOVED, ADDR_PANEL, KIND_UNKNOWN },
		{ "E571", W_BYPASS, ADDR_ZONE, KIND_UNKNOWN },
		{ "R571", W_UNBYPASS, ADDR_ZONE, KIND_UNKNOWN },
		{ "E574", W_BYPASS, ADDR_USER, KIND_UNKNOWN },
		{ "E575", W_SWINGER, ADDR_ZONE, KIND_UNKNOWN },
		{ "E602", W_TEST_REPORT, ADDR_PANEL, KIND_UNKNOWN },
		{ "E604", W_FIRE_TEST_BEGIN, ADDR_USER, KIND_UNKNOWN },
		{ "E607", W_WALK_TEST_BEGIN, ADDR_USER, KIND_UNKNOWN },
		{ "R607", W_WALK_TEST_END, ADDR_USER, KIND_UNKNOWN },
		{ "E611", W_TEST, ADDR_ZONE, KIND_UNKNOWN },
		{ "E621", W_LOG_CLEARED, ADDR_PANEL, KIND_UNKNOWN },
		{ "E624", W_LOG_OVERFLOW, ADDR_PANEL, KIND_UNKNOWN },
		{ "E625", W_CLOCK_SET, ADDR_USER, KIND_UNKNOWN },
		{ "E627", W_PROGRAM_ENTRY, ADDR_PANEL, KIND_UNKNOWN },
		{ "E628", W_PROGRAM_EXIT, ADDR_PANEL, KIND_UNKNOWN },
		{ "R627", W_PROGRAM_EXIT, ADDR_PANEL, KIND_UNKNOWN },	/* from memory: a habit */
		{ "3627", W_PROGRAM_EXIT, ADDR_PANEL, KIND_UNKNOWN },
		{ "BA", W_BURGLARY_ALARM, ADDR_ZONE, KIND_UNKNOWN },
		{ "bh", W_ALARM_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "BR", W_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "FR", W_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "UR", W_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "FA", W_FIRE_ALARM, ADDR_ZONE, KIND_UNKNOWN },
		{ "FS", W_FIRE_SUPERVISORY, ADDR_ZONE, KIND_UNKNOWN },
		{ "KA", W_HEAT_ALARM, ADDR_ZONE, KIND_HEAT },
		{ "GA", W_GAS_ALARM, ADDR_ZONE, KIND_GAS },
		{ "SA", W_FIRE_ALARM, ADDR_ZONE, KIND_WATER_FLOW },
		{ "TA", W_TAMPER, ADDR_ZONE, KIND_UNKNOWN },
		{ "TR", W_TAMPER_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "XT", W_LOW_BATTERY, ADDR_ZONE, KIND_UNKNOWN },
		{ "XR", W_BATTERY_RESTORE, ADDR_ZONE, KIND_UNKNOWN },
		{ "YT", W_PANEL_BATTERY_LOW, ADDR_PANEL, KIND_UNKNOWN },
		{ "UY", W_SUPERVISION_LOSS, ADDR_ZONE, KIND_UNKNOWN },
		{ "UZ", W_SUPERVISION_LOSS, ADDR_ZONE, KIND_UNKNOWN },
		{ "BZ", W_SUPERVISION_LOSS, ADDR_ZONE, KIND_UNKNOWN },
		{ "FY", W_SUPERVISION_LOSS, ADDR_ZONE, KIND_UNKNOWN },
		{ "XE", W_EXTRA_DEVICE, ADDR_ZONE, KIND_UNKNOWN },
		{ "XQ", W_JAM, ADDR_PANEL, KIND_UNKNOWN },
		{ "BD", W_SWINGER, ADDR_ZONE, KIND_UNKNOWN },
		{ "OP", W_DISARM, ADDR_USER, KIND_UNKNOWN },
		{ "CL", W_ARM, ADDR_USER, KIND_UNKNOWN },
		{ "NL", W_ARM_STAY, ADDR_PANEL, KIND_UNKNOWN },
		{ "LB", W_PROGRAM_ENTRY, ADDR_PANEL, KIND_UNKNOWN },
		{ "LX", W_PROGRAM_EXIT, ADDR_PANEL, KIND_UNKNOWN },
		{ "TS", W_ON_TEST_BEGIN, ADDR_PANEL, KIND_UNKNOWN },
		{ "TE", W_ON_TEST_END, ADDR_PANEL, KIND_UNKNOWN },
		{ "RP", W_TEST_REPORT, ADDR_PANEL, KIND_UNKNOWN },
		{ "JO", W_LOG_OVERFLOW, ADDR_PANEL, KIND_UNKNOWN },
		/* words say so themselves */
		{ "zone-open", W_ZONE_OPEN, ADDR_ZONE, KIND_UNKNOWN },
		{ " Fire-Alarm ", W_FIRE_ALARM, ADDR_ZONE, KIND_UNKNOWN },
		{ "CO-ALARM", W_CO_ALARM, ADDR_ZONE, KIND_CO },
		{ "module-loss", W_MODULE_LOSS, ADDR_PANEL, KIND_UNKNOWN },
		{ "other", W_OTHER, ADDR_ZONE, KIND_UNKNOWN },
		/* well-formed, but in no table */
		{ "E199", W_OTHER, ADDR_PANEL, KIND_UNKNOWN },
		{ "R1BF", W_OTHER, ADDR_PANEL, KIND_UNKNOWN },
		{ "e8ff", W_OTHER, ADDR_PANEL, KIND_UNKNOWN },
		{ "QX", W_OTHER, ADDR_PANEL, KIND_UNKNOWN },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct meaning m = meaning(cases[i].cell);

		if (m.word != cases[i].word || m.address != cases[i].address ||
		    m.hint != cases[i].hint)
			print_error("%s: %s\n", cases[i].cell, word_text(m.word));
		assert_int_equal(m.word, cases[i].word);
		assert_int_equal(m.address, cases[i].address);
		assert_int_equal(m.hint, cases[i].hint);
		assert_false(m.still);
	}
	assert_string_equal(code_text(SPAN("E384")), "RF low battery");
	assert_string_equal(code_text(SPAN("E199")), "");
	assert_string_equal(code_text(SPAN("zone-open")), "");
	assert_string_equal(code_text(SPAN("")), "");
	for (enum word w = 0; w < WORD_COUNT; w++) {
		struct meaning m = meaning(word_text(w));

		assert_int_equal(m.word, w);
		assert_int_equal(m.life, (word_properties(w) & WP_LIFE) != 0);
	}
}

static void
still(void **state)
{
	(void)state;
	assert_true(meaning("6130").still);
	assert_int_equal(meaning("6130").word, W_BURGLARY_ALARM);
	assert_true(meaning("p384").still);
	assert_true(meaning("6401").still);
	assert_true(meaning("6199").still);
}

static void
set_aside(void **state)
{
	static const struct { const char *cell, *begins; } cases[] = {
		{ "", "no event" }, { "  ", "no event" },
		{ "130", "ambiguous: a code without" }, { "3B1", "ambiguous: a code without" },
		{ "199", "ambiguous: a code without" },
		{ "open", "ambiguous: a door" }, { "CLOSE", "ambiguous: a door" },
		{ "Opening", "ambiguous: a door" }, { "closing", "ambiguous: a door" },
		{ "E030", "event not" }, { "E13", "event not" }, { "E1300", "event not" },
		{ "2130", "event not" }, { "A130", "event not" }, { "E1A0", "event not" },
		{ "E  130", "event not" }, { "E_130", "event not" }, { "E13 0", "event not" },
		{ "E 1-0", "event not" }, { "2 130", "event not" }, { "E1-0", "event not" }, { "E13G", "event not" },
		{ "B1", "event not" }, { "B", "event not" }, { "BA1", "event not" },
		{ "@[", "event not" }, { "`{", "event not" }, { "E1\"0", "event not" },
		{ "fire", "event not" }, { "zone open", "event not" }, { "1", "event not" },
		{ "030", "event not" }, { "\xc3\xa9\xc3\xa9", "event not" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct meaning m = { .word = W_JAM, .life = true };
		const char *why = code_meaning(span_of(cases[i].cell), &m);

		if (!why)
			print_error("\"%s\"\n", cases[i].cell);
		assert_non_null(why);
		assert_memory_equal(why, cases[i].begins, strlen(cases[i].begins));
		assert_int_equal(m.word, W_JAM);
		assert_true(m.life);
	}
}

/* Messages in one cell: what they are taken apart into, or why not; "-" = none. */
static void
messages(void **state)
{
	static const struct { const char *cell, *event, *account, *partition, *zone, *why; }
	cases[] = {
		/* ANSI/SIA DC-05 appendix A, from public texts, recomputed */
		{ "1234 18 1131 01 015 8", "E131", "1234", "01", "015", NULL },
		{ "1234 18 3131 01 015 6", "R131", "1234", "01", "015", NULL },
		{ "1234 18 1401 02 003 5", "E401", "1234", "02", "003", NULL },
		{ "1234 18 3401 03 005 F", "R401", "1234", "03", "005", NULL },
		/* by arithmetic */
		{ "1234181162 01001E", "E162", "1234", "01", "001", NULL },
		{ "1234181384010027", "E384", "1234", "01", "002", NULL },
		{ "1234-18-1381-01-002-0", "E381", "1234", "01", "002", NULL },	/* 10 is 0 */
		{ "1234 18 3381 01 000 f", "R381", "1234", "01", "000", NULL },
		{ "1234 18 1627 00 000 5", "E627", "1234", "00", "000", NULL },
		{ "1234 18 1628 00 000 4", "E628", "1234", "00", "000", NULL },
		{ "1234 18 1602 00 002 0", "E602", "1234", "00", "002", NULL },
		{ "0042 18 1384 02 000 C", "E384", "0042", "02", "000", NULL },
		{ "B00C 18 1130 01 007 F", "E130", "B00C", "01", "007", NULL },
		{ "b00c 98 1130 01 007 7", "E130", "B00C", "01", "007", NULL },
		{ "1234 18 6131 01 015 3", "P131", "1234", "01", "015", NULL },
		/* parts */
		{ "1131 01 015", "E131", "", "01", "015", NULL },
		{ "E131 01 015", "E131", "", "01", "015", NULL },
		{ "r131-01-015", "R131", "", "01", "015", NULL },
		{ "18 1131 01 015", "E131", "", "01", "015", NULL },
		{ "98113101015", "E131", "", "01", "015", NULL },
		{ "618 0 11 015", "P180", "", "11", "015", NULL },
		/* wrong */
		{ "1234 18 1131 01 015 7", "", "", "", "", "check digit of the DC-05 message is wrong" },
		{ "1234 18 1131 01 016 8", "", "", "", "", "check digit of the DC-05 message is wrong" },
		{ "1234 18 1131 01 015", "", "", "", "", "DC-05 message without its check digit" },
		{ "1234 18 2131 01 015 7", "", "", "", "", "DC-05 message without a qualifier" },
		{ "1234 18 1031 01 015 E", "", "", "", "", "DC-05 message without a qualifier" },
		{ "1234 18 E131 01 015 A", "-", "", "", "", NULL },
		{ "1234 18 B131 01 015 D", "", "", "", "", "DC-05 message without a qualifier" },
		/* none */
		{ "1234 28 1131 01 015 7", "-", "", "", "", NULL },
		{ "A234 18 1131 01 015 8", "-", "", "", "", NULL },
		{ "1234 18 1131 01 015 88", "-", "", "", "", NULL },
		{ "18 E131 01 015", "-", "", "", "", NULL }, { "28 1131 01 015", "-", "", "", "", NULL },
		{ "1131 01 15", "-", "", "", "", NULL }, { "1131 01 0B5", "-", "", "", "", NULL },
		{ "2131 01 015", "-", "", "", "", NULL }, { "1031 01 015", "-", "", "", "", NULL },
		{ "1131_01_015", "-", "", "", "", NULL }, { "fire-alarm", "-", "", "", "", NULL },
		{ "", "-", "", "", "", NULL }, { "1131", "-", "", "", "", NULL },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct code_message m;
		const char *why = NULL;
		bool is = code_message(span_of(cases[i].cell), &m, &why);

		if (is != (cases[i].event[0] != '-') || !why != !cases[i].why)
			print_error("\"%s\": %s\n", cases[i].cell, is && why ? why : "");
		assert_int_equal(is, cases[i].event[0] != '-');
		if (!is)
			continue;
		if (cases[i].why) {
			struct meaning none = { .word = W_JAM };

			assert_int_equal(strncmp(why, cases[i].why, strlen(cases[i].why)), 0);
			assert_string_equal(code_meaning(span_of(cases[i].cell), &none), why);
			continue;
		}
		assert_null(why);
		assert_string_equal(m.event, cases[i].event);
		assert_string_equal(m.account, cases[i].account);
		assert_string_equal(m.partition, cases[i].partition);
		assert_string_equal(m.zone, cases[i].zone);
		assert_int_equal(meaning(cases[i].cell).word, meaning(m.event).word);
	}
}

/* Of the sixteen digits that may stand last just one fits, for every code. */
static void
check_digits(void **state)
{
	static const char digits[] = "0123456789BCDEF";
	size_t n;
	const struct code_row *t = code_table_dc05(&n);

	(void)state;
	for (size_t i = 0; i < n; i++) {
		int fit = 0;

		for (const char *d = digits; *d; d++) {
			char cell[64];
			struct code_message m;
			const char *why;

			snprintf(cell, sizeof cell, "B0%02zu 18 1%s 01 %03zu %c", i % 100, t[i].code, i, *d);
			assert_true(code_message(span_of(cell), &m, &why));
			fit += !why;
		}
		assert_int_equal(fit, 1);
	}
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(walk_dc05),
		cmocka_unit_test(walk_dc03),
		cmocka_unit_test(life_classes),
		cmocka_unit_test(user_numbers),
		cmocka_unit_test(chosen),
		cmocka_unit_test(still),
		cmocka_unit_test(messages),
		cmocka_unit_test(check_digits),
		cmocka_unit_test(set_aside),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
