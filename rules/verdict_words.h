/* verdict_words.h - what verdict.c found, in words. Texts live in the view's arena. */
#ifndef RULES_VERDICT_WORDS_H
#define RULES_VERDICT_WORDS_H

#include "rules/verdict.h"

/* "4A0072 on zone 5: near miss of 4A0071: differs in character 6 of 6; ..." */
const char *verdict_item_text(struct view *v, const struct session_item *it,
    const struct verdict_item *x);
/* What the sessions of the visit saw of a serial that is missing: "not heard". */
const char *verdict_missing_how(struct view *v, const struct sessions *all, int32_t visit,
    const char *key);

#endif
