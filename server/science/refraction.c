/* SPDX-License-Identifier: MIT */
/* refraction: the two-term law and its inverse. libm only. */
#include "server/science/refraction.h"

#include "server/science/angle.h"

double refraction_of_apparent(const struct refraction *air, double apparent_zenith_deg) {
    double tangent = angle_tan(apparent_zenith_deg);
    return (air->a_deg + air->b_deg * tangent * tangent) * tangent;
}

double refraction_apparent_zenith_deg(const struct refraction *air, double true_zenith_deg) {
    double apparent_deg = true_zenith_deg;
    /* The slope of refraction is below 0.02 up to z = 81: each round gains 50-fold. */
    for (int round = 0; round < 8; round++)
        apparent_deg = true_zenith_deg - refraction_of_apparent(air, apparent_deg);
    return apparent_deg;
}
