/* fuzz_stamp.c - any bytes as a time or as an event: no crash; what is read lies in
 * the calendar; the memo changes nothing; a failure leaves the result as it was. */
#include <stdint.h>
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
	return 0;
}
