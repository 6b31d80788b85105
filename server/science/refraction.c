/* SPDX-License-Identifier: MIT */
/* refraction: the two-term law and its inverse. libm only. */
#include "server/science/refraction.h"

#include "server/science/angle.h"

#define SETTLED_DEG 1e-13 /* what a round moves, when the next would move nothing */

double refraction_of_apparent(const struct refraction *air, double apparent_zenith_deg) {
    return refraction_of_tangent(air, angle_tan(apparent_zenith_deg));
}

double refraction_of_tangent(const struct refraction *air, double apparent_tangent) {
    return (air->a_deg + air->b_deg * apparent_tangent * apparent_tangent) * apparent_tangent;
}

double refraction_apparent_zenith_deg(const struct refraction *air, double true_zenith_deg) {
    double apparent_deg = true_zenith_deg, moved_deg = 1.0;
    /* The slope of refraction is below 0.02 up to z = 81: each round gains 50-fold. */
    for (int round = 0; round < 8 && fabs(moved_deg) > SETTLED_DEG; round++) {
        double next_deg = true_zenith_deg - refraction_of_apparent(air, apparent_deg);
        moved_deg = next_deg - apparent_deg;
        apparent_deg = next_deg;
    }
    return apparent_deg;
}
