/* SPDX-License-Identifier: MIT */
/* combine: a whole country's noon angles -> one circumference.
 *
 * Pairs share sites, so pairs are never averaged. Weighted least squares of the
 * signed noon angle (moved to one instant of declination per group) on meridian
 * distance, one intercept per group (one noon: a day or a spare day), one common
 * slope; C = 360 / slope. Sites that do not belong are flagged against a robust
 * line (median slope, median intercepts, MAD scale) before the fit, and taken back
 * where the weighted line of the others does not confirm it; the Birge ratio (Phys.
 * Rev. 40 (1932) 207) widens sigma when chi-square asks for it. The median of all
 * pairwise slopes within groups (Theil 1950, Sen, JASA 63 (1968) 1379) is a
 * second opinion. The answer depends on the set of sites, not on their order. */
#ifndef NOONARC_COMBINE_H
#define NOONARC_COMBINE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/science/slopes.h"

struct combine_point {
    int64_t key;   /* orders the sums: unique within a call */
    int32_t group; /* one intercept each */
    bool left_out; /* filled by combine_fit: does not belong to the line */
    double lat_deg;
    double meridian_km;    /* distance from the equator, north positive */
    double noon_angle_deg; /* at the group's common declination */
    double sigma_deg;
    /* filled by combine_fit: */
    double residual_deg; /* angle minus line, also for points left out; NAN without a line */
    double influence_km; /* circumference without this point minus with it; NAN where none */
};

enum combine_status {
    COMBINE_OK,
    COMBINE_TOO_FEW, /* no group with two sites apart */
    COMBINE_UNSURE   /* slope not known to be above zero by 2 sigma */
};
const char *combine_status_name(enum combine_status status);

struct combined {
    enum combine_status status;
    double circumference_km;  /* NAN unless OK */
    double sigma_km;          /* with the Birge ratio where that is above 1 */
    double internal_sigma_km; /* without it */
    double low_km, high_km;   /* Fieller, one sigma */
    double chi2;
    int dof;
    double birge_ratio;                   /* sqrt(chi2 / dof); NAN when dof is 0 */
    double median_km;                     /* from the median of all pairwise slopes */
    double median_low_km, median_high_km; /* its 68.3 % interval (Sen) */
    int sites;                            /* used */
    int left_out;
    int groups;           /* used: with at least two sites */
    double local_km;      /* what perfect noon angles at these very sites would have given */
    struct slopes slopes; /* of all pairs, degrees a kilometre; count 0: there is none */
};

/* Fits. points is sorted by (group, key) in place and its flags and residuals
 * are filled. near: the slopes of a set that was little different, which save time;
 * NULL none. scratch: room for count doubles times COMBINE_SCRATCH. No malloc
 * inside. count up to INT32_MAX / 8. */
#define COMBINE_SCRATCH 8
void combine_fit(struct combine_point *points, size_t count, const struct slopes *near,
                 double *scratch, struct combined *out);

#endif
