/* test_html.c - nothing from outside gets out of its place; names of files are one to one. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/base/sha256.h"
#include "daemon/report/html.h"
#include "rules/care.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

struct out { struct page p; struct html h; char *text; size_t n; };

static void
begin(struct out *o)
{
	*o = (struct out){ 0 };
	o->p = (struct page){ .f = open_memstream(&o->text, &o->n), .zone = { .name = "UTC" } };
	o->h = (struct html){ .p = &o->p };
}

static const char *
end(struct out *o)
{
	fclose(o->p.f);
	page_release(&o->p);
	return o->text;
}

static const struct { const char *in, *out; } hostile[] = {
	{ "plain", "plain" },
	{ "<script>alert(1)</script>", "&lt;script&gt;alert(1)&lt;/script&gt;" },
	{ "\" onclick=\"x", "&quot; onclick=&quot;x" },
	{ "' onclick='x", "&#39; onclick=&#39;x" },
	{ "&lt; &amp;", "&amp;lt; &amp;amp;" },
	{ "</style><!-- ]]>", "&lt;/style&gt;&lt;!-- ]]&gt;" },
	{ "a\nb\rc\td", "a b c d" },
	{ "\x1b[31m", "\\x1B[31m" },
	{ "\xe2\x80\xae" "evil", "\\u202Eevil" },
	{ "\xc3\xa4\xe2\x82\xac", "\xc3\xa4\xe2\x82\xac" },
	{ "\xff\xc3", "\\xFF\\xC3" },
	{ "\xc0\xbcscript>", "\\xC0\\xBCscript&gt;" },	/* overlong "<" */
};

static void
texts(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(hostile); i++) {
		struct out o;
		char want[256];

		begin(&o);
		html_leaf(&o.h, "td", NULL, hostile[i].in);
		snprintf(want, sizeof want, "<td>%s</td>", hostile[i].out);
		assert_string_equal(end(&o), want);
		free(o.text);

		begin(&o);
		html_open(&o.h, "td");
		html_attr(&o.h, "title", hostile[i].in);
		html_attr_open(&o.h, "data-x");
		html_fmt(&o.h, "%s!", hostile[i].in);
		html_attr_close(&o.h);
		html_close(&o.h, "td");
		snprintf(want, sizeof want, "<td title=\"%s\" data-x=\"%s!\"></td>", hostile[i].out,
		    hostile[i].out);
		assert_string_equal(end(&o), want);
		free(o.text);
	}
}

static void
links(void **state)
{
	static const struct { const char *file, *fragment, *out; } at[] = {
		{ "board.html", NULL, "board.html" },
		{ "../board.html", "level=now", "../board.html#level%3Dnow" },
		{ NULL, "main", "#main" },
		{ "javascript:alert(1)", NULL, "javascript%3Aalert%281%29" },
		{ "//elsewhere/x", NULL, "%2F/elsewhere/x" },
		{ "site/a b\"<>&.html", NULL, "site/a%20b%22%3C%3E%26.html" },
		{ "x?y#z%41", "a\"b", "x%3Fy%23z%2541#a%22b" },
		{ "\xc3\xa4", NULL, "%C3%A4" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(at); i++) {
		struct out o;
		char want[256];

		begin(&o);
		html_link(&o.h, at[i].file, at[i].fragment, "<x>");
		snprintf(want, sizeof want, "<a href=\"%s\">&lt;x&gt;</a>", at[i].out);
		assert_string_equal(end(&o), want);
		free(o.text);
	}
}

static void
left_out(void **state)
{
	struct out o;

	(void)state;
	begin(&o);
	html_open(&o.h, "td");
	html_attr(&o.h, "class", NULL);
	html_attr(&o.h, "id", "");
	html_flag(&o.h, "hidden");
	html_text(&o.h, NULL);
	html_void(&o.h, "br");
	html_text(&o.h, "x");
	html_time(&o.h, NO_TIME, true);
	html_time(&o.h, 0, true);
	html_close(&o.h, "td");
	assert_string_equal(end(&o), "<td id=\"\" hidden><br>x-<time datetime=\""
	    "1970-01-01T00:00:00Z\">1970-01-01 00:00</time> (UTC)</td>");
	free(o.text);
}

/* The policy names the hash of just what stands between <style> and </style>. */
static void
page(void **state)
{
	const struct html_page page = { .title = "</title><b>", .here = "rules.html", .nav = true,
		.root = "../", .at = NO_TIME };
	struct out o;
	const char *style, *style_end;
	char want[128], sum[SHA256_BASE64];

	(void)state;
	begin(&o);
	html_begin(&o.h, &o.p, &page);
	html_leaf(&o.h, "h1", NULL, "x");
	html_end(&o.h, &page);
	end(&o);
	assert_int_equal(strncmp(o.text, "<!DOCTYPE html>\n", 15), 0);
	style = strstr(o.text, "<style>") + 7;
	style_end = strstr(style, "</style>");
	sha256_base64((struct span){ style, (size_t)(style_end - style) }, sum);
	snprintf(want, sizeof want, "default-src &#39;none&#39;; style-src &#39;sha256-%s&#39;; img-src",
	    sum);
	assert_non_null(strstr(o.text, want));
	assert_non_null(strstr(o.text, "<title>&lt;/title&gt;&lt;b&gt; - tripsift</title>"));
	assert_non_null(strstr(o.text, "<a href=\"../rules.html\" aria-current=\"page\">"));
	assert_non_null(strstr(o.text, "<a href=\"../board.html\">"));
	assert_non_null(strstr(o.text, CARE_POINTERS));
	assert_null(strstr(o.text, "<script"));
	assert_null(strstr(o.text, "Written"));
	free(o.text);
}

static void
marks(void **state)
{
	static const char *const word[] = { "now", "soon", "later" };

	(void)state;
	for (int l = 0; l < 3; l++) {
		struct out o;
		char want[32];

		begin(&o);
		html_level(&o.h, l);
		end(&o);
		snprintf(want, sizeof want, "</svg>%s</span>", word[l]);
		assert_non_null(strstr(o.text, want));
		free(o.text);
	}
}

static void
strips(void **state)
{
	/* Heights change just at 2, 5 and 20. */
	static const int32_t steps[] = { 0, 1, 2, 4, 5, 19, 20, 9999, -1 };
	static const int32_t none[] = { 0, 0 };
	struct out o;

	(void)state;
	begin(&o);
	html_strip(&o.h, steps, COUNT(steps), 9);
	end(&o);
	assert_non_null(strstr(o.text, "aria-label=\"9 days to 1970-01-10: 10050 on 7 days, most 9999 "
	    "on 1970-01-09; 1 day not covered\""));
	assert_non_null(strstr(o.text, "d=\"M0 19h3v1h-3zM4 15h3v5h-3zM8 10h3v10h-3zM12 10h3v10h-3z"
	    "M16 5h3v15h-3zM20 5h3v15h-3zM24 0h3v20h-3zM28 0h3v20h-3z\""));
	assert_non_null(strstr(o.text, "class=\"gap\" d=\"M32 "));
	free(o.text);

	begin(&o);
	html_strip(&o.h, none, COUNT(none), 0);
	end(&o);
	assert_non_null(strstr(o.text, "\"2 days to 1970-01-01: none\""));
	assert_null(strstr(o.text, "gap"));
	free(o.text);
}

static void
file_names(void **state)
{
	static const struct { const char *account, *name; } at[] = {
		{ "1042", "1042" }, { "0042", "0042" }, { "A-7", "a-7" }, { "a-7", "a-7" },
		{ "", "_" }, { ".", "_2e" }, { "..", "_2e_2e" }, { "../x", "_2e_2e_2fx" },
		{ "a_b", "a_5fb" }, { "1042@r1/2", "1042_40r1_2f2" }, { "a b", "a_20b" },
		{ "\xc3\xa4", "_c3_a4" }, { "CON", "_63on" }, { "com1", "_63om1" }, { "com", "com" },
		{ "com10", "com10" }, { "lpt0", "_6cpt0" }, { "con-", "con-" },
	};
	struct arena a = { 0 };
	char longest[HTML_NAME + 2];
	const char *one, *other;

	(void)state;
	for (size_t i = 0; i < COUNT(at); i++)
		assert_string_equal(html_file_name(&a, at[i].account), at[i].name);
	memset(longest, 'a', sizeof longest);
	longest[HTML_NAME] = '\0';
	assert_string_equal(html_file_name(&a, longest), longest);
	longest[HTML_NAME] = 'a';
	longest[HTML_NAME + 1] = '\0';
	one = html_file_name(&a, longest);
	assert_int_equal(strlen(one), HTML_NAME);
	assert_int_equal(strncmp(one + HTML_NAME - 34, "__", 2), 0);
	longest[HTML_NAME] = 'b';
	other = html_file_name(&a, longest);
	assert_int_equal(strlen(other), HTML_NAME);
	assert_string_not_equal(one, other);
	longest[HTML_NAME] = 'B';
	assert_string_equal(html_file_name(&a, longest), other);
	arena_release(&a);
}

int
main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(texts),
		cmocka_unit_test(links),
		cmocka_unit_test(left_out),
		cmocka_unit_test(page),
		cmocka_unit_test(marks),
		cmocka_unit_test(strips),
		cmocka_unit_test(file_names),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
