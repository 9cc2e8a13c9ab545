/* fuzz_stamp.c - any bytes as a time or as an event: no crash; what is read lies in
 * the calendar; the memo changes nothing; a failure leaves the result as it was; the
 * order of day and month changes only what stands in doubt, and the tally says so; a
 * DC-05 message has parts that are read again, and a check digit that no other fits. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"
#include "parsers/codes.h"
#include "parsers/stamp.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void
promise(int kept)
{
	if (!kept)
		abort();
}

static int
equal(const struct stamp *a, const struct stamp *b)
{
	return a->wall == b->wall && a->ms == b->ms && a->offset == b->offset &&
	    a->precision == b->precision && a->leap == b->leap;
}

/* In either order, and undecided. */
static void
orders(struct span s)
{
	struct stamp st[3];
	struct stamp_tally t = { 0 };
	enum stamp_order order = STAMP_UNDECIDED;
	const char *why[3];
	bool alone[3] = { false, false, false };
	uint64_t read;

	for (int o = 0; o < 3; o++) {
		struct stamp_memo memo = { .order = (enum stamp_order)o };
		struct stamp again;
		bool exact;

		why[o] = stamp_read((enum stamp_order)o, s, &st[o], &alone[o]);
		for (int i = 0; i < 2; i++) {
			exact = !stamp_parse_memo(&memo, s, &again);
			promise(exact == (!why[o] && !alone[o]));
			promise(!exact || equal(&again, &st[o]));
		}
	}
	stamp_tally_add(&t, s, 1);
	read = t.other + t.either + t.same + t.proof[1] + t.proof[2];
	promise(read <= 1 && t.proof[STAMP_UNDECIDED] == 0);
	promise(stamp_tally_open(&t) == (t.either + t.same > 0));
	if (!why[0])		/* read undecided: no order can change it */
		promise((why[1] || equal(&st[0], &st[1])) && (why[2] || equal(&st[0], &st[2])) &&
		    (!why[1] || !why[2]) && !t.either);
	if (!why[1] && !why[2] && st[1].wall != st[2].wall)
		promise(t.either == 1 && why[0]);
	if (!stamp_tally_order(&t, &order) && order && !why[3 - order])
		promise(!why[order] && equal(&st[1], &st[2]));
}

static void
message(struct span s)
{
	struct code_message m, again;
	struct meaning whole, part;
	const char *why;
	char cell[40];

	if (!code_message(s, &m, &why))
		return;
	promise(!why == !code_meaning(s, &whole));
	if (why)
		return;
	promise(!code_meaning(span_of(m.event), &part) && part.word == whole.word &&
	    part.still == whole.still && part.life == whole.life);
	promise(strlen(m.event) == 4 && strlen(m.partition) == 2 && strlen(m.zone) == 3);
	promise(strlen(m.account) == 0 || strlen(m.account) == 4);
	if (*m.account)
		return;
	snprintf(cell, sizeof cell, "18 %c%s %s %s", "163"[*m.event == 'P' ? 1 :
	    *m.event == 'R' ? 2 : 0], m.event + 1, m.partition, m.zone);
	promise(code_message(span_of(cell), &again, &why) && !why && !memcmp(&m, &again, sizeof m));
}

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const struct stamp before = { .wall = -7, .offset = 5 };
	struct span s = { (const char *)data, size };
	struct stamp plain = before, memoed = before, dated = before;
	struct stamp_memo memo = { 0 };
	struct meaning m;
	const char *why = stamp_parse(s, &plain);

	for (int i = 0; i < 2; i++) {
		promise(stamp_parse_memo(&memo, s, &memoed) == why);
		promise(equal(&memoed, &plain));
	}
	if (why) {
		promise(equal(&plain, &before) && *why);
	} else {
		promise(plain.ms >= 0 && plain.ms <= 999 && plain.precision <= PREC_MS);
		promise(plain.offset == OFFSET_LOCAL || abs(plain.offset) < 1440);
		promise(plain.wall >= civil_days(0, 1, 1) * 86400 &&
		    plain.wall <= civil_days(10000, 1, 1) * 86400);
		promise(!stamp_parse_date(s, &dated) && equal(&dated, &plain));
	}
	if (!code_meaning(s, &m))
		promise(m.word < WORD_COUNT && m.hint < KIND_COUNT);
	promise(code_text(s) != NULL);
	orders(s);
	message(s);
	return 0;
}
