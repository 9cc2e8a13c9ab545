/* stats.h - the few statistics that rules use. Pure functions of their arguments.
 *
 * Scan statistics ask: events fall at random over a span of L windows, mu of them a
 * window in the mean; how likely is it that some window, wherever it begins, holds k?
 */
#ifndef RULES_STATS_H
#define RULES_STATS_H

#include <stddef.h>

/* Poisson with mean mu >= 0: P(X = k), P(X <= k), P(X >= k). k < 0 is allowed. The tail
 * is summed from k upwards where it is small, so that it keeps its digits. */
double stats_pmf(long k, double mu);
double stats_cdf(long k, double mu);
double stats_tail(long k, double mu);

/* Chance that some window of a Poisson process holds at least k events; mu is the mean
 * a window, `windows` the span in windows (any number > 0). In 0..1.
 * J. Naus, Approximations for distributions of scan statistics, J. Am. Stat. Assoc. 77
 * (1982) 177-183: 1 - Q2 (Q3/Q2)^(L-2). Between one and two windows the same way from
 * Q1 and Q2; up to one window it is the plain tail. Where the result is too small for
 * that difference (under 1e-9) the leading term tail(k) + (L-1)(k-mu)p(k) is given. */
double stats_scan(long k, double mu, double windows);

/* The same when exactly n events fell in the span; w is the window as a share of it,
 * 0 < w <= 1. Exact for k <= 2 and for k > n/2 with w <= 1/2, else an upper bound that is
 * good below 0.1: S. Wallenstein, N. Neff, An approximation for the distribution of the
 * scan statistic, Stat. Med. 6 (1987) 197-207. In 0..1. */
double stats_scan_fixed(long k, long n, double w);

/* Step-up procedure of Y. Benjamini, Y. Hochberg, J. R. Stat. Soc. B 57 (1995) 289-300:
 * fills adjusted[i]; p[i] is rejected at false discovery rate q when adjusted[i] <= q. */
void stats_adjust(const double *p, size_t n, double *adjusted);

/* How far in from both ends of n sorted values a range for their median lies: the r-th
 * smallest and r-th largest enclose it with 95 % at least, whatever the distribution, for
 * 2 P(Bin(n, 1/2) < r) <= 0.05. The sign test turned round: textbooks of order statistics,
 * such as H. A. David. 0 for n < 6, where no such range exists. */
size_t stats_median_rank(size_t n);

/* Does x grow or fall with t? *slope is the median of the slopes between all pairs (P. K.
 * Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389) in units of x by units of t; *p the two-sided
 * chance of an order so clear where there is no trend (H. B. Mann, Econometrica 13 (1945)
 * 245-259, normal approximation with ties and correction for continuity: good from 8 values
 * on). t ascends; pairs of one t count not. Takes time n^2. */
void stats_trend(const double *t, const double *x, size_t n, double *slope, double *p);

/* Sorts x; the mean of the middle two for an even n; n > 0. */
double stats_median(double *x, size_t n);

#endif
