#include "daemon/report/rows.h"

void
rows_open(struct html *h, const char *name, const char *const *head, size_t n)
{
	html_open(h, "section");
	html_attr(h, "class", "wide");
	html_attr(h, "tabindex", "0");
	html_attr(h, "aria-label", name);
	html_open(h, "table");
	html_leaf(h, "caption", NULL, name);
	html_open(h, "thead");
	html_open(h, "tr");
	for (size_t i = 0; i < n; i++)
		html_th(h, "col", *head[i] == '#' ? "number" : NULL, head[i] + (*head[i] == '#'));
	html_close(h, "tr");
	html_close(h, "thead");
	html_open(h, "tbody");
}

void
rows_close(struct html *h)
{
	html_close(h, "tbody");
	html_close(h, "table");
	html_close(h, "section");
}

void
rows_number(struct html *h, int64_t n)
{
	html_leaf_fmt(h, "td", "number", "%lld", (long long)n);
}
