#include "daemon/report/phrase.h"

#include <string.h>

const char *
phrase_between(const struct page *p)
{
	return p->utf8 ? " \xc2\xb7 " : " | ";
}

const char *
phrase_site(struct page *p, const char *account, const char *name)
{
	if (strcmp(account, "*") == 0)
		return "all accounts";
	return *name ? arena_fmt(&p->arena, "%s %s", account, name) : account;
}

const char *
phrase_sites(struct page *p, const struct account_info *a, size_t n, size_t most)
{
	const char *text = "";

	for (size_t i = 0; i < n && i < most; i++)
		text = arena_fmt(&p->arena, "%s%s%s", text, i ? ", " : "",
		    phrase_site(p, a[i].account, a[i].name));
	return n > most ? arena_fmt(&p->arena, "%s and %zu more", text, n - most) : text;
}

const char *
phrase_uncovered(struct page *p, size_t n, const char *names)
{
	return arena_fmt(&p->arena, "%s no data of the last 3 days%s%s. Nothing is known of them, good "
	    "or bad.", text_count(p, (int64_t)n, "account has", "accounts have"), *names ? ": " : "",
	    names);
}

const char *
phrase_behind(struct page *p, size_t n, int64_t expected, const char *names)
{
	return arena_fmt(&p->arena, "%s of sites %s not covered up to %s%s%s.",
	    text_count(p, (int64_t)n, "account", "accounts"), n == 1 ? "is" : "are",
	    text_time(p, expected), *names ? ": " : "", names);
}

const char *
phrase_cover(struct page *p, int64_t accounts, int64_t from, int64_t to)
{
	return arena_fmt(&p->arena, "%s, covered by exports from %s to %s (%s).",
	    text_count(p, accounts, "account", "accounts"), text_time(p, from), text_time(p, to),
	    p->zone.name);
}

const char *
phrase_decision(struct page *p, const struct stored_decision *d)
{
	const char *text = arena_fmt(&p->arena, "%s by %s on %s", d->decision, d->who,
	    text_day(p, d->at));

	if (d->until != NO_TIME)
		text = arena_fmt(&p->arena, "%s until %s", text, text_time(p, d->until));
	if (d->why && *d->why)
		text = arena_fmt(&p->arena, "%s (%s)", text, d->why);
	if (!d->holds)
		text = arena_fmt(&p->arena, "no longer holds%s%s: %s",
		    d->lifted && *d->lifted ? ", " : "", d->lifted ? d->lifted : "", text);
	return text;
}

const char *
phrase_facts(struct page *p, const struct stored_finding *f)
{
	const char *dot = phrase_between(p), *text;

	text = arena_fmt(&p->arena, "%s%s%ssince %s", f->life ? "LIFE SAFETY " : "", f->rule, dot,
	    text_time(p, f->onset));
	if (f->last != NO_TIME && f->last != f->onset)
		text = arena_fmt(&p->arena, "%s%slast %s", text, dot, text_time(p, f->last));
	if (f->count > 1)
		text = arena_fmt(&p->arena, "%s%s%ld times", text, dot, f->count);
	if (f->n_member)
		text = arena_fmt(&p->arena, "%s%sstands for %zu", text, dot, f->n_member);
	text = arena_fmt(&p->arena, "%s%s%s", text, dot, f->state);
	if (f->cleared != NO_TIME)
		text = arena_fmt(&p->arena, "%s %s", text, text_time(p, f->cleared));
	return text;
}

const char *
phrase_place(const struct stored_finding *f)
{
	return strncmp(f->summary, f->device, strlen(f->device)) == 0 ? "" : f->device;
}

const char *
phrase_parent(const struct stored_finding *all, size_t n, const struct stored_finding *f)
{
	for (size_t i = 0; i < n; i++) {
		for (size_t k = 0; k < all[i].n_member; k++) {
			if (strcmp(all[i].member[k], f->id) == 0)
				return all[i].id;
		}
	}
	return NULL;
}
