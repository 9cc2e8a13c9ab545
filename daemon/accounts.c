#include "daemon/accounts.h"

#include <stdlib.h>

struct zone_of { const char *account; const struct tz *tz; };

uint64_t
accounts_hash(struct span account, struct span receiver, struct span line)
{
	uint64_t h = span_hash_fold(account);

	return receiver.n || line.n ? h ^ span_hash_fold(receiver) * 3 ^ span_hash_fold(line) * 7 : h;
}

const struct tz *
accounts_zone(const struct accounts *t, const char *account)
{
	size_t at;

	if (t->n_zone == 0)
		return NULL;
	at = (size_t)span_hash_fold(span_of(account)) & (t->cap_zone - 1);
	for (; t->zone[at].account; at = (at + 1) & (t->cap_zone - 1))
		if (span_eq_fold(span_of(t->zone[at].account), span_of(account)))
			return t->zone[at].tz;
	return NULL;
}

int
accounts_timezone(struct accounts *t, const char *account, const char *name)
{
	struct err e;
	const struct tz *tz = tz_find(t->zones, span_of(name), &e);
	size_t at;

	if (!tz)	/* known when it was taken in; the database has changed since */
		return 0;
	if ((t->n_zone + 1) * 2 > t->cap_zone) {
		struct zone_of *old = t->zone;
		size_t n_old = t->cap_zone;

		t->cap_zone = n_old ? n_old * 2 : 64;
		t->zone = x_calloc(t->cap_zone, sizeof *t->zone);
		for (size_t i = 0; i < n_old; i++) {
			if (!old[i].account)
				continue;
			at = (size_t)span_hash_fold(span_of(old[i].account)) & (t->cap_zone - 1);
			while (t->zone[at].account)
				at = (at + 1) & (t->cap_zone - 1);
			t->zone[at] = old[i];
		}
		free(old);
	}
	at = (size_t)span_hash_fold(span_of(account)) & (t->cap_zone - 1);
	while (t->zone[at].account && !span_eq_fold(span_of(t->zone[at].account), span_of(account)))
		at = (at + 1) & (t->cap_zone - 1);
	if (!t->zone[at].account) {
		t->zone[at].account = arena_text(t->arena, span_of(account));
		t->n_zone++;
	}
	t->zone[at].tz = tz;
	return 0;
}

static bool
is_account(const struct acct *a, struct span account, struct span receiver, struct span line)
{
	struct span own = { a->account, a->n_account };

	return (span_eq(own, account) || span_eq_fold(own, account)) &&
	    (receiver.n == 0 ? !*a->receiver : span_eq_fold(span_of(a->receiver), receiver)) &&
	    (line.n == 0 ? !*a->line : span_eq_fold(span_of(a->line), line));
}

static struct acct **
account_slot(struct accounts *t, uint64_t hash, struct span account, struct span receiver,
    struct span line)
{
	size_t at = (size_t)hash & (t->cap_acct - 1);

	for (; t->acct[at]; at = (at + 1) & (t->cap_acct - 1))
		if (is_account(t->acct[at], account, receiver, line))
			break;
	return &t->acct[at];
}

static struct acct **
slot_of(struct accounts *t, struct span account, struct span receiver, struct span line)
{
	return account_slot(t, accounts_hash(account, receiver, line), account, receiver, line);
}

struct acct *
accounts_add(struct accounts *t, struct span account, struct span receiver, struct span line)
{
	struct acct **slot, *a;
	const char *text;

	if ((t->n_acct + 1) * 2 > t->cap_acct) {
		struct acct **old = t->acct;
		size_t n_old = t->cap_acct;

		t->cap_acct = n_old ? n_old * 2 : 1024;
		t->acct = x_calloc(t->cap_acct, sizeof *t->acct);
		for (size_t i = 0; i < n_old; i++)
			if (old[i])
				*slot_of(t, span_of(old[i]->account), span_of(old[i]->receiver),
				    span_of(old[i]->line)) = old[i];
		free(old);
	}
	slot = slot_of(t, account, receiver, line);
	if (*slot)
		return *slot;
	/* The text right in front of what is looked at together with it. */
	text = arena_text(t->arena, account);
	a = arena_take(t->arena, sizeof *a);
	a->account = text;
	a->n_account = (uint32_t)account.n;
	a->receiver = receiver.n ? arena_text(t->arena, receiver) : "";
	a->line = line.n ? arena_text(t->arena, line) : "";
	a->index = (uint32_t)t->n_acct++;
	a->tz = accounts_zone(t, a->account);
	*slot = a;
	return a;
}

struct acct *
accounts_find(struct accounts *t, uint64_t hash, struct span account, struct span receiver,
    struct span line)
{
	struct acct *a = t->last;

	/* Rows of one account often stand together. */
	if (a && is_account(a, account, receiver, line))
		return a;
	a = t->cap_acct ? *account_slot(t, hash, account, receiver, line) : NULL;
	if (!a && t->n_acct < ACCOUNTS_MAX)
		a = accounts_add(t, account, receiver, line);
	t->last = a;
	return a;
}

void
accounts_soon(const struct accounts *t, uint64_t hash, bool second)
{
	struct acct *const *slot;

	if (t->cap_acct == 0)
		return;
	slot = &t->acct[hash & (t->cap_acct - 1)];
	if (!second) {
		__builtin_prefetch(slot);
	} else if (*slot) {
		__builtin_prefetch(*slot);
		__builtin_prefetch((const char *)*slot - 16);	/* its text, see accounts_add() */
	}
}

void
accounts_release(struct accounts *t)
{
	for (size_t i = 0; i < t->cap_acct; i++) {
		if (!t->acct[i])
			continue;
		free(t->acct[i]->store.point);
		free(t->acct[i]->store.slot);
	}
	free(t->acct);
	free(t->zone);
	*t = (struct accounts){ 0 };
}
