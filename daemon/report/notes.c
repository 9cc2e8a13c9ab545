#include "daemon/report/notes.h"

#include <string.h>

#include "rules/care.h"

enum { MOST = sizeof((struct notes){ 0 }).text / sizeof(char *) };

static size_t
place(const struct notes *n, const char *text)
{
	size_t i = 0;

	while (i < n->n && strcmp(n->text[i], text) != 0)
		i++;
	return i;
}

void
notes_add(struct notes *n, bool life, const char *const *caution, size_t n_caution)
{
	n->life |= life;
	for (size_t i = 0; i < n_caution; i++) {
		if (strcmp(caution[i], CARE_LIFE) == 0)
			n->life = true;
		else if (n->n < MOST && place(n, caution[i]) == n->n)
			n->text[n->n++] = caution[i];
	}
}

const char *
notes_letters(const struct notes *n, struct page *p, const char *const *caution,
    size_t n_caution)
{
	const char *out = "";

	for (size_t i = 0; i < n_caution; i++) {
		size_t at = place(n, caution[i]);

		if (strcmp(caution[i], CARE_LIFE) == 0)
			continue;
		if (at < n->n)
			out = arena_fmt(&p->arena, "%s%s%c", out, *out ? ", " : "", (int)('a' + at));
		else
			out = arena_fmt(&p->arena, "%s%s%s", out, *out ? ", " : "", caution[i]);
	}
	return out;
}

void
notes_print(const struct notes *n, struct page *p)
{
	if (!n->life && !n->n)
		return;
	page_blank(p);
	if (n->life)
		page_para(p, "", CARE_LIFE);
	for (size_t i = 0; i < n->n; i++)
		page_para(p, arena_fmt(&p->arena, "caution %c: ", (int)('a' + i)), n->text[i]);
}

void
notes_html(const struct notes *n, struct html *h)
{
	if (!n->life && !n->n)
		return;
	html_open(h, "section");
	html_attr(h, "class", "care notes");
	html_attr(h, "aria-label", "Cautions");
	if (n->life)
		html_leaf(h, "p", NULL, CARE_LIFE);
	for (size_t i = 0; i < n->n; i++)
		html_leaf_fmt(h, "p", NULL, "caution %c: %s", (int)('a' + i), n->text[i]);
	html_close(h, "section");
}
