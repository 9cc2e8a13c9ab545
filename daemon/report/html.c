#include "daemon/report/html.h"

#include <assert.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "daemon/base/sha256.h"
#include "daemon/base/utf8.h"
#include "rules/care.h"
#include "rules/rule.h"

/* page.css and the scripts, as the Makefile quotes them. */
static const char style[] =
#include "daemon/report/page_css.h"
    ;

static const struct script { const char *name, *text; } scripts[] = {
	{ "board",
#include "daemon/report/board_js.h"
	},
	{ NULL, NULL }
};

/* ---- escaping --------------------------------------------------------------- */

/* Good for texts and for values in double quotes alike, so that neither can be taken for
 * the other. */
static void
escaped(FILE *f, const char *text)
{
	struct span s = span_of(text);

	while (s.n) {
		uint32_t c;
		size_t n = utf8_next(s, &c);
		char escape[UTF8_ESCAPE];

		if (c == '<')
			fputs("&lt;", f);
		else if (c == '>')
			fputs("&gt;", f);
		else if (c == '&')
			fputs("&amp;", f);
		else if (c == '"')
			fputs("&quot;", f);
		else if (c == '\'')
			fputs("&#39;", f);
		else if (c == '\n' || c == '\r' || c == '\t')
			putc(' ', f);
		else if (utf8_shown(c))
			fwrite(s.p, 1, n, f);
		else
			fwrite(escape, 1, (size_t)utf8_escape(escape, c, s.p[0]), f);
		s.p += n;
		s.n -= n;
	}
}

/* RFC 3986, sections 2.3 and 3.3: unreserved characters and the slash between folders; not
 * at the beginning, where it would lead out of the folder. */
static void
percent(FILE *f, const char *text)
{
	static const char plain[] =
	    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";

	for (const char *c = text; *c; c++) {
		if (strchr(plain, *c) || (*c == '/' && c != text))
			putc(*c, f);
		else
			fprintf(f, "%%%02X", (unsigned)(unsigned char)*c);
	}
}

/* ---- elements and texts ----------------------------------------------------- */

static void
end_tag(struct html *h)
{
	assert(!h->value);
	if (h->tag)
		putc('>', h->p->f);
	h->tag = false;
}

/* Elements that begin a line, so that a page can be read and compared by lines. */
static bool
begins_line(const char *element)
{
	static const char *const word[] = { "h1", "h2", "h3", "p", "table", "thead", "tbody", "tr",
		"section", "ul", "ol", "li", "dl", "div", "form", "main", "header", "footer", "nav",
		"head", "body", "meta", "title", "style", "script", "caption" };

	for (size_t i = 0; i < sizeof word / sizeof *word; i++)
		if (strcmp(element, word[i]) == 0)
			return true;
	return false;
}

static void
start(struct html *h, const char *element)
{
	end_tag(h);
	fprintf(h->p->f, "%s<%s", begins_line(element) ? "\n" : "", element);
	h->tag = true;
}

void
html_open(struct html *h, const char *element)
{
	assert(h->depth < (int)(sizeof h->element / sizeof *h->element));
	start(h, element);
	h->element[h->depth++] = element;
}

void
html_close(struct html *h, const char *element)
{
	end_tag(h);
	assert(h->depth > 0 && strcmp(h->element[h->depth - 1], element) == 0);
	h->depth--;
	fprintf(h->p->f, "</%s>", element);
}

void
html_void(struct html *h, const char *element)
{
	start(h, element);
}

void
html_attr_open(struct html *h, const char *name)
{
	assert(h->tag && !h->value);
	assert(strcmp(name, "href") != 0 && strcmp(name, "src") != 0 &&
	    strcmp(name, "style") != 0 && strcmp(name, "action") != 0 && strncmp(name, "on", 2) != 0);
	fprintf(h->p->f, " %s=\"", name);
	h->value = true;
}

void
html_attr_close(struct html *h)
{
	assert(h->value);
	putc('"', h->p->f);
	h->value = false;
}

void
html_attr(struct html *h, const char *name, const char *value)
{
	if (!value)
		return;
	html_attr_open(h, name);
	escaped(h->p->f, value);
	html_attr_close(h);
}

void
html_flag(struct html *h, const char *name)
{
	assert(h->tag && !h->value);
	fprintf(h->p->f, " %s", name);
}

void
html_href(struct html *h, const char *file, const char *fragment)
{
	assert(h->tag && !h->value);
	fputs(" href=\"", h->p->f);
	if (file)
		percent(h->p->f, file);
	if (fragment) {
		putc('#', h->p->f);
		percent(h->p->f, fragment);
	}
	putc('"', h->p->f);
}

void
html_text(struct html *h, const char *text)
{
	if (!text)
		return;
	if (!h->value)
		end_tag(h);
	escaped(h->p->f, text);
}

static __attribute__((format(printf, 2, 0))) void
formatted(struct html *h, const char *fmt, va_list ap)
{
	html_text(h, arena_vfmt(&h->p->arena, fmt, ap));
}

void
html_fmt(struct html *h, const char *fmt, ...)
{
	va_list ap;

	va_start(ap, fmt);
	formatted(h, fmt, ap);
	va_end(ap);
}

void
html_leaf(struct html *h, const char *element, const char *class, const char *text)
{
	html_open(h, element);
	html_attr(h, "class", class);
	html_text(h, text);
	html_close(h, element);
}

void
html_leaf_fmt(struct html *h, const char *element, const char *class, const char *fmt, ...)
{
	va_list ap;

	html_open(h, element);
	html_attr(h, "class", class);
	va_start(ap, fmt);
	formatted(h, fmt, ap);
	va_end(ap);
	html_close(h, element);
}

void
html_link(struct html *h, const char *file, const char *fragment, const char *text)
{
	html_open(h, "a");
	html_href(h, file, fragment);
	html_text(h, text);
	html_close(h, "a");
}

static int
by_name(const void *a, const void *b)
{
	return strcmp(*(const char *const *)a, *(const char *const *)b);
}

void
html_site(struct html *h, const struct html_sites *sites, const char *account, const char *text)
{
	struct arena *a = &h->p->arena;
	const char *file = arena_fmt(a, "%s.html", html_file_name(a, account));

	if (sites->n && bsearch(&file, sites->name, sites->n, sizeof *sites->name, by_name))
		html_link(h, arena_fmt(a, "site/%s", file), NULL, text);
	else
		html_text(h, text);
}

void
html_th(struct html *h, const char *scope, const char *class, const char *text)
{
	html_open(h, "th");
	html_attr(h, "scope", scope);
	html_attr(h, "class", class);
	html_text(h, text);
	html_close(h, "th");
}

void
html_time(struct html *h, int64_t at, bool zone)
{
	char utc[CIVIL_TEXT];

	if (at == NO_TIME) {
		html_text(h, "-");
		return;
	}
	html_open(h, "time");
	html_attr(h, "datetime", civil_rfc3339(at, utc));
	html_text(h, text_time(h->p, at));
	html_close(h, "time");
	if (zone)
		html_fmt(h, " (%s)", h->p->zone.name);
}

/* ---- a page ----------------------------------------------------------------- */

static const char *
script_text(const char *name)
{
	const struct script *s = scripts;

	while (strcmp(s->name, name) != 0)
		s++;
	return s->text;
}

static void
policy(struct html *h, const char *script)
{
	char sum[SHA256_BASE64];

	html_void(h, "meta");
	html_attr(h, "http-equiv", "Content-Security-Policy");
	html_attr_open(h, "content");
	sha256_base64(SPAN(style), sum);
	html_fmt(h, "default-src 'none'; style-src 'sha256-%s'; ", sum);
	if (script) {
		sha256_base64(span_of(script), sum);
		html_fmt(h, "script-src 'sha256-%s'; ", sum);
	}
	html_text(h, "img-src data:; base-uri 'none'; form-action 'none'");
	html_attr_close(h);
}

static void
meta(struct html *h, const char *name, const char *content)
{
	html_void(h, "meta");
	html_attr(h, "name", name);
	html_attr(h, "content", content);
}

static void
navigation(struct html *h, const struct html_page *page)
{
	static const struct { const char *file, *name; } to[] = {
		{ "board.html", "Board" }, { "trend.html", "Trend" }, { "rules.html", "Rules" },
	};
	const char *root = page->root ? page->root : "";

	html_open(h, "nav");
	html_attr(h, "aria-label", "Pages");
	html_open(h, "ul");
	for (size_t i = 0; i < sizeof to / sizeof *to; i++) {
		html_open(h, "li");
		html_open(h, "a");
		html_href(h, arena_fmt(&h->p->arena, "%s%s", root, to[i].file), NULL);
		if (page->here && strcmp(page->here, to[i].file) == 0)
			html_attr(h, "aria-current", "page");
		html_text(h, to[i].name);
		html_close(h, "a");
		html_close(h, "li");
	}
	html_close(h, "ul");
	html_close(h, "nav");
}

void
html_begin(struct html *h, struct page *p, const struct html_page *page)
{
	*h = (struct html){ .p = p };
	p->utf8 = true;
	fputs("<!DOCTYPE html>", p->f);
	html_open(h, "html");
	html_attr(h, "lang", "en");
	html_open(h, "head");
	html_void(h, "meta");
	html_attr(h, "charset", "utf-8");
	policy(h, page->script ? script_text(page->script) : NULL);
	meta(h, "viewport", "width=device-width, initial-scale=1");
	meta(h, "color-scheme", "light dark");
	meta(h, "referrer", "no-referrer");
	html_leaf_fmt(h, "title", NULL, "%s - tripsift", page->title);
	html_open(h, "style");
	end_tag(h);
	fputs(style, p->f);
	html_close(h, "style");
	html_close(h, "head");
	html_open(h, "body");
	html_open(h, "a");
	html_attr(h, "class", "skip");
	html_href(h, NULL, "main");
	html_text(h, "Skip to the content");
	html_close(h, "a");
	if (page->nav) {
		html_open(h, "header");
		html_attr(h, "class", "top");
		navigation(h, page);
		html_close(h, "header");
	}
	html_open(h, "main");
	html_attr(h, "id", "main");
}

void
html_end(struct html *h, const struct html_page *page)
{
	html_close(h, "main");
	html_open(h, "footer");
	html_leaf(h, "p", NULL, CARE_POINTERS);
	if (page->at != NO_TIME) {
		html_open(h, "p");
		html_text(h, "Written by tripsift " VERSION ", ");
		html_time(h, page->at, true);
		html_text(h, ". It does not change by itself.");
		html_close(h, "p");
	}
	html_close(h, "footer");
	if (page->script) {
		html_open(h, "script");
		end_tag(h);
		fputs(script_text(page->script), h->p->f);
		html_close(h, "script");
	}
	html_close(h, "body");
	html_close(h, "html");
	assert(h->depth == 0);
	putc('\n', h->p->f);
}

/* ---- drawings ---------------------------------------------------------------- */

void
html_svg(struct html *h, const char *class, int width, int height, const char *label)
{
	html_open(h, "svg");
	html_attr(h, "class", class);
	html_attr_open(h, "viewBox");
	html_fmt(h, "0 0 %d %d", width, height);
	html_attr_close(h);
	if (label) {
		html_attr(h, "role", "img");
		html_attr(h, "aria-label", label);
	} else {
		html_attr(h, "aria-hidden", "true");
	}
}

static void
path(struct html *h, const char *class, const char *d)
{
	html_open(h, "path");
	html_attr(h, "class", class);
	html_attr(h, "d", d);
	html_close(h, "path");
}

void
html_level(struct html *h, int level)
{
	static const struct { const char *class, *shape; } look[LEVEL_COUNT] = {
		[LEVEL_NOW] = { "level now", "M6 0 12 6 6 12 0 6z" },
		[LEVEL_SOON] = { "level soon", "M6 1 11 6 6 11 1 6zM6 1V11L1 6z" },
		[LEVEL_LATER] = { "level later", "M6 1 11 6 6 11 1 6z" },
	};

	html_open(h, "span");
	html_attr(h, "class", look[level].class);
	html_svg(h, "shape", 12, 12, NULL);
	path(h, NULL, look[level].shape);
	html_close(h, "svg");
	html_text(h, level_text((enum level)level));
	html_close(h, "span");
}

void
html_life(struct html *h)
{
	html_leaf(h, "span", "life", "LIFE SAFETY");
}

enum { BAR = 4, BAR_TOP = 20, STEPS = 4 };	/* units: width and height of a strip's bars */

static const char *
day_text(struct html *h, int64_t day)
{
	char text[CIVIL_TEXT];

	return arena_fmt(&h->p->arena, "%.10s", civil_short(day * DAY, text));
}

static const char *
strip_words(struct html *h, const int32_t *count, size_t n, int64_t last)
{
	int64_t sum = 0, days = 0, gaps = 0;
	size_t most = 0;
	const char *text;

	for (size_t i = 0; i < n; i++) {
		if (count[i] < 0) {
			gaps++;
			continue;
		}
		sum += count[i];
		days += count[i] > 0;
		if (count[i] > count[most])
			most = i;
	}
	text = arena_fmt(&h->p->arena, "%zu days to %s: ", n, day_text(h, last));
	if (sum)
		text = arena_fmt(&h->p->arena, "%s%lld on %s, most %d on %s", text, (long long)sum,
		    text_count(h->p, days, "day", "days"), (int)count[most],
		    day_text(h, last - (int64_t)(n - 1 - most)));
	else
		text = arena_fmt(&h->p->arena, "%snone", text);
	return gaps ? arena_fmt(&h->p->arena, "%s; %s not covered", text,
	    text_count(h->p, gaps, "day", "days")) : text;
}

/* All days of one kind in one path: a page may have thousands of strips. */
static void
strip_path(struct html *h, const char *class, const int32_t *count, size_t n, bool gaps)
{
	html_open(h, "path");
	html_attr(h, "class", class);
	html_attr_open(h, "d");
	for (size_t i = 0; i < n; i++) {
		int step = count[i] >= 20 ? 4 : count[i] >= 5 ? 3 : count[i] >= 2 ? 2 : count[i];
		int height = step > 0 ? step * BAR_TOP / STEPS : 1, x = (int)i * BAR;

		if (gaps != (count[i] < 0))
			continue;
		if (gaps)
			html_fmt(h, "M%d %dl3-6m-3 12l3-6m-3 12l3-6", x, BAR_TOP - 13);
		else
			html_fmt(h, "M%d %dh3v%dh-3z", x, BAR_TOP - height, height);
	}
	html_attr_close(h);
	html_close(h, "path");
}

static bool
has(const int32_t *count, size_t n, bool gap)
{
	for (size_t i = 0; i < n; i++)
		if (gap == (count[i] < 0))
			return true;
	return false;
}

void
html_strip(struct html *h, const int32_t *count, size_t n, int64_t last)
{
	html_svg(h, "strip", (int)n * BAR - 1, BAR_TOP, strip_words(h, count, n, last));
	if (has(count, n, false))
		strip_path(h, "bar", count, n, false);
	if (has(count, n, true))
		strip_path(h, "gap", count, n, true);
	html_close(h, "svg");
}

void
html_strip_legend(struct html *h, const char *what)
{
	html_leaf_fmt(h, "p", "legend", "Strips: %s, a bar a day, the last day on the right; four "
	    "heights for 1, 2 to 4, 5 to 19, 20 and more; a dot where there was none, slanted lines "
	    "where no export covers the day.", what);
}

/* ---- files -------------------------------------------------------------------- */

static bool
kept_for_devices(const char *name)
{
	static const char *const word[] = { "con", "prn", "aux", "nul" };

	for (size_t i = 0; i < sizeof word / sizeof *word; i++)
		if (strcmp(name, word[i]) == 0)
			return true;
	return strlen(name) == 4 && (strncmp(name, "com", 3) == 0 || strncmp(name, "lpt", 3) == 0) &&
	    name[3] >= '0' && name[3] <= '9';
}

const char *
html_file_name(struct arena *a, const char *account)
{
	static const char digit[] = "0123456789abcdef";
	size_t n = strlen(account);
	char *folded = arena_text(a, span_of(account)), *out = arena_take(a, 3 * n + 2), *to = out;
	uint8_t sum[SHA256_BYTES];

	for (char *c = folded; *c; c++)
		if (*c >= 'A' && *c <= 'Z')
			*c += 'a' - 'A';
	for (const char *c = folded; *c; c++) {
		bool plain = (*c >= 'a' && *c <= 'z') || (*c >= '0' && *c <= '9') || *c == '-';

		if (plain && !(c == folded && kept_for_devices(folded))) {
			*to++ = *c;
		} else {
			*to++ = '_';
			*to++ = digit[(unsigned char)*c >> 4];
			*to++ = digit[*c & 15];
		}
	}
	if (to == out)
		*to++ = '_';
	*to = '\0';
	if (to - out <= HTML_NAME)
		return out;
	sha256(span_of(folded), sum);
	out = arena_fmt(a, "%.*s__%32s", HTML_NAME - 34, out, "");
	for (int i = 0; i < 32; i++)
		out[HTML_NAME - 32 + i] = digit[sum[i / 2] >> (i % 2 ? 0 : 4) & 15];
	return out;
}
