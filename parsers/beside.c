#include "parsers/beside.h"

#include <string.h>

static bool
is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* Letters of any alphabet, as far as a count's word goes. */
static bool
is_letter(char c)
{
	return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (unsigned char)c >= 0x80;
}

/* The number that begins at `i`, marks of thousands in it taken over; false if it is too
 * long to be a count. */
static bool
take_number(struct span s, size_t *i, uint64_t *out)
{
	size_t at = *i;
	uint64_t v = 0;
	int digits = 0;

	while (at < s.n) {
		if (is_digit(s.p[at])) {
			v = v * 10 + (uint64_t)(s.p[at] - '0');
			if (++digits > 18)
				return false;
			at++;
		} else if (strchr(",.'", s.p[at]) && s.p[at] && at + 3 < s.n &&
		    is_digit(s.p[at + 1]) && is_digit(s.p[at + 2]) && is_digit(s.p[at + 3]) &&
		    !(at + 4 < s.n && is_digit(s.p[at + 4]))) {
			at++;
		} else {
			break;
		}
	}
	*i = at;
	*out = v;
	return true;
}

/* Words that stand beside a count of rows. */
static bool
is_count_word(struct span word)
{
	static const char *const words[] = {
		"row", "rows", "record", "records", "event", "events", "entry", "entries", "line",
		"lines", "item", "items", "total", "count", "anzahl", "gesamt", "summe", "zeile",
		"zeilen", "datensatz", "datens\xc3\xa4tze", "datensaetze", "ereignis", "ereignisse",
		"eintrag", "eintr\xc3\xa4ge", "eintraege",
	};

	for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
		if (span_eq_fold(word, span_of(words[i])))
			return true;
	}
	return false;
}

static bool
counts_rows(const struct beside *b, struct span raw)
{
	uint64_t number = 0;
	int numbers = 0, words = 0;
	size_t i = 0;

	if (raw.n > 200)
		return false;
	while (i < raw.n) {
		if (is_digit(raw.p[i])) {
			if (numbers++ || !take_number(raw, &i, &number) ||
			    (i < raw.n && is_letter(raw.p[i])))
				return false;
		} else if (is_letter(raw.p[i])) {
			size_t from = i;

			while (i < raw.n && is_letter(raw.p[i]))
				i++;
			if (i < raw.n && is_digit(raw.p[i]))
				return false;
			words += is_count_word((struct span){ raw.p + from, i - from });
		} else {
			i++;
		}
	}
	return numbers == 1 && words && (number == b->since || number == b->all);
}

bool
beside_rows(struct beside *b, struct span raw, bool readable)
{
	struct span bare = raw;

	if (raw.n == b->header.n || raw.n == b->header.n + 3 || !readable) {
		if (bare.n >= 3 && memcmp(bare.p, "\xef\xbb\xbf", 3) == 0)
			bare = (struct span){ raw.p + 3, raw.n - 3 };
		if (span_eq(bare, b->header)) {
			b->n_header++;
			b->since = 0;
			return true;
		}
	}
	if (!readable) {
		for (size_t i = 0; i < b->n_above; i++) {
			if (span_eq(bare, b->above[i])) {
				b->n_title++;
				return true;
			}
		}
		if (counts_rows(b, raw)) {
			b->n_count++;
			return true;
		}
	}
	b->since++;
	b->all++;
	return false;
}

static const char *
more(struct arena *a, const char *text, uint64_t n, const char *one, const char *several)
{
	if (!n)
		return text;
	return arena_fmt(a, "%s%s%llu %s", text, *text ? ", " : "", (unsigned long long)n,
	    n == 1 ? one : several);
}

const char *
beside_text(struct arena *a, const struct beside *b)
{
	const char *text = more(a, "", b->n_title, "line above the header", "lines above the header");

	text = more(a, text, b->n_header, "header once more", "headers once more");
	return more(a, text, b->n_count, "row count", "row counts");
}
