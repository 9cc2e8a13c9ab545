#include "rules/cells.h"

#include <string.h>

/* One row a name, without blanks and dashes; the first row of a key has its label.
 * Sources: [1] two public tables with IEC and ANSI names side by side; [2] the rule of
 * IEC 60086 (chemistry letter, shape letter, diameter, height), so that the IEC name is
 * the name; [3] from memory. Chemistry letters of IEC 60086: none zinc-carbon, L
 * alkaline, C lithium manganese dioxide, F lithium iron disulfide, E lithium thionyl
 * chloride, B lithium carbon monofluoride. */
static const struct name {
	const char *name, *key, *label;
} name_table[] = {
	{ "CR123A", "CR123A", "CR123A (lithium 3 V)" },
	{ "CR123", "CR123A", NULL },		/* [1] */
	{ "CR17345", "CR123A", NULL },		/* [1] IEC */
	{ "5018LC", "CR123A", NULL },		/* [1] ANSI */
	{ "CR2", "CR2", "CR2 (lithium 3 V)" },
	{ "CR17355", "CR2", NULL },		/* [1] */
	{ "5046LC", "CR2", NULL },		/* [1] ANSI */
	{ "CR15H270", "CR2", NULL },		/* [3] IEC */
	{ "CR2032", "CR2032", "CR2032 (lithium coin 3 V)" },	/* [2] */
	{ "5004LC", "CR2032", NULL },		/* [3] ANSI */
	{ "CR2450", "CR2450", "CR2450 (lithium coin 3 V)" },	/* [2] */
	{ "5029LC", "CR2450", NULL },		/* [3] ANSI */
	{ "CR2025", "CR2025", "CR2025 (lithium coin 3 V)" },	/* [2] */
	{ "CR2016", "CR2016", "CR2016 (lithium coin 3 V)" },	/* [2] */
	{ "CR1632", "CR1632", "CR1632 (lithium coin 3 V)" },	/* [2] */
	{ "CR2477", "CR2477", "CR2477 (lithium coin 3 V)" },	/* [2] */
	{ "BR2032", "BR2032", "BR2032 (lithium coin 3 V, not CR2032)" },	/* [2] */
	{ "CR14250", "CR14250", "CR14250 (half AA size, lithium 3 V)" },	/* [2] */
	{ "AA", "AA", "AA (alkaline LR6, 1.5 V)" },
	{ "LR6", "AA", NULL },			/* [1] IEC */
	{ "15A", "AA", NULL },			/* [1] ANSI */
	{ "AAALKALINE", "AA", NULL },		/* AA, chemistry written out */
	{ "R6", "R6", "R6 (AA size, zinc-carbon 1.5 V)" },	/* [1] */
	{ "15D", "R6", NULL },			/* [1] ANSI */
	{ "FR6", "FR6", "FR6 (AA size, lithium 1.5 V)" },
	{ "FR14505", "FR6", NULL },		/* [1] IEC */
	{ "15LF", "FR6", NULL },		/* [3] ANSI */
	{ "AALITHIUM", "FR6", NULL },		/* AA, chemistry written out */
	{ "AAA", "AAA", "AAA (alkaline LR03, 1.5 V)" },
	{ "LR03", "AAA", NULL },		/* [1] IEC */
	{ "24A", "AAA", NULL },			/* [1] ANSI */
	{ "AAAALKALINE", "AAA", NULL },
	{ "R03", "R03", "R03 (AAA size, zinc-carbon 1.5 V)" },	/* [2] */
	{ "FR03", "FR03", "FR03 (AAA size, lithium 1.5 V)" },
	{ "FR10G445", "FR03", NULL },		/* [3] IEC */
	{ "24LF", "FR03", NULL },		/* [1] ANSI */
	{ "AAALITHIUM", "FR03", NULL },
	{ "ER14505", "ER14505", "ER14505 (AA size, lithium 3.6 V)" },	/* [2] */
	{ "ER14250", "ER14250", "ER14250 (half AA size, lithium 3.6 V)" },	/* [2] */
	{ "9V", "9V", "9 V block (alkaline 6LR61)" },
	{ "PP3", "9V", NULL },			/* [1] */
	{ "6LR61", "9V", NULL },		/* [1] IEC */
	{ "9VBLOCK", "9V", NULL },
	{ "1604A", "9V", NULL },		/* [1] ANSI */
	{ "6F22", "6F22", "9 V block (zinc-carbon 6F22)" },	/* [1] */
	{ "9VLITHIUM", "9V lithium", "9 V block (lithium)" },
	{ "2CR5", "2CR5", "2CR5 (lithium 6 V)" },	/* [1] */
	{ "5032LC", "2CR5", NULL },		/* [1] ANSI */
	{ "CRP2", "CR-P2", "CR-P2 (lithium 6 V)" },	/* [1] */
	{ "5024LC", "CR-P2", NULL },		/* [1] ANSI */
};

enum { NAMES = sizeof name_table / sizeof *name_table };

static bool
is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* Capitals, without blanks, dashes and full stops; "battery" and "cell" say nothing. */
static const char *
plain_name(struct arena *a, struct span s)
{
	static const char *const noise[] = { "BATTERIES", "BATTERY", "CELLS", "CELL" };
	char *out = arena_text(a, s);
	size_t n = 0;

	for (size_t i = 0; i < s.n; i++) {
		char c = out[i];

		if (c == ' ' || c == '\t' || c == '-' || c == '.' || c == '_')
			continue;
		out[n++] = c >= 'a' && c <= 'z' ? (char)(c - 32) : c;
	}
	for (size_t i = 0; i < sizeof noise / sizeof *noise; i++) {
		size_t k = strlen(noise[i]);

		if (n > k && memcmp(out + n - k, noise[i], k) == 0) {
			n -= k;
			break;
		}
	}
	out[n] = '\0';
	return out;
}

/* The first row of the name's key: the one with the label. */
static const struct name *
find(const char *plain)
{
	const char *key = NULL;

	for (int i = 0; i < NAMES && !key; i++)
		if (strcmp(name_table[i].name, plain) == 0)
			key = name_table[i].key;
	for (int i = 0; key && i < NAMES; i++)
		if (strcmp(name_table[i].key, key) == 0 && name_table[i].label)
			return &name_table[i];
	return NULL;
}

/* "x", "X", "*" or the multiplication sign at p; its length in bytes, 0 if none. */
static size_t
times_sign(const char *p, size_t n)
{
	if (n >= 1 && (*p == 'x' || *p == 'X' || *p == '*'))
		return 1;
	return n >= 2 && memcmp(p, "\xc3\x97", 2) == 0 ? 2 : 0;
}

/* A count in front ("2 x AA", "2 AA", "2CR123A") or behind ("AA x 2", "AA (2)"): takes it
 * off *s. `sure` is false when only the name that is left can tell whether it was one. */
static int
take_count(struct span *s, bool *sure)
{
	struct span left = *s;
	size_t i = 0, sign, end;
	int64_t count;

	while (i < s->n && is_digit(s->p[i]))
		i++;
	if (i > 0 && i <= 2 && span_to_int((struct span){ s->p, i }, 1, 99, &count)) {
		left = span_trim((struct span){ s->p + i, s->n - i });
		sign = times_sign(left.p, left.n);
		left = span_trim((struct span){ left.p + sign, left.n - sign });
		if (left.n > 0) {
			*s = left;
			*sure = sign > 0;
			return (int)count;
		}
	}
	end = s->n;
	if (end > 2 && s->p[end - 1] == ')')
		end--;
	i = end;
	while (i > 0 && is_digit(s->p[i - 1]))
		i--;
	if (i == end || end - i > 2 || i == 0
	    || !span_to_int((struct span){ s->p + i, end - i }, 1, 99, &count))
		return 0;
	left = span_trim((struct span){ s->p, i });
	if (end < s->n) {
		if (left.n < 2 || left.p[left.n - 1] != '(')
			return 0;
		left.n--;
	} else if (left.n > 2 && times_sign(left.p + left.n - 2, 2) == 2) {
		left.n -= 2;
	} else if (left.n > 1 && times_sign(left.p + left.n - 1, 1)) {
		left.n--;
	} else {
		return 0;
	}
	*s = span_trim(left);
	*sure = s->n > 0;
	return (int)count;
}

/* "AA (LR6)", "LR6/AA": two names of one cell. */
static const struct name *
find_pair(struct arena *a, struct span s)
{
	for (size_t i = 1; i + 1 < s.n; i++) {
		const struct name *one, *two;
		struct span rest = { s.p + i + 1, s.n - i - 1 };

		if (s.p[i] != '/' && s.p[i] != '(')
			continue;
		if (s.p[i] == '(' && rest.p[rest.n - 1] == ')')
			rest.n--;
		one = find(plain_name(a, (struct span){ s.p, i }));
		two = find(plain_name(a, rest));
		if (one && one == two)
			return one;
	}
	return NULL;
}

static const struct name *
find_any(struct arena *a, struct span s)
{
	const struct name *found = find(plain_name(a, s));

	return found ? found : find_pair(a, s);
}

struct cell
cell_fold(struct arena *a, const char *text)
{
	struct span whole = span_trim(span_of(text)), s = whole;
	const struct name *found = find_any(a, s);
	const char *key;
	bool sure = false;
	int count = 0;

	if (!found) {
		count = take_count(&s, &sure);
		if (count)
			found = find_any(a, s);
	}
	if (found)
		return (struct cell){ found->key, found->label, count };
	if (!sure) {	/* the digits may as well be part of an unknown name */
		s = whole;
		count = 0;
	}
	key = plain_name(a, s);
	return (struct cell){ key, key, count };
}
