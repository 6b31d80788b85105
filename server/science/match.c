/* SPDX-License-Identifier: MIT */
/* match: the sweep of noon round the globe, cut where nobody stands. libm only. */
#include "server/science/match.h"

#include <stdlib.h>

#include "server/science/angle.h"

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

double match_central_meridian_deg(double *lon_deg, size_t count) {
    if (count == 0)
        return 0.0;
    qsort(lon_deg, count, sizeof lon_deg[0], ascending);
    double widest_deg = lon_deg[0] + 360.0 - lon_deg[count - 1];
    double cut_deg = lon_deg[count - 1] + 0.5 * widest_deg;
    for (size_t i = 1; i < count; i++) {
        double gap_deg = lon_deg[i] - lon_deg[i - 1];
        if (gap_deg > widest_deg) {
            widest_deg = gap_deg;
            cut_deg = lon_deg[i - 1] + 0.5 * gap_deg;
        }
    }
    return angle_wrap(cut_deg - 180.0);
}

int32_t match_noon_number(double transit_utc_s, double lon_deg, double central_meridian_deg) {
    double from_centre_deg = angle_wrap(lon_deg - central_meridian_deg);
    double mean_noon_s =
        transit_utc_s + (from_centre_deg + central_meridian_deg) / ANGLE_DEG_PER_DAY_S;
    return (int32_t)floor(mean_noon_s / ANGLE_DAY_S);
}

double match_moved_angle_deg(const struct noon_result *noon, double reference_declination_deg) {
    return noon->noon_angle_deg + (noon->declination_deg - reference_declination_deg);
}
