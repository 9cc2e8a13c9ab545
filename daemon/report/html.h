/* html.h - HTML as the program writes it: one file each, nothing fetched from elsewhere.
 *
 * Elements are opened and closed one after another, as with json.h; what is between
 * them goes through html_text() or html_fmt(), and there is no other way in: each
 * text is taken as foreign, escaped for the place where it stands, and what steers
 * lines or hides (utf8_shown()) is written as \x1B or \u202E, as on paper. Names of elements
 * and attributes are ours, in lower case. Attributes that would run or fetch something
 * (href, src, style, on...) are refused by html_attr(); html_href() makes links, always
 * relative ones. Look comes from classes alone: page.css holds the whole of it, and its
 * hash is the only style that the page's Content-Security-Policy allows. A page's script,
 * if any, is a .js file of this folder, allowed in the same way.
 *
 *	struct html h;
 *
 *	html_begin(&h, p, &(struct html_page){ .title = "Rules", .here = "rules.html" });
 *	html_leaf(&h, "p", NULL, "What fired, and how often.");
 *	html_open(&h, "table");
 *	html_attr(&h, "class", "rows");
 *	...
 *	html_close(&h, "table");
 *	html_end(&h);
 *
 * Errors stay in the FILE: look at ferror() once, at the end. A wrong nesting ends the
 * program: it is a fault of ours, whatever the data.
 */
#ifndef DAEMON_REPORT_HTML_H
#define DAEMON_REPORT_HTML_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/report/text.h"

struct html {
	struct page *p;		/* borrowed: its file, clock and arena */
	const char  *element[32];	/* those that are open */
	int          depth;
	bool         tag;	/* a start tag is being written: attributes may follow */
	bool         value;	/* within html_attr_open(): texts go to the attribute */
};

/* ---- a page ----------------------------------------------------------------- */

struct html_page {
	const char *title;	/* foreign text is fine */
	const char *here;	/* "board.html": marked in the navigation; "" = none of it */
	bool        nav;	/* the page lies beside the others of a night: link to them */
	const char *root;	/* where they lie as seen from here: NULL = beside, "../" */
	const char *script;	/* "board": daemon/report/board.js; NULL = none */
	int64_t     at;		/* when it is written, wall clock; NO_TIME = not told */
};

/* Writes up to and with <main>; the caller gives <h1> first. From here on the page's texts
 * (phrase.h) may use characters beyond ASCII. */
void html_begin(struct html *h, struct page *p, const struct html_page *page);
/* Ends <main>, tells when the page was written and CARE_POINTERS, adds the script. All that
 * the caller opened is closed (asserted). */
void html_end(struct html *h, const struct html_page *page);

/* ---- elements and texts ----------------------------------------------------- */

void html_open(struct html *h, const char *element);
void html_close(struct html *h, const char *element);	/* the innermost, asserted */
void html_void(struct html *h, const char *element);	/* "br", "input": attributes may follow */
/* Right after html_open() or html_void(). NULL leaves it out; "" is an empty value. */
void html_attr(struct html *h, const char *name, const char *value);
void html_flag(struct html *h, const char *name);		/* "hidden", "disabled" */
/* A value in parts: html_attr_open(h, "d"); html_fmt(h, "M%d %d", x, y); html_attr_close(h). */
void html_attr_open(struct html *h, const char *name);
void html_attr_close(struct html *h);
/* A link to a file beside (or below, or above: "../board.html"), and a place in it; each
 * may be NULL. Both are percent-encoded: no scheme and no other host can come of it. */
void html_href(struct html *h, const char *file, const char *fragment);

void html_text(struct html *h, const char *text);	/* NULL = nothing */
void html_fmt(struct html *h, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/* <element class="...">text</element>; class NULL = none. */
void html_leaf(struct html *h, const char *element, const char *class, const char *text);
void html_leaf_fmt(struct html *h, const char *element, const char *class, const char *fmt, ...)
    __attribute__((format(printf, 4, 5)));
/* <a href="file#fragment">text</a> */
void html_link(struct html *h, const char *file, const char *fragment, const char *text);
/* Files of the folder site/ beside the page, sorted by strcmp(): "1042.html". Borrowed. */
struct html_sites {
	const char *const *name;
	size_t             n;
};
/* An account in words, leading to its sheet where there is one. */
void html_site(struct html *h, const struct html_sites *sites, const char *account,
    const char *text);
/* A header cell with its scope, "col" or "row". */
void html_th(struct html *h, const char *scope, const char *class, const char *text);
/* <time datetime="...Z">2026-10-01 08:15</time> by the page's clock; NO_TIME is "-". With
 * `zone`, its name follows. */
void html_time(struct html *h, int64_t at, bool zone);

/* ---- marks: word, shape and colour ------------------------------------------- */

/* "now" with a filled diamond, "soon" with a half one, "later" with a hollow one. */
void html_level(struct html *h, int level);	/* enum level of rules/rule.h */
void html_life(struct html *h);			/* "LIFE SAFETY", in a frame */

/* ---- drawings ---------------------------------------------------------------- */

/* An inline drawing of w by h units, scaled by its class. With `label` it is an image of
 * that name for who does not see it; NULL: decoration, said elsewhere in words. Fill it with
 * "path", "rect", "text" by html_open(), then html_close(h, "svg"). */
void html_svg(struct html *h, const char *class, int width, int height, const char *label);

/* Days, oldest first: a bar of four heights each (1, 2-4, 5-19, 20 and more; ours, no
 * source), a dot where nothing was, hatched (-1) where no export covers the day. Its name
 * tells the same in words. `last` is the date of the last one, in days since 1970-01-01. */
void html_strip(struct html *h, const int32_t *count, size_t n, int64_t last);
/* One paragraph that says how to read it; once a page. */
void html_strip_legend(struct html *h, const char *what);

/* ---- files -------------------------------------------------------------------- */

/* The name of the file about an account, "1042", to which the caller adds folder and
 * ".html". The same for the same account always (letter case aside, as accounts are), and
 * another for another one, on file systems that know no letter case either: a-z, 0-9 and
 * "-" stay, each other byte is "_" and two hexadecimal digits. So is the first letter of
 * names that some systems keep for devices. Over HTML_NAME bytes: the first ones,
 * "__" and 32 digits of its SHA-256. Lent by `a`. */
enum { HTML_NAME = 100 };
const char *html_file_name(struct arena *a, const char *account);

#endif
