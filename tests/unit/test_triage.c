/* test_triage.c - the views of findings from literal findings: what is never left out,
 * which caution is said, and the forms that other programs read. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/report/explain.h"
#include "daemon/report/findings.h"
#include "daemon/report/triage.h"
#include "rules/care.h"
#include "rules/rule.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))
#define T0 (1790842530 * SECOND)	/* 2026-10-01T08:15:30Z, date -u -d @1790842530 */

static struct stored_measure measure[] = {
	{ "bursts", "", NULL, 3 }, { "median dwell", "s", NULL, 1.5 },
	{ "likely cause", "", "loose magnet", 0 },
};
static const char *check[] = { "look at the magnet", "shake the door" };
static const char *care_life[] = { CARE_LIFE, CARE_CLOCK };
static const char *care_gap[] = { CARE_GAP };
static struct stored_evidence evidence[] = {
	{ "a.csv", 12, T0, "E130", "zone 5" },
};
static struct stored_decision planned = {
	"planned", "R. Moser", "visit", T0 + HOUR, T0 + 3 * DAY, true, "",
};

static struct stored_finding
finding(const char *id, enum level level, bool life)
{
	return (struct stored_finding){
		.id = id, .rule = "chatter", .account = "1042", .zone = "5", .serial = "4A0071",
		.device = "zone 5 (kitchen, contact, serial 4A0071)", .site_name = "Lindenhof 3",
		.group = "", .timezone = "Europe/Vienna", .state = "new", .level = level,
		.life = life, .onset = T0, .last = T0 + 90 * MINUTE, .cleared = NO_TIME, .count = 3,
		.summary = "3 bursts, the largest of 7.", .measure = measure,
		.n_measure = COUNT(measure), .check = check, .n_check = COUNT(check),
		.caution = life ? care_life : care_gap, .n_caution = life ? 2 : 1,
		.evidence = evidence, .n_evidence = 1, .all_evidence = 1,
		.decision = &planned,
	};
}

struct sheet {
	struct page p;
	char       *bytes;
	size_t      n;
};

static void
open_sheet(struct sheet *s)
{
	*s = (struct sheet){ 0 };
	s->p.f = open_memstream(&s->bytes, &s->n);
	s->p.width = 80;
	s->p.zone.name = "UTC";
}

static const char *
text(struct sheet *s)
{
	fflush(s->p.f);
	return s->bytes;
}

static void
close_sheet(struct sheet *s)
{
	fclose(s->p.f);
	free(s->bytes);
	page_release(&s->p);
}

/* How often `word` stands in the text. */
static size_t
times(const char *in, const char *word)
{
	size_t n = 0;

	while ((in = strstr(in, word))) {
		n++;
		in += strlen(word);
	}
	return n;
}

/* The caution fills several lines: its first words tell that it is there. */
#define LIFE_BEGIN "Life safety: treat every alarm as real"

static void
nothing_urgent_is_left_out(void **state)
{
	struct stored_finding f[] = {
		finding("A1", LEVEL_NOW, false), finding("A2", LEVEL_NOW, false),
		finding("A3", LEVEL_SOON, true), finding("A4", LEVEL_SOON, true),
		finding("A5", LEVEL_SOON, false), finding("A6", LEVEL_SOON, false),
		finding("A7", LEVEL_LATER, false),
	};
	static const struct { size_t limit; const char *shown, *says; } cases[] = {
		{ 1, "A1A2A3A4A5", "2 more are not shown (1 soon, 1 later)" },
		{ 2, "A1A2A3A4A5A6", "1 more are not shown (0 soon, 1 later)" },
		{ 3, "A1A2A3A4A5A6A7", NULL },
		{ 0, "A1A2A3A4A5A6A7", NULL },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct triage t = { .finding = f, .n_finding = COUNT(f), .limit = cases[i].limit,
			.filter = "", .cover_from = T0, .cover_to = T0 + DAY, .since = NO_TIME };
		struct sheet s;
		char shown[64] = "";

		open_sheet(&s);
		triage_text(&s.p, &t);
		for (size_t k = 0; k < COUNT(f); k++) {
			char head[16];

			snprintf(head, sizeof head, "\n %s  1042", f[k].id);
			if (strstr(text(&s), head))
				snprintf(shown + strlen(shown), sizeof shown - strlen(shown), "%s",
				    f[k].id);
		}
		assert_string_equal(shown, cases[i].shown);
		if (cases[i].says)
			assert_non_null(strstr(text(&s), cases[i].says));
		else
			assert_null(strstr(text(&s), "not shown"));
		close_sheet(&s);
	}
}

static void
the_life_caution_is_said_once(void **state)
{
	struct stored_finding life = finding("A1", LEVEL_NOW, true);
	struct stored_finding other = finding("A2", LEVEL_SOON, false);
	struct load_row load = { "1042", "", "zone 9 (smoke detector)", "", "", true, 4, 4 };
	const struct {
		const struct stored_finding *finding;
		size_t n_load, said;
	} cases[] = { { &life, 0, 1 }, { &other, 0, 0 }, { &other, 1, 1 } };

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		struct triage t = { .finding = cases[i].finding, .n_finding = 1, .filter = "",
			.load = &load, .n_load = cases[i].n_load, .all_alarms = 8,
			.cover_from = T0, .cover_to = T0, .since = NO_TIME };
		struct sheet s;

		open_sheet(&s);
		triage_text(&s.p, &t);
		assert_int_equal(times(text(&s), LIFE_BEGIN), cases[i].said);
		/* What limits the proof is pointed to at the finding. */
		assert_int_equal(times(text(&s), "caution a"), 2);
		close_sheet(&s);
	}
}

static void
missing_accounts_stand_first(void **state)
{
	struct stored_finding f = finding("A1", LEVEL_NOW, true);
	struct account_info gone[] = { { .account = "0107", .name = "mill", .group = "" } };
	const char *twin[] = { "42", "0042" };
	struct triage t = { .finding = &f, .n_finding = 1, .filter = "", .uncovered = gone,
		.n_uncovered = 1, .twin = twin, .n_twin = 1, .cover_from = T0, .cover_to = T0,
		.since = NO_TIME };
	struct sheet s;
	const char *missing, *first;

	(void)state;
	open_sheet(&s);
	triage_text(&s.p, &t);
	missing = strstr(text(&s), "0107 mill");
	first = strstr(text(&s), "A1");
	assert_non_null(missing);
	assert_non_null(first);
	assert_true(missing < first);
	assert_non_null(strstr(text(&s), "42 and 0042"));
	close_sheet(&s);
}

static void
csv_form(void **state)
{
	struct stored_finding f[] = { finding("A1", LEVEL_NOW, true), finding("A2", LEVEL_LATER,
	    false) };
	char *got = NULL;
	size_t n = 0;
	FILE *out = open_memstream(&got, &n);

	(void)state;
	f[1].zone = f[1].serial = f[1].device = "";
	f[1].last = NO_TIME;
	f[1].summary = "=1+1, \"x\"";
	findings_csv(out, f, 2);
	fclose(out);
	assert_string_equal(got,
	    "id,rule,account,zone,serial,device,level,state,onset,last,count,summary\n"
	    "A1,chatter,1042,5,4A0071,\"zone 5 (kitchen, contact, serial 4A0071)\",now,new,"
	    "2026-10-01T08:15:30Z,2026-10-01T09:45:30Z,3,\"3 bursts, the largest of 7.\"\n"
	    "A2,chatter,1042,,,,later,new,2026-10-01T08:15:30Z,,3,\"'=1+1, \"\"x\"\"\"\n");
	free(got);
}

static void
json_form(void **state)
{
	struct stored_finding f = finding("A1", LEVEL_SOON, false);
	char *got = NULL;
	size_t n = 0;
	struct json j = { .f = open_memstream(&got, &n) };

	(void)state;
	f.serial = "";
	json_open(&j, NULL, '{');
	findings_json(&j, &f, 1);
	json_close(&j, '}');
	json_end(&j);
	fclose(j.f);
	assert_string_equal(got,
	    "{\n\"findings\":[\n{\"id\":\"A1\", \"rule\":\"chatter\", \"account\":\"1042\", "
	    "\"zone\":\"5\", \"serial\":null, \"device\":\"zone 5 (kitchen, contact, serial "
	    "4A0071)\", \"level\":\"soon\", \"state\":\"new\", "
	    "\"onset\":\"2026-10-01T08:15:30Z\", \"last\":\"2026-10-01T09:45:30Z\", \"count\":3, "
	    "\"measures\":{\"bursts\":{\"value\":3, \"unit\":null}, \"median dwell\":"
	    "{\"value\":1.5, \"unit\":\"s\"}, \"likely cause\":{\"value\":\"loose magnet\", "
	    "\"unit\":null}}, \"summary\":\"3 bursts, the largest of 7.\", "
	    "\"checks\":[\"look at the magnet\", \"shake the door\"], \"cautions\":[\"" CARE_GAP
	    "\"], \"members\":[], \"decision\":{\"decision\":\"planned\", \"who\":\"R. Moser\", "
	    "\"at\":\"2026-10-01T09:15:30Z\", \"until\":\"2026-10-04T08:15:30Z\", \"why\":\"visit\", "
	    "\"holds\":true, \"lifted\":null}, \"evidence\":[{\"file\":\"a.csv\", \"line\":12, "
	    "\"time\":\"2026-10-01T08:15:30Z\", \"event\":\"E130\"}]}\n]\n}\n");
	free(got);
}

static void
explain_says_it_all(void **state)
{
	static const char *const said[] = {
		LIFE_BEGIN, CARE_CLOCK, "1. look at the magnet", "2. shake the door", "median dwell",
		"1.5 s", "loose magnet", "2026-10-01 08:15", "E130", "a.csv:12", "planned by R. Moser",
		"lapsed", "SETTINGS IN FORCE", "account=1042", "A. Weber",
	};
	struct stored_finding f = finding("A1", LEVEL_NOW, true);
	struct stored_decision lapsed = planned;
	struct setting_row row = { .rule = "chatter", .scope = "account=1042", .value = "5",
		.who = "A. Weber", .file = "s.csv", .taken = T0 };
	struct explain x = { .finding = &f, .kind = "contact", .setting = &row, .n_setting = 1,
		.decision = &lapsed, .n_decision = 1 };
	struct sheet s;

	(void)state;
	row.setting = rule_find("chatter")->setting[0].name;
	lapsed.holds = false;
	lapsed.lifted = "lapsed";
	open_sheet(&s);
	explain_text(&s.p, &x);
	for (size_t i = 0; i < COUNT(said); i++) {
		if (!strstr(text(&s), said[i]))
			print_error("not said: %s\n%s", said[i], text(&s));
		assert_non_null(strstr(text(&s), said[i]));
	}
	close_sheet(&s);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(nothing_urgent_is_left_out),
		cmocka_unit_test(the_life_caution_is_said_once),
		cmocka_unit_test(missing_accounts_stand_first),
		cmocka_unit_test(csv_form),
		cmocka_unit_test(json_form),
		cmocka_unit_test(explain_says_it_all),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
