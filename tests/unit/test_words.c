/* base/words: both lists are whole, spelled alike, and found in any letter case. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "daemon/base/words.h"

static void
spelled_well(const char *text)
{
	assert_true(*text && strlen(text) < 40);
	for (const char *p = text; *p; p++)
		assert_true((*p >= 'a' && *p <= 'z') || (*p == '-' && p > text && p[1]));
}

static void
upper(const char *text, char *out)
{
	while ((*out++ = (char)(*text >= 'a' && *text <= 'z' ? *text - 32 : *text)))
		text++;
}

static void
words(void **state)
{
	enum word w, found;

	(void)state;
	for (w = 0; w < WORD_COUNT; w++) {
		char big[64];

		spelled_well(word_text(w));
		assert_true(word_find(span_of(word_text(w)), &found));
		assert_int_equal(found, w);		/* hence unique */
		upper(word_text(w), big);
		assert_true(word_find(span_of(big), &found));
		assert_int_equal(found, w);
		/* begins and ends of a state exclude each other */
		assert_false((word_properties(w) & WP_ACTIVE) && (word_properties(w) & WP_RETURN));
		if (word_properties(w) & WP_ALARM)
			assert_true((word_properties(w) & (WP_HEARD | WP_ACTIVE)) ==
			    (WP_HEARD | WP_ACTIVE));
		if (word_properties(w) & WP_SILENT)
			assert_true(word_properties(w) & WP_LIFE);
		/* what is called an alarm of a device is one; these three only tell of one */
		if (strstr(word_text(w), "-alarm") && w != W_NEAR_ALARM)
			assert_true(word_properties(w) & WP_ALARM);
	}
	found = W_JAM;
	assert_false(word_find(SPAN("no-such-word"), &found));
	assert_false(word_find(SPAN(""), &found));
	assert_false(word_find(SPAN("zone-ope"), &found));
	assert_false(word_find(SPAN(" trip"), &found));
	assert_int_equal(found, W_JAM);
}

static void
kinds(void **state)
{
	static const enum kind life[] = {
		KIND_SMOKE, KIND_HEAT, KIND_FLAME, KIND_DUCT, KIND_CALL_POINT, KIND_WATER_FLOW,
		KIND_CO, KIND_GAS, KIND_PANIC, KIND_HOLD_UP, KIND_MEDICAL,
	};
	size_t n = 0;
	enum kind k, found;

	(void)state;
	for (k = KIND_UNKNOWN + 1; k < KIND_COUNT; k++) {
		char big[64];

		spelled_well(kind_text(k));
		assert_true(*kind_heading(k));
		assert_true(kind_find(span_of(kind_text(k)), &found));
		assert_int_equal(found, k);
		upper(kind_text(k), big);
		assert_true(kind_find(span_of(big), &found));
		assert_int_equal(found, k);
		n += kind_is_life(k);
	}
	for (size_t i = 0; i < sizeof life / sizeof *life; i++)
		assert_true(kind_is_life(life[i]));
	assert_int_equal(n, sizeof life / sizeof *life);
	found = KIND_SIREN;
	assert_false(kind_find(SPAN("unknown"), &found));
	assert_false(kind_find(SPAN(""), &found));
	assert_int_equal(found, KIND_SIREN);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(words),
		cmocka_unit_test(kinds),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
