#include "daemon/report/retained.h"

#include <string.h>

#include "daemon/report/json.h"

static const struct { const char *kind, *words; } kinds[KEPT_KINDS] = {
	{ "events", "events" }, { "set_aside", "rows set aside" }, { "done", "files in done/" },
	{ "failed", "files in failed/" }, { "backups", "backups" },
	{ "pages", "files that a night wrote" },
};

const char *
retained_kind(const char *kind)
{
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if (strcmp(kind, kinds[i].kind) == 0)
			return kinds[i].words;
	return kind;
}

const char *
retained_size(struct page *p, int64_t bytes)
{
	static const char *const unit[] = { "bytes", "KiB", "MiB", "GiB" };
	double size = (double)bytes;
	int u = 0;

	while (size >= 1024 && u < 3) {
		size /= 1024;
		u++;
	}
	return arena_fmt(&p->arena, u ? "%.1f %s" : "%.0f %s", size, unit[u]);
}

const char *
retained_days(struct page *p, const struct retained *r)
{
	if (r->days)
		return text_count(p, r->days, "day", "days");
	return strcmp(r->kind, kinds[KEPT_BACKUPS].kind) == 0 ? "by number" : "for good";
}

void
retained_text(struct page *p, const struct retained kept[KEPT_KINDS], bool done, int64_t gained)
{
	const struct text_column column[] = {
		{ "copies", false, true }, { "kept", true, false },
		{ done ? "removed" : "would go", true, false }, { "size", true, false },
		{ "oldest", false, false }, { "newest", false, false },
	};
	bool unnamed = false, left = false, any = false;
	struct table t;

	table_init(&t, p, column, sizeof column / sizeof *column);
	for (int k = 0; k < KEPT_KINDS; k++) {
		const struct retained *r = &kept[k];

		table_add(&t, retained_kind(r->kind));
		table_add(&t, retained_days(p, r));
		if (r->looked)
			table_fmt(&t, "%lld", (long long)r->sum.n);
		else
			table_add(&t, r->days ? "?" : "0");
		table_add(&t, r->sum.n ? retained_size(p, r->sum.bytes) : "");
		table_add(&t, r->sum.n ? text_day(p, r->sum.oldest) : "");
		table_add(&t, r->sum.n ? text_day(p, r->sum.newest) : "");
		any |= r->sum.n > 0;
		unnamed |= r->days && !r->looked;
		left |= r->left > 0;
	}
	table_print(&t, 0);
	page_blank(p);
	if (unnamed)
		page_para(p, "", "?: its folder was not named, so nobody looked: tripsift expire --help.");
	for (int k = 0; left && k < KEPT_KINDS; k++)
		if (kept[k].left)
			page_fmt(p, "", "%s of that age %s: the store does not know that they were put there, "
			    "and they stay.", text_count(p, kept[k].left, "thing", "things"),
			    k == KEPT_DONE ? "in done/" : "elsewhere");
	if (gained)
		page_fmt(p, "", "The store's file is smaller by about %s.", retained_size(p, gained));
	if (!done)
		page_para(p, "", any ? "Nothing was changed. With --yes it is removed, for good."
		    : "Nothing was changed.");
}

void
retained_json(FILE *f, const struct retained kept[KEPT_KINDS], bool done, int64_t gained)
{
	struct json j = { .f = f };

	json_open(&j, NULL, '{');
	json_open(&j, "kept", '[');
	for (int k = 0; k < KEPT_KINDS; k++) {
		const struct retained *r = &kept[k];

		json_open(&j, NULL, '{');
		json_text(&j, "kind", r->kind);
		if (r->days)
			json_int(&j, "days", r->days);
		else
			json_text(&j, "days", NULL);
		json_bool(&j, "looked", r->looked);
		json_int(&j, "count", r->sum.n);
		json_int(&j, "bytes", r->sum.bytes);
		json_time(&j, "oldest", r->sum.oldest);
		json_time(&j, "newest", r->sum.newest);
		json_int(&j, "left", r->left);
		json_close(&j, '}');
	}
	json_close(&j, ']');
	json_bool(&j, "removed", done);
	json_int(&j, "gained", gained);
	json_close(&j, '}');
	json_end(&j);
}
