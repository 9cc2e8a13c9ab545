/* gen.c - a large invented export on standard output, the same for the same arguments.
 *
 *   gen ROWS ACCOUNTS [turned]
 *
 * Rows come in order of receipt; the event lies 0 to 90 s earlier, 0.2 % of them up to
 * 6 h. Every account has 25 devices; what opens closes within half an hour. Half of the texts never repeat, the others are one of
 * 2,400; 15 % stand in quotes. `turned` writes the same events with the columns in another
 * order, and one row more at the end.
 */
#include <inttypes.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/base/civil.h"

enum { DEVICES = 25 };

static uint64_t seed = 88172645463325252u;

static uint32_t
roll(uint32_t n)
{
	seed ^= seed << 13;
	seed ^= seed >> 7;
	seed ^= seed << 17;
	return (uint32_t)((seed >> 32) * n >> 32);
}

static void
stamp(char *out, int64_t ms)
{
	struct civil c;

	civil_from_ms(ms, &c);
	snprintf(out, 32, "%04d-%02d-%02dT%02d:%02d:%02d+02:00", c.year, c.month, c.day, c.hour,
	    c.minute, c.second);
}

static const char *
happening(uint32_t device)
{
	static const char *const rare[] = { "E384", "R384", "E381", "R381", "E130", "R130", "E301",
		"R301", "E302", "R302", "E602", "E570", "R570", "E144", "R144", "E380", "R380", "E350",
		"R350", "E110" };
	uint32_t r = roll(1000);

	if (r < 360)
		return "zone-open";
	if (r < 930)
		return "check-in";
	if (r < 990 || device)
		return r & 1 ? "E401" : "R401";
	return rare[roll(sizeof rare / sizeof *rare)];
}

/* Devices that will close, by the row in which they do; a row takes one at the most. */
enum { LATER = 4096 };
static struct { uint32_t account, zone; } closing[LATER];

static void
close_later(int64_t row, uint32_t account, uint32_t zone)
{
	for (uint32_t i = roll(LATER - 256) + 8, tries = 0; tries < 200; i++, tries++) {
		size_t at = (size_t)(row + i) % LATER;

		if (closing[at].zone == 0 && at != (size_t)row % LATER) {
			closing[at].account = account;
			closing[at].zone = zone;
			return;
		}
	}
}

static void
row(bool turned, uint32_t account, uint32_t zone, const char *event, int64_t at, int64_t received,
    const char *text)
{
	char t[32], r[32];

	stamp(t, at);
	stamp(r, received);
	if (turned)
		printf("%s,S%05X%02X,%s,%s,%u,%u,%s,1\n", r, account, zone, text, event, 10000 + account,
		    zone, t);
	else
		printf("%u,%s,%s,%u,1,S%05X%02X,%s,%s\n", 10000 + account, t, event, zone, account, zone,
		    text, r);
}

int
main(int argc, char **argv)
{
	int64_t rows = argc > 1 ? atoll(argv[1]) : 1000;
	uint32_t accounts = argc > 2 ? (uint32_t)atoll(argv[2]) : 20;
	bool turned = argc > 3 && strcmp(argv[3], "turned") == 0;
	int64_t begin = civil_days(2026, 8, 1) * DAY, span = 60 * DAY;

	if (rows < 1 || accounts < 1)
		return 2;
	puts(turned ? "received,serial,text,event,account,zone,time,partition"
	            : "account,time,event,zone,partition,serial,text,received");
	for (int64_t i = 0; i < rows; i++) {
		uint32_t account = roll(accounts), zone = roll(DEVICES) + 1;
		int64_t received = begin + (int64_t)((double)span * (double)i / (double)rows) / SECOND * SECOND;
		int64_t lag = roll(1000) < 2 ? roll(6 * 3600) : roll(90);
		size_t now = (size_t)i % LATER;
		const char *event = happening(zone - 1);
		char text[64];
		bool quoted = roll(100) < 15;

		if (closing[now].zone) {
			event = "zone-close";
			account = closing[now].account;
			zone = closing[now].zone;
			closing[now].zone = 0;
			lag = roll(30);
		} else if (event[0] == 'z') {
			close_later(i, account, zone);
			lag = roll(30);
		}
		if (roll(2))
			snprintf(text, sizeof text, "%ssignal %08" PRIx64 "%s", quoted ? "\"note, " : "",
			    (uint64_t)i * 2654435761u & 0xffffffff, quoted ? "\"" : "");
		else
			snprintf(text, sizeof text, "%sroom %u door %u%s", quoted ? "\"" : "", roll(60),
			    roll(40), quoted ? ", left\"" : "");
		row(turned, account, zone, event, received - lag * SECOND, received, text);
	}
	if (turned)
		row(true, 0, 1, "zone-open", begin + span, begin + span, "the row that was added");
	return 0;
}
