#include "daemon/base/words.h"

static const struct {
	const char *text;
	unsigned    properties;
} words[WORD_COUNT] = {
#define X(id, text, properties) { text, properties },
	WORD_LIST(X)
#undef X
};

static const struct {
	const char *text, *heading;
	bool        life;
} kinds[KIND_COUNT] = {
#define X(id, text, life, heading) { text, heading, life },
	KIND_LIST(X)
#undef X
};

const char *
word_text(enum word w)
{
	return words[w].text;
}

unsigned
word_properties(enum word w)
{
	return words[w].properties;
}

bool
word_find(struct span s, enum word *out)
{
	for (enum word w = 0; w < WORD_COUNT; w++) {
		if (span_eq_fold(s, span_of(words[w].text))) {
			*out = w;
			return true;
		}
	}
	return false;
}

const char *
kind_text(enum kind k)
{
	return kinds[k].text;
}

const char *
kind_heading(enum kind k)
{
	return kinds[k].heading;
}

bool
kind_is_life(enum kind k)
{
	return kinds[k].life;
}

bool
kind_find(struct span s, enum kind *out)
{
	for (enum kind k = KIND_UNKNOWN + 1; k < KIND_COUNT; k++) {
		if (span_eq_fold(s, span_of(kinds[k].text))) {
			*out = k;
			return true;
		}
	}
	return false;
}
