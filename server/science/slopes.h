/* SPDX-License-Identifier: MIT */
/* slopes: exact order statistics of all pairwise slopes, without listing them.
 *
 * Counting the slopes below a trial value is counting inversions, O(n log n); the trial
 * interval is narrowed until what it holds can be listed: some ten counts, or three where the
 * slopes of a set that was little different are known. The median
 * is Theil's estimate; its interval Sen's (JASA 63 (1968) 1379). */
#ifndef NOONARC_SLOPES_H
#define NOONARC_SLOPES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct slope_point {
    double x, y;
    int32_t group; /* slopes are taken within a group only */
};

struct slopes {
    int64_t count;    /* of slopes: pairs within groups with different x */
    double median;    /* the mean of the two middle ones where count is even */
    double low, high; /* Sen's interval for the given z */
};

/* Order statistics over points (sorted in place by group, x, y). z: half-width
 * in standard deviations of the rank statistic (1 for 68.3 %, 1.812 for 93 %). near: of a
 * set that was little different, with the same z; NULL none. It saves time and changes no bit
 * of the answer, unless so many slopes are equal but for their rounding that they cannot be
 * listed. scratch: SLOPES_SCRATCH doubles a point. False when there is no slope at all. */
#define SLOPES_SCRATCH 5
bool slopes_median(struct slope_point *points, size_t count, double z, const struct slopes *near,
                   double *scratch, struct slopes *out);

#endif
