/* test_wordings.c - what a wordings file may say, what decides, what never changes. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "parsers/reader.h"
#include "parsers/wordings.h"

struct said { const char *what, *match, *gives; };

static struct wordings *
make(const struct said *row, size_t n)
{
	struct wordings *w = wordings_new("w.csv");
	struct err e;

	for (size_t i = 0; i < n; i++) {
		if (wordings_add(w, i + 2, span_of(row[i].what), span_of(row[i].match),
		    span_of(row[i].gives), &e))
			fail_msg("%s", e.text);
	}
	return w;
}

/* ---- rows ---- */

static void
wrong_rows(void **state)
{
	static const struct { struct said row; const char *says; } cases[] = {
		{ { "colour", "x", "red" }, "what is not column, event, device, time" },
		{ { "", "x", "red" }, "what is not column" },
		{ { "column", "", "time" }, "needs match" },
		{ { "column", "Zeit", "tiem" }, "not a column of ours: \"tiem\"" },
		{ { "event", "", "trip" }, "a pattern is missing" },
		{ { "event", "a(b", "trip" }, "the pattern is wrong at its byte 4" },
		{ { "event", "a", "tripped" }, "no event word" },
		{ { "event", "a", "" }, "no event word" },
		{ { "event", "a", "130" }, "no event word" },
		{ { "event", "a", "open" }, "no event word" },
		{ { "event", "a", "E399" }, "no event word" },	/* well-formed, in no table */
		{ { "event", "a", "QZ" }, "no event word" },
		{ { "event", "\\C", "trip" }, "the pattern is wrong" },
		{ { "device", "a", "smok" }, "no kind of device" },
		{ { "device", "a", "unknown" }, "no kind of device" },
		{ { "device", "[", "smoke" }, "the pattern is wrong" },
		{ { "time", "", "sometimes" }, "day-first or month-first" },
		{ { "time", "Zeit", "day-first" }, "match stays blank" },
		{ { "separator", "", "x" }, "comma, semicolon, tab or bar" },
		{ { "encoding", "", "ebcdic" }, "utf-8, windows-1252" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct wordings *w = wordings_new("w.csv");
		struct err e = { 0 };

		assert_int_equal(wordings_add(w, 7, span_of(cases[i].row.what),
		    span_of(cases[i].row.match), span_of(cases[i].row.gives), &e), -1);
		if (strncmp(e.text, "w.csv:7: ", 9) != 0 || !strstr(e.text, cases[i].says))
			fail_msg("case %zu says: %s", i, e.text);
		wordings_free(w);
	}
}

static void
rows_that_stand_once(void **state)
{
	static const struct said twice[][2] = {
		{ { "column", "Zeit", "time" }, { "column", "ZEIT", "received" } },
		{ { "time", "", "day-first" }, { "time", "", "month-first" } },
		{ { "separator", "", "," }, { "separator", "", "tab" } },
		{ { "encoding", "", "utf-8" }, { "encoding", "", "utf-8" } },
	};

	(void)state;
	for (size_t i = 0; i < sizeof twice / sizeof *twice; i++) {
		struct wordings *w = make(twice[i], 1);
		const struct said *row = &twice[i][1];
		struct err e;

		assert_int_equal(wordings_add(w, 3, span_of(row->what), span_of(row->match),
		    span_of(row->gives), &e), -1);
		wordings_free(w);
	}
}

static void
how_many_and_how_long(void **state)
{
	char longest[WORDINGS_PATTERN + 2];
	struct wordings *w = wordings_new("w.csv");
	struct err e;

	(void)state;
	memset(longest, 'a', sizeof longest);
	for (int more = -1; more <= 1; more++) {
		struct span match = { longest, (size_t)(WORDINGS_PATTERN + more) };

		assert_int_equal(wordings_add(w, 2, SPAN("event"), match, SPAN("trip"), &e),
		    more > 0 ? -1 : 0);
	}
	/* Three rows so far, the wrong one counts too. */
	for (int i = 3; i < WORDINGS_ROWS; i++)
		assert_int_equal(wordings_add(w, 2, SPAN("event"), SPAN("b"), SPAN("trip"), &e), 0);
	assert_int_equal(wordings_add(w, 2, SPAN("event"), SPAN("b"), SPAN("trip"), &e), -1);
	assert_non_null(strstr(e.text, "more than 2000 rows"));
	wordings_free(w);
}

static void
choices(void **state)
{
	static const struct said rows[] = {
		{ "COLUMN", "Datum", "time" }, { "column", "Uhrzeit", "TIME" },
		{ "column", "line", "" }, { "time", "", "Day-First" },
		{ "separator", "", ";" }, { "encoding", "", "Windows-1252" },
	};
	struct wordings *w = make(rows, 6);
	struct wordings *none = wordings_new("none");
	int c = -2;

	(void)state;
	assert_true(wordings_has_columns(w));
	assert_true(wordings_column(w, SPAN("DATUM"), &c));
	assert_int_equal(c, COL_TIME);
	assert_true(wordings_column(w, SPAN("uhrzeit"), &c));
	assert_int_equal(c, COL_TIME);
	assert_true(wordings_column(w, SPAN("line"), &c));
	assert_int_equal(c, WORDINGS_PASS_OVER);
	assert_false(wordings_column(w, SPAN("Datum "), &c));
	assert_int_equal(wordings_time(w), STAMP_DAY_FIRST);
	assert_int_equal(wordings_separator(w), ';');
	assert_int_equal(wordings_encoding(w), ENCODING_1252);
	assert_false(wordings_has_columns(none));
	assert_int_equal(wordings_time(none), STAMP_UNDECIDED);
	assert_int_equal(wordings_separator(none), 0);
	assert_int_equal(wordings_encoding(none), ENCODING_NOT_SAID);
	wordings_free(w);
	wordings_free(none);
}

/* ---- events ---- */

static void
what_decides(void **state)
{
	static const struct said rows[] = {
		{ "event", "\\Aalarm\\z", "alarm" },		/* 2 */
		{ "event", "^alarm\n.*\\brauch", "E111" },	/* 3 */
		{ "event", "(?-i)^Batt", "low-battery" },	/* 4 */
		{ "event", "geöffnet$", "zone-open" },		/* 5 */
		{ "event", "^tür \\d+ zu$", "zone-close" },	/* 6 */
		{ "event", "zu", "arm" },			/* 7 */
		{ "event", "ruhe", "R401" },			/* 8 */
		{ "event", "^ta$", "trouble" },			/* 9 */
	};
	static const struct { const char *cell, *text, *why; enum word word; enum address address; }
	cases[] = {
		{ "Alarm", "", NULL, W_ALARM, ADDR_ZONE },
		{ "Alarm", "Rauch Küche", NULL, W_FIRE_ALARM, ADDR_ZONE },
		{ "Alarm", "Strauch", NULL, W_ALARM, ADDR_ZONE },	/* its own word */
		{ "Batterie", "", NULL, W_LOW_BATTERY, ADDR_ZONE },
		{ "batterie", "", "event not recognised", 0, 0 },
		{ "Tür GEÖFFNET", "", NULL, W_ZONE_OPEN, ADDR_ZONE },
		{ "?", "Fenster geöffnet", NULL, W_ZONE_OPEN, ADDR_ZONE },
		{ "TÜR 12 ZU", "", NULL, W_ZONE_CLOSE, ADDR_ZONE },	/* before line 7 */
		{ "Tür zu", "", NULL, W_ARM, ADDR_ZONE },
		{ "Nachtruhe", "", NULL, W_ARM, ADDR_USER },
		{ "open", "", "ambiguous: a door, or arming? write zone-open or disarm,"
		  " zone-close or arm", 0, 0 },
		{ "TA", "", NULL, W_TROUBLE, ADDR_ZONE },	/* theirs, not DC-03's tamper */
		{ "E130", "", NULL, W_BURGLARY_ALARM, ADDR_ZONE },
		{ "", "ruhe", "no event", 0, 0 },
	};
	struct wordings *w = make(rows, 8);
	struct wordings_run *r = wordings_run_new(w);
	struct wordings_counts n;
	struct arena a = { 0 };
	int times = 3;			/* the second and third come from the memo */

	(void)state;
	for (int k = 0; k < times; k++) {
		for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
			struct meaning m;
			const char *why = wordings_event(r, span_of(cases[i].cell),
			    span_of(cases[i].text), &m);

			if (cases[i].why) {
				if (!why || strcmp(why, cases[i].why) != 0)
					fail_msg("%s: %s", cases[i].cell, why ? why : "taken");
				continue;
			}
			if (why || m.word != cases[i].word || m.address != cases[i].address)
				fail_msg("%s/%s: %s", cases[i].cell, cases[i].text,
				    why ? why : word_text(m.word));
		}
	}
	wordings_count(r, &a, &n);
	assert_int_equal(n.n_rule, 8);
	assert_int_equal(n.rule[0].line, 2);
	assert_int_equal(n.rule[0].rows, times);
	assert_int_equal(n.rule[3].rows, 2 * times);
	assert_int_equal(n.rule[4].rows, times);
	assert_string_equal(n.rule[1].gives, "E111");
	assert_int_equal(n.by_own, 2 * times);
	assert_int_equal(n.unmatched, 2 * times);
	assert_int_equal(n.n_text, 2);
	assert_int_equal(n.text[0].rows, times);
	assert_string_equal(n.text[0].cell, "batterie");
	assert_int_equal(n.kept, 0);
	arena_release(&a);
	wordings_run_free(r);
	wordings_free(w);
}

/* Whatever a file of wordings says, what is of life safety by itself stays so. */
static void
life_safety_stays(void **state)
{
	static const char *const gives[] = { "test-report", "other", "zone-close", "R130", "E570",
		"alarm-restore", "unbypass" };
	static const char *const words[] = { "fire-alarm", "heat-alarm", "co-alarm", "gas-alarm",
		"medical-alarm", "panic-alarm", "hold-up-alarm", "duress-alarm",
		"fire-supervisory", "fire-supervisory-restore" };
	size_t n_code, n_letters;
	const struct code_row *code = code_table_dc05(&n_code);
	const struct code_row *letters = code_table_dc03(&n_letters);

	(void)state;
	for (size_t g = 0; g < sizeof gives / sizeof *gives; g++) {
		struct said row = { "event", "", gives[g] };
		struct wordings *w;
		struct wordings_run *r;
		char cell[8];
		struct meaning own, m, given;

		row.match = ".";
		assert_null(code_meaning(span_of(gives[g]), &given));
		assert_false(given.life);
		w = make(&row, 1);
		r = wordings_run_new(w);
		for (size_t i = 0; i < n_code; i++) {
			for (const char *q = "ERP136"; *q; q++) {
				snprintf(cell, sizeof cell, "%c%s", *q, code[i].code);
				assert_null(code_meaning(span_of(cell), &own));
				assert_null(wordings_event(r, span_of(cell), span_of("text"), &m));
				if (own.life)
					assert_true(m.word == own.word && m.life && m.still == own.still &&
					    m.hint == own.hint);
				else
					assert_int_equal(m.word, given.word);
			}
			/* Without its qualifier it can become life safety only. */
			assert_true((wordings_event(r, span_of(code[i].code), span_of(""), &m) != NULL)
			    == code[i].life);
		}
		for (size_t i = 0; i < n_letters; i++) {
			assert_null(code_meaning(span_of(letters[i].code), &own));
			assert_null(wordings_event(r, span_of(letters[i].code), span_of(""), &m));
			if (own.life)
				assert_true(m.word == own.word && m.life);
		}
		for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
			assert_null(wordings_event(r, span_of(words[i]), span_of("x"), &m));
			assert_string_equal(word_text(m.word), words[i]);
			assert_true(m.life);
		}
		wordings_run_free(r);
		wordings_free(w);
	}
}

static void
bare_codes(void **state)
{
	static const struct said rows[] = {
		{ "event", "^(111|130)\n.*weg", "R111" }, { "event", "^111", "E111" },
		{ "event", "^130", "E130" },
	};
	struct wordings *w = make(rows, 3);
	struct wordings_run *r = wordings_run_new(w);
	struct wordings_counts n;
	struct arena a = { 0 };
	struct meaning m;

	(void)state;
	assert_null(wordings_event(r, SPAN("111"), SPAN("Rauch weg"), &m));
	assert_true(m.word == W_ALARM_RESTORE && m.life);
	assert_null(wordings_event(r, SPAN("111"), SPAN("Rauch"), &m));
	assert_true(m.word == W_FIRE_ALARM && m.hint == KIND_SMOKE);
	assert_null(wordings_event(r, SPAN("130"), SPAN(""), &m));
	assert_true(m.word == W_BURGLARY_ALARM);
	wordings_count(r, &a, &n);
	assert_int_equal(n.kept, 0);
	arena_release(&a);
	wordings_run_free(r);
	wordings_free(w);
}

/* A pattern that backtracks without end is stopped and named; one that is only slow on
 * another text is not. */
static void
at_its_limit(void **state)
{
	static const struct said rows[] = {
		{ "event", "fine", "trip" }, { "event", "(a+)+[bc]", "arm" }, { "event", "a", "disarm" },
	};
	struct wordings *w = make(rows, 3);
	struct wordings_run *r = wordings_run_new(w);
	struct wordings_counts n;
	struct arena a = { 0 };
	struct meaning m;
	const char *why;
	char text[201];

	(void)state;
	memset(text, 'a', 200);
	text[200] = '\0';
	for (int i = 0; i < 3; i++) {
		why = wordings_event(r, span_of("x"), span_of(text), &m);
		assert_non_null(why);
		assert_string_equal(why, "the pattern in line 3 of w.csv ran into its limit");
	}
	assert_null(wordings_event(r, span_of("fine"), span_of(text), &m));
	assert_int_equal(m.word, W_TRIP);
	assert_null(wordings_event(r, span_of("aaab"), span_of(""), &m));
	assert_int_equal(m.word, W_ARM);
	/* Even then a code of life safety is what it is. */
	assert_null(wordings_event(r, span_of("E111"), span_of(text), &m));
	assert_int_equal(m.word, W_FIRE_ALARM);
	wordings_count(r, &a, &n);
	assert_int_equal(n.limit, 3);
	arena_release(&a);
	wordings_run_free(r);
	wordings_free(w);
}

static void
hostile(void **state)
{
	static const struct said rows[] = {
		{ "event", "(?:(?=(a*))\\1)*[bc]", "trip" }, { "event", "(?R)?x(?R)?y", "trip" },
		{ "event", "^(?:.*\\b){8}$", "arm" },
	};
	static char text[16000];
	struct wordings *w = make(rows, 3);
	struct wordings_run *r = wordings_run_new(w);
	struct meaning m;

	(void)state;
	for (size_t i = 0; i < sizeof text - 1; i++)
		text[i] = "ax "[i % 3];
	wordings_event(r, span_of("x"), span_of(text), &m);	/* any answer, soon */
	/* Not UTF-8: no pattern matches. */
	assert_non_null(wordings_event(r, span_of("\xff\xfe"), span_of("x"), &m));
	wordings_run_free(r);
	wordings_free(w);
}

/* More texts than are told apart are still counted. */
static void
many_texts(void **state)
{
	static const struct said row = { "event", "never", "trip" };
	struct wordings *w = make(&row, 1);
	struct wordings_run *r = wordings_run_new(w);
	struct wordings_counts n;
	struct arena a = { 0 };
	struct meaning m;
	char text[20];

	(void)state;
	for (int k = 0; k < 2; k++) {
		for (int i = 0; i < 3000; i++) {
			snprintf(text, sizeof text, "text %d", i);
			assert_non_null(wordings_event(r, span_of("odd"), span_of(text), &m));
			if (i == 7)
				wordings_event(r, span_of("odd"), span_of(text), &m);
		}
	}
	wordings_count(r, &a, &n);
	assert_int_equal(n.unmatched, 6002);
	assert_int_equal(n.n_text, 2000);
	assert_string_equal(n.text[0].text, "text 7");
	assert_int_equal(n.text[0].rows, 4);
	assert_int_equal(n.text[1].rows, 2);
	arena_release(&a);
	wordings_run_free(r);
	wordings_free(w);
}

/* ---- devices ---- */

static void
devices(void **state)
{
	static const struct said rows[] = {
		{ "device", "rauch", "smoke" }, { "device", "melder$", "motion" },
		{ "device", "smoke|^co$|contact", "other" },
	};
	static const struct { const char *cell; enum kind kind; const char *why; } cases[] = {
		{ "Rauchmelder", KIND_SMOKE, NULL }, { "Bewegungsmelder", KIND_MOTION, NULL },
		{ "smoke", KIND_SMOKE, NULL }, { "CO", KIND_CO, NULL },
		{ "contact", KIND_DEVICE_OTHER, NULL }, { "keypad", KIND_KEYPAD, NULL },
		{ "", KIND_UNKNOWN, NULL }, { "Sirene", 0, "device kind not recognised" },
	};
	struct wordings *w = make(rows, 3);
	struct wordings_run *r = wordings_run_new(w);
	struct wordings_counts n;
	struct arena a = { 0 };

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		enum kind k = KIND_COUNT;
		const char *why = wordings_device(r, span_of(cases[i].cell), &k);

		assert_true(!why == !cases[i].why);
		if (!why)
			assert_string_equal(kind_text(k), kind_text(cases[i].kind));
	}
	wordings_count(r, &a, &n);
	assert_int_equal(n.kept, 2);
	assert_int_equal(n.unmatched, 1);
	assert_string_equal(n.text[0].cell, "Sirene");
	assert_string_equal(n.rule[0].what, "device");
	arena_release(&a);
	wordings_run_free(r);
	wordings_free(w);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(wrong_rows),
		cmocka_unit_test(rows_that_stand_once),
		cmocka_unit_test(how_many_and_how_long),
		cmocka_unit_test(choices),
		cmocka_unit_test(what_decides),
		cmocka_unit_test(life_safety_stays),
		cmocka_unit_test(bare_codes),
		cmocka_unit_test(at_its_limit),
		cmocka_unit_test(hostile),
		cmocka_unit_test(many_texts),
		cmocka_unit_test(devices),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
