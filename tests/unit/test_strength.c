#include "daemon/base/strength.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof *(a))

static void
reads(void **state)
{
	static const struct { const char *text; bool ok; enum strength_unit unit; int tenths; } row[] = {
		{ "-71 dBm", true, STRENGTH_DBM, -710 },
		{ "-71.5dBm", true, STRENGTH_DBM, -715 },
		{ "-71.26 DBM", true, STRENGTH_DBM, -713 },
		{ "85 %", true, STRENGTH_PERCENT, 850 },
		{ "85%", true, STRENGTH_PERCENT, 850 },
		{ "3 bars", true, STRENGTH_BARS, 30 },
		{ "3000 bars", true, STRENGTH_BARS, 30000 },
		{ "3000.1 bars", false, STRENGTH_NONE, 0 },
		{ "-3000.1 dBm", false, STRENGTH_NONE, 0 },
		{ "1e400 dBm", false, STRENGTH_NONE, 0 },
		{ "nan dBm", false, STRENGTH_NONE, 0 },
		{ "-71", false, STRENGTH_NONE, 0 },
		{ "dBm", false, STRENGTH_NONE, 0 },
		{ "%", false, STRENGTH_NONE, 0 },
		{ "", false, STRENGTH_NONE, 0 },
		{ "good", false, STRENGTH_NONE, 0 },
		{ "3 4 bars", false, STRENGTH_NONE, 0 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		enum strength_unit unit = STRENGTH_NONE;
		int16_t tenths = 0;

		if (strength_read(span_of(row[i].text), &unit, &tenths) != row[i].ok ||
		    unit != row[i].unit || tenths != row[i].tenths)
			fail_msg("%s: %d %d", row[i].text, (int)unit, tenths);
	}
	assert_string_equal(strength_text(STRENGTH_DBM), "dBm");
	assert_string_equal(strength_text(STRENGTH_PERCENT), "%");
	assert_string_equal(strength_text(STRENGTH_BARS), "bars");
	assert_string_equal(strength_text(STRENGTH_NONE), "");
}

int
main(void)
{
	const struct CMUnitTest tests[] = { cmocka_unit_test(reads) };

	return cmocka_run_group_tests(tests, NULL, NULL);
}
