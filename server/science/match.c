/* SPDX-License-Identifier: MIT */
/* match: the sweep of noon round the globe, cut where nobody stands. libm only. */
#include "server/science/match.h"

#include "server/science/angle.h"

double match_central_meridian_deg(const double *lon_deg, size_t count, double *scratch) {
    if (count == 0)
        return 0.0;
    double west_deg = lon_deg[0], east_deg = lon_deg[0];
    for (size_t i = 1; i < count; i++) {
        west_deg = lon_deg[i] < west_deg ? lon_deg[i] : west_deg;
        east_deg = lon_deg[i] > east_deg ? lon_deg[i] : east_deg;
    }
    /* As many strips as sites, each narrower than the widest gap between two of them: that
     * gap lies between the last site of one strip and the first of another. */
    double *first_deg = scratch, *last_deg = scratch + count;
    for (size_t i = 0; i < count; i++) {
        first_deg[i] = INFINITY;
        last_deg[i] = -INFINITY;
    }
    const double strips_per_deg = (double)count / (east_deg - west_deg);
    for (size_t i = 0; i < count; i++) {
        double strip = (lon_deg[i] - west_deg) * strips_per_deg;
        size_t at = !(strip > 0.0) ? 0 : strip < (double)(count - 1) ? (size_t)strip : count - 1;
        first_deg[at] = lon_deg[i] < first_deg[at] ? lon_deg[i] : first_deg[at];
        last_deg[at] = lon_deg[i] > last_deg[at] ? lon_deg[i] : last_deg[at];
    }
    double widest_deg = west_deg + 360.0 - east_deg;
    double cut_deg = east_deg + 0.5 * widest_deg;
    for (size_t at = 0, before = 0; at < count; at++) {
        double gap_deg = first_deg[at] - last_deg[before];
        if (isinf(first_deg[at]))
            continue;
        if (gap_deg > widest_deg) {
            widest_deg = gap_deg;
            cut_deg = last_deg[before] + 0.5 * gap_deg;
        }
        before = at;
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
