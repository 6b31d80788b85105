/* SPDX-License-Identifier: MIT */
/* pair: two noons, one circumference. libm only. */
#include "server/science/pair.h"

#include "server/science/angle.h"
#include "server/science/match.h"

static const struct {
    const char *name;
    const char *text;
} statuses[] = {
    [PAIR_OK] = {"ok", "The pair counts."},
    [PAIR_OFF_MERIDIAN] = {"off_meridian", "The two sites do not lie on one meridian within the "
                                           "day's tolerance."},
    [PAIR_OTHER_NOON] = {"other_noon", "The two runs are not of the same noon."},
    [PAIR_TOO_CLOSE] = {"too_close", "The two sites lie nearer to each other, north to south, "
                                     "than the day's rules ask."},
    [PAIR_ANGLE_UNSURE] = {"angle_unsure", "The difference of the two angles is smaller than "
                                           "twice its uncertainty: it says too little."},
    [PAIR_TOO_UNSURE] = {"too_unsure", "The circumference is less certain than the day's rules "
                                       "ask."},
};

const char *pair_status_name(enum pair_status status) {
    return statuses[status].name;
}

const char *pair_status_text(enum pair_status status) {
    return statuses[status].text;
}

double pair_lon_difference_deg(double lon1_deg, double lon2_deg) {
    return fabs(angle_wrap(lon1_deg - lon2_deg));
}

bool pair_same_noon(const struct noon_result *one, const struct noon_result *two) {
    double east_deg = angle_wrap(one->lon_deg - two->lon_deg);
    double later_s = one->transit_utc_s - two->transit_utc_s;
    return fabs(later_s + east_deg / ANGLE_DEG_PER_DAY_S) < PAIR_SAME_NOON_S;
}

enum pair_status pair_circumference(double angle_deg, double angle_sigma_deg, double separation,
                                    double separation_sigma, double *circumference, double *sigma,
                                    double *low, double *high) {
    if (!(angle_deg > 0.0) || angle_deg < PAIR_SURE_SIGMAS * angle_sigma_deg)
        return PAIR_ANGLE_UNSURE;
    double ratio = separation / angle_deg;
    double relative_angle = angle_sigma_deg / angle_deg;
    double relative_separation = separation_sigma / separation;
    /* Fieller: the ratios r for which separation - r angle is within one sigma of 0. */
    double g = relative_angle * relative_angle;
    double root = sqrt(relative_separation * relative_separation * (1.0 - g) + g);
    *circumference = 360.0 * ratio;
    *sigma = *circumference * hypot(relative_angle, relative_separation);
    *low = *circumference * (1.0 - root) / (1.0 - g);
    *high = *circumference * (1.0 + root) / (1.0 - g);
    return PAIR_OK;
}

/* A habit shared by both sites shifts both unsigned zenith distances alike, and so
 * leaves the difference where the Sun is on the same side of both. */
static double angle_variance(const struct noon_result *one, const struct noon_result *two) {
    double variance = one->sigma_deg * one->sigma_deg + two->sigma_deg * two->sigma_deg;
    bool same_side = (one->noon_angle_deg < 0.0) == (two->noon_angle_deg < 0.0);
    if (one->edge == two->edge) {
        double shared = 2.0 * one->habit_sigma_deg * two->habit_sigma_deg;
        variance += same_side ? -shared : shared;
    }
    return variance;
}

static enum pair_status status_of(const struct noon_result *one, const struct noon_result *two,
                                  const struct pair_rules *rules, double separation_m) {
    if (pair_lon_difference_deg(one->lon_deg, two->lon_deg) > rules->lon_tolerance_deg)
        return PAIR_OFF_MERIDIAN;
    if (!pair_same_noon(one, two))
        return PAIR_OTHER_NOON;
    if (separation_m < rules->min_separation_m)
        return PAIR_TOO_CLOSE;
    return PAIR_OK;
}

void pair_make(const struct noon_result *one, const struct noon_result *two,
               const struct pair_rules *rules, double own_separation_m,
               double own_separation_sigma_m, struct pair *out) {
    bool own = !isnan(own_separation_m);
    double separation_m = own ? own_separation_m : fabs(one->meridian_m - two->meridian_m);
    double separation_sigma_m = own ? own_separation_sigma_m : 0.0;
    /* Both angles at the declination half way, so that neither site is preferred. */
    double declination_deg = 0.5 * (one->declination_deg + two->declination_deg);
    double difference_deg =
        match_moved_angle_deg(one, declination_deg) - match_moved_angle_deg(two, declination_deg);
    bool northern_first = one->lat_deg >= two->lat_deg;
    struct pair pair = {
        .status = status_of(one, two, rules, separation_m),
        .separation_km = separation_m / 1000.0,
        .angle_deg = northern_first ? difference_deg : -difference_deg,
        .angle_sigma_deg = sqrt(angle_variance(one, two)),
        .circumference_km = NAN,
        .sigma_km = NAN,
        .low_km = NAN,
        .high_km = NAN,
    };
    if (pair.status == PAIR_OK)
        pair.status = pair_circumference(pair.angle_deg, pair.angle_sigma_deg, pair.separation_km,
                                         separation_sigma_m / 1000.0, &pair.circumference_km,
                                         &pair.sigma_km, &pair.low_km, &pair.high_km);
    if (pair.status == PAIR_OK && pair.sigma_km > rules->max_sigma_km)
        pair.status = PAIR_TOO_UNSURE;
    *out = pair;
}
