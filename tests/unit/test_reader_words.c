/* test_reader_words.c - which wordings a file is read with, and what they do to its rows. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "daemon/base/arena.h"
#include "parsers/reader.h"
#include "parsers/wordings.h"

struct said { const char *what, *match, *gives; };

static struct wordings *
make(const char *name, const struct said *row)
{
	struct wordings *w = wordings_new(name);
	struct err e;

	for (uint64_t line = 2; row->what; row++, line++) {
		if (wordings_add(w, line, span_of(row->what), span_of(row->match),
		    span_of(row->gives), &e) < 0)
			fail_msg("%s", e.text);
	}
	return w;
}

static struct reader *
open_with(const char *text, struct wordings *const *w, size_t n, bool named, struct err *e)
{
	struct reader_options o = { .wordings = (const struct wordings *const *)w,
		.n_wordings = n, .named = named };

	e->text[0] = '\0';
	return reader_memory("f.csv", text, strlen(text), &o, e);
}

static struct row
next(struct reader *r, enum read_result want)
{
	struct row row;
	struct err e;
	enum read_result got = reader_next(r, &row, &e);

	if (got != want)
		fail_msg("line %d: %s", (int)row.line, row.reason ? row.reason : "a row");
	return row;
}

static void
is(const struct row *row, enum column c, const char *want)
{
	if (!span_eq(row->cell[c], span_of(want)))
		fail_msg("%s is \"%.*s\"", column_text(c), (int)row->cell[c].n,
		    row->cell[c].n ? row->cell[c].p : "");
}

static const struct said german[] = {
	{ "separator", "", ";" }, { "time", "", "day-first" }, { "column", "Objekt", "account" },
	{ "column", "Datum", "time" }, { "column", "Zeit", "time" }, { "column", "Meldung", "event" },
	{ "column", "Art", "device" }, { "column", "Melder", "zone" }, { "column", "line", "" },
	{ "event", "^auf$", "zone-open" }, { "device", "rauch", "smoke" }, { NULL, NULL, NULL },
};
static const struct said english[] = {
	{ "column", "When", "time" }, { "column", "What", "event" }, { "column", "Objekt", "account" },
	{ "event", "^opened$", "zone-open" }, { NULL, NULL, NULL },
};
static const struct said plain[] = {
	{ "event", "^auf$", "zone-open" }, { "time", "", "month-first" }, { "device", "rauch", "smoke" },
	{ NULL, NULL, NULL },
};

/* Columns of theirs in any case; two that make one; one that is passed over though it has
 * a name of ours; one that nobody knows. */
static void
columns(void **state)
{
	static const char text[] = "OBJEKT;Datum;Melder;Zeit;Meldung;line;Wer\n"
	    "1042;01.10.2026;7;08:15:30;Auf;9;x\n"
	    "1042;01.10.2026;;08:16;auf;9;x\n"
	    "1042;;7;08:16;auf;9;x\n";
	struct wordings *w = make("de", german);
	struct err e;
	struct reader *r = open_with(text, &w, 1, false, &e);
	struct span cell[COL_COUNT];
	struct arena a = { 0 };
	struct row row;

	(void)state;
	assert_non_null(r);
	assert_ptr_equal(reader_info(r)->wordings, w);
	assert_true(reader_info(r)->fits);
	assert_int_equal(reader_info(r)->separator, ';');
	assert_string_equal(reader_info(r)->ignored, "Wer");
	assert_string_equal(reader_info(r)->mapped, "OBJEKT is account, Datum is time, Melder is zone,"
	    " Zeit is time, Meldung is event");
	row = next(r, READ_ROW);
	is(&row, COL_TIME, "01.10.2026 08:15:30");
	is(&row, COL_ACCOUNT, "1042");
	is(&row, COL_ZONE, "7");
	is(&row, COL_LINE, "");
	assert_int_equal(row.time.wall, 1790842530);	/* the first of October, day first */
	assert_int_equal(row.meaning.word, W_ZONE_OPEN);
	row = next(r, READ_ROW);
	assert_int_equal(row.time.precision, PREC_MINUTE);
	row = next(r, READ_ASIDE);
	/* What is set aside can be told by our columns from the header that is kept. */
	assert_true(reader_cells(&a, reader_info(r)->header, ';', row.raw, cell));
	assert_true(span_eq(cell[COL_TIME], SPAN("08:16")));
	assert_true(span_eq(cell[COL_EVENT], SPAN("auf")));
	assert_int_equal(cell[COL_LINE].n, 0);
	next(r, READ_END);
	reader_close(r);
	arena_release(&a);
	wordings_free(w);
}

static void
which_fit(void **state)
{
	static const char de[] = "Objekt;Datum;Zeit;Meldung\n1;01.10.2026;08:00;auf\n";
	static const char en[] = "Objekt,When,What\n1,2026-10-01 08:00,opened\n";
	static const char both[] = "Objekt,time,event\n1,2026-10-01 08:00,E130\n";
	static const char own[] = "account,time,event\n1,10/02/2026 08:00,auf\n";
	static const char sites[] = "account,timezone\n1,UTC\n";
	struct wordings *w[3] = { make("de", german), make("en", english), make("plain", plain) };
	const struct { const char *text; size_t from, n; bool named; int want; const char *fault; }
	cases[] = {
		{ de, 0, 2, false, 0, NULL },
		{ en, 0, 2, false, 1, NULL },
		{ both, 0, 1, false, -1, "no known kind" },	/* de has another separator */
		{ both, 1, 1, false, 1, NULL },
		{ de, 1, 2, false, -1, "names no column" },
		{ own, 0, 2, false, -1, NULL },			/* 10/02: the rows prove nothing */
		{ own, 0, 3, false, 2, NULL },
		{ own, 0, 1, true, 0, NULL },			/* named: its events and times */
		{ own, 2, 1, true, 2, NULL },
		{ sites, 0, 3, false, -1, NULL },
		{ sites, 0, 1, true, -1, NULL },
		{ sites, 2, 1, true, -1, NULL },
	};
	struct err e;

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct reader *r = open_with(cases[i].text, w + cases[i].from, cases[i].n, cases[i].named,
		    &e);

		if (cases[i].fault) {
			assert_null(r);
			if (!strstr(e.text, cases[i].fault))
				fail_msg("case %zu: %s", i, e.text);
			continue;
		}
		if (!r) {
			/* Without wordings that say so, nobody knows which is the day. */
			assert_int_equal(i, 5);
			continue;
		}
		if (reader_info(r)->wordings != (cases[i].want < 0 ? NULL : w[cases[i].want]))
			fail_msg("case %zu: %s", i, reader_info(r)->wordings
			    ? wordings_name(reader_info(r)->wordings) : "none");
		assert_int_equal(reader_info(r)->fits, cases[i].want >= 0 && i != 7);
		reader_close(r);
	}
	for (int i = 0; i < 3; i++)
		wordings_free(w[i]);
}

static void
two_that_fit(void **state)
{
	static const struct said other[] = { { "column", "When", "time" }, { "column", "What", "event" },
		{ "column", "Objekt", "account" }, { NULL, NULL, NULL } };
	static const char text[] = "Objekt,When,What\n1,2026-10-01 08:00,opened\n";
	struct wordings *w[2] = { make("one.csv", english), make("two.csv", other) };
	struct err e;
	struct reader *r = open_with(text, w, 2, false, &e);

	(void)state;
	assert_null(r);
	assert_non_null(strstr(e.text, "one.csv and two.csv"));
	assert_non_null(strstr(e.text, "--wordings"));
	r = open_with(text, w, 1, true, &e);
	assert_ptr_equal(reader_info(r)->wordings, w[0]);
	reader_close(r);
	wordings_free(w[0]);
	wordings_free(w[1]);
}

/* Wordings that are kept from before are looked at only where none of the call's fits,
 * and do not fit without columns. */
static void
kept_ones(void **state)
{
	static const char en[] = "Objekt,When,What\n1,2026-10-01 08:00,opened\n";
	static const char own[] = "account,time,event\n1,2026-10-01 08:00,E130\n";
	static const struct said other[] = { { "column", "When", "time" }, { "column", "What", "event" },
		{ "column", "Objekt", "account" }, { NULL, NULL, NULL } };
	struct wordings *w[3] = { make("given", english), make("kept", other), make("plain", plain) };
	const struct { const char *text; size_t from, n, kept; int want; } cases[] = {
		{ en, 0, 2, 1, 0 }, { en, 1, 1, 1, 1 }, { en, 1, 2, 2, 1 }, { own, 2, 1, 1, -1 },
		{ own, 1, 2, 2, -1 }, { own, 2, 1, 0, 2 },
	};
	struct err e;

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct reader_options o = { .n_wordings = cases[i].n, .n_kept = cases[i].kept,
			.wordings = (const struct wordings *const *)(w + cases[i].from) };
		struct reader *r = reader_memory("f.csv", cases[i].text, strlen(cases[i].text), &o, &e);

		assert_non_null(r);
		if (reader_info(r)->wordings != (cases[i].want < 0 ? NULL : w[cases[i].want]))
			fail_msg("case %zu", i);
		reader_close(r);
	}
	for (int i = 0; i < 3; i++)
		wordings_free(w[i]);
}

/* Which day 02/10 is: as wordings say, whatever the file. */
static void
day_and_month(void **state)
{
	static const char text[] = "account,time,event\n1,02/10/2026 08:00,auf\n";
	static const struct said day[] = { { "time", "", "day-first" }, { "event", "auf", "trip" },
		{ NULL, NULL, NULL } };
	struct wordings *w[2] = { make("day", day), make("month", plain) };

	(void)state;
	for (int i = 0; i < 2; i++) {
		struct err e;
		struct reader *r = open_with(text, w + i, 1, true, &e);
		struct row row = next(r, READ_ROW);

		/* 2 October and 10 February 2026, 08:00 */
		assert_int_equal(row.time.wall, i == 0 ? 1790928000 : 1770710400);
		reader_close(r);
		wordings_free(w[i]);
	}
}

static void
encodings(void **state)
{
	static const struct said utf8[] = { { "encoding", "", "utf-8" }, { "event", "x", "trip" },
		{ NULL, NULL, NULL } };
	static const struct said older[] = { { "encoding", "", "windows-1252" },
		{ "event", "x", "trip" }, { NULL, NULL, NULL } };
	static const char text[] = "account,time,event,text\n1,2026-10-01 08:00,x,K\xfc" "che\n"
	    "1,2026-10-01 08:01,x,K\xc3\xbc" "che\n";
	struct wordings *w[2] = { make("utf8", utf8), make("older", older) };
	struct err e;
	struct reader *r;
	struct row row;

	(void)state;
	r = open_with(text, w, 1, true, &e);
	row = next(r, READ_ASIDE);
	assert_non_null(strstr(row.reason, "not UTF-8"));
	row = next(r, READ_ROW);
	is(&row, COL_TEXT, "Küche");
	reader_close(r);
	r = open_with(text, w + 1, 1, true, &e);
	row = next(r, READ_ROW);
	is(&row, COL_TEXT, "Küche");
	row = next(r, READ_ROW);
	is(&row, COL_TEXT, "KÃ¼che");	/* as it was asked for */
	reader_close(r);
	wordings_free(w[0]);
	wordings_free(w[1]);
}

static void
rosters(void **state)
{
	static const char text[] = "Objekt;Art;Melder\n1;Rauchmelder;7\n1;co;8\n1;Kühlschrank;9\n";
	struct wordings *w = make("de", german);
	struct err e;
	struct reader *r = open_with(text, &w, 1, false, &e);
	struct row row;

	(void)state;
	assert_int_equal(reader_info(r)->kind, FILE_ROSTER);
	row = next(r, READ_ROW);
	assert_int_equal(row.kind, KIND_SMOKE);
	row = next(r, READ_ROW);
	assert_int_equal(row.kind, KIND_CO);
	row = next(r, READ_ASIDE);
	assert_string_equal(row.reason, "device kind not recognised");
	reader_close(r);
	wordings_free(w);
}

/* A file of wordings is itself read by nobody's wordings. */
static void
wordings_are_a_kind(void **state)
{
	static const char text[] = "what,match,gives\nevent, a b ,trip\n";
	struct wordings *w = make("plain", plain);
	struct err e;
	struct reader *r = open_with(text, &w, 1, true, &e);
	struct row row;

	(void)state;
	assert_int_equal(reader_info(r)->kind, FILE_WORDINGS);
	assert_null(reader_info(r)->wordings);
	row = next(r, READ_ROW);
	is(&row, COL_WHAT, "event");
	is(&row, COL_MATCH, "a b");
	is(&row, COL_GIVES, "trip");
	reader_close(r);
	wordings_free(w);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(columns),
		cmocka_unit_test(which_fit),
		cmocka_unit_test(two_that_fit),
		cmocka_unit_test(kept_ones),
		cmocka_unit_test(day_and_month),
		cmocka_unit_test(encodings),
		cmocka_unit_test(rosters),
		cmocka_unit_test(wordings_are_a_kind),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
