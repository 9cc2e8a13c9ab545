/* match.h - how two serials differ, and which of many belong together.
 *
 * Serials are plain ones (serial_plain() of daemon/base/serial.h: capitals and digits).
 * Two of one length are compared as they stand; of different length, without their
 * leading zeros, since some panels drop these. Positions are told as on the sticker, that
 * is in the expected serial, from 1.
 */
#ifndef RULES_MATCH_H
#define RULES_MATCH_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/base/arena.h"

/* Longer serials are only told equal or not. */
enum { MATCH_SERIAL_MAX = 64 };

/* Optimal string alignment: the least number of changed, missing, added and swapped
 * neighbouring characters, none of them touched twice. G. Navarro, A guided tour to
 * approximate string matching, ACM Comput. Surv. 33 (2001) 31-88. */
unsigned match_distance(const char *expected, const char *heard);

/* The distance plus a fraction under 1 that is smaller for the likelier mistakes. Shares of
 * mistakes in typed numbers after J. Verhoeff 1969 (as told by later texts): one character
 * changed 79.0 %, neighbours swapped 10.2 %, character missing or too many 10-20 %. */
double match_cost(const char *expected, const char *heard);

/* "differs in digit 7 of 8", "digits 3 and 4 of 8 swapped", "digit 5 of 8 missing", "one
 * digit too many after digit 4 of 8"; several joined by "; ". Letters are "characters".
 * Look-alikes are named: "(8 read as B)". "the same" when nothing differs. In the arena. */
const char *match_describe(struct arena *a, const char *expected, const char *heard);

/* How far apart two serials (of one length, made so as above) are when they count up in
 * their last four characters (decimal, or hexadecimal when letters are there); -1 = not
 * such a pair. */
long match_apart(const char *one, const char *other);

/* Best one-to-one matching: of all ways to give each row its own column, one with the
 * least sum of cost[row * cols + col] (finite, any sign). Every row or every column gets
 * one, whichever are fewer; col_of[row] is -1 for rows left over. The usual shortest
 * augmenting paths with potentials (H. Kuhn 1955, J. Munkres 1957); n^3. */
void match_assign(size_t rows, size_t cols, const double *cost, int *col_of);

#endif
