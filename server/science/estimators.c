/* SPDX-License-Identifier: MIT */
/* estimators: shortest shadow, and cos z = A + B cos H (+ C sin H). */
#include "server/science/estimators.h"

#include "server/science/angle.h"
#include "server/science/normal.h"

static const struct estimate none = {false, NAN, NAN, NAN, NAN};

/* Zenith distance as it would have been had the Sun kept its noon declination. */
static double steady_zenith_deg(const struct curve *curve, const struct curve_fit *fit,
                                const struct sight *sight) {
    double t_utc_s = sight->t_utc_s - fit->offset_s;
    struct sun_place sun;
    sun_at(curve->day, t_utc_s, &sun);
    double hour_deg = sun_hour_angle_deg(curve->day, t_utc_s, curve->place->lon_deg);
    double sin_lat = angle_sin(fit->lat_deg), cos_lat = angle_cos(fit->lat_deg);
    double cos_hour = angle_cos(hour_deg);
    double up_steady = sin_lat * angle_sin(curve->noon_declination_deg) +
                       cos_lat * angle_cos(curve->noon_declination_deg) * cos_hour;
    double up = sin_lat * angle_sin(sun.declination_deg) +
                cos_lat * angle_cos(sun.declination_deg) * cos_hour;
    return sight->zenith_deg +
           (acos(fmin(1.0, up_steady)) - acos(fmin(1.0, up))) * ANGLE_DEG_PER_RAD;
}

struct estimate estimator_shortest(const struct curve *curve, const struct curve_fit *fit) {
    int best = -1;
    for (int i = 0; i < curve->sights; i++)
        if (curve->sight[i].kept &&
            (best < 0 || curve->sight[i].zenith_deg < curve->sight[best].zenith_deg))
            best = i;
    if (best < 0)
        return none;
    const struct sight *sight = &curve->sight[best];
    /* Noon may lie between marks: what the curve still falls is part of the doubt. */
    double there_deg = curve_zenith_deg(curve, fit->lat_deg, sight->t_utc_s, fit->offset_s);
    double fall_deg = there_deg - fabs(fit->lat_deg - curve->noon_declination_deg);
    double gap_s =
        fabs(sight->t_utc_s - fit->offset_s - sun_transit_utc_s(curve->day, curve->place->lon_deg));
    return (struct estimate){
        .usable = true,
        .noon_angle_deg = curve->side * sight->zenith_deg,
        .sigma_deg = hypot(sight->sigma_deg, fall_deg),
        .transit_utc_s = sight->t_utc_s,
        .transit_sigma_s = fmax(gap_s, curve->time_sigma_s),
    };
}

/* Fits cos z = top + bend (cos H - 1) [+ lean sin H] and returns the unknowns. */
static bool fit_cosines(const struct curve *curve, const struct curve_fit *fit, bool lean,
                        double x[NORMAL_MAX], double covariance[NORMAL_MAX][NORMAL_MAX]) {
    struct normal normal;
    normal_init(&normal, lean ? 3 : 2);
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *sight = &curve->sight[i];
        if (!sight->kept)
            continue;
        double hour_deg = sun_hour_angle_deg(curve->day, sight->t_utc_s, curve->place->lon_deg);
        double half = angle_sin(hour_deg / 2.0);
        double zenith_deg = steady_zenith_deg(curve, fit, sight);
        double sigma = fmax(angle_sin(zenith_deg), 1e-4) * sight->sigma_deg * ANGLE_RAD_PER_DEG;
        normal_add(&normal, (const double[]){1.0, -2.0 * half * half, angle_sin(hour_deg)},
                   angle_cos(zenith_deg), sigma);
    }
    return normal_solve(&normal, x, covariance);
}

/* Standard deviation of sum(gradient[i] x[i]). */
static double spread(int n, const double *gradient, double covariance[NORMAL_MAX][NORMAL_MAX]) {
    double variance = 0.0;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
            variance += gradient[i] * gradient[j] * covariance[i][j];
    return sqrt(variance);
}

struct estimate estimator_timed(const struct curve *curve, const struct curve_fit *fit) {
    double x[NORMAL_MAX], covariance[NORMAL_MAX][NORMAL_MAX];
    if (curve_kept(curve) < 2 || !fit_cosines(curve, fit, false, x, covariance) || x[0] >= 1.0)
        return none;
    double zenith = acos(x[0]);
    return (struct estimate){
        .usable = true,
        .noon_angle_deg = curve->side * zenith * ANGLE_DEG_PER_RAD,
        .sigma_deg = sqrt(covariance[0][0]) / sin(zenith) * ANGLE_DEG_PER_RAD,
        .transit_utc_s = NAN,
        .transit_sigma_s = NAN,
    };
}

struct estimate estimator_free(const struct curve *curve, const struct curve_fit *fit) {
    double x[NORMAL_MAX], covariance[NORMAL_MAX][NORMAL_MAX];
    if (curve_kept(curve) < 3 || !fit_cosines(curve, fit, true, x, covariance))
        return none;
    double bend = x[1], lean = x[2], reach = hypot(bend, lean);
    double height = x[0] - bend + reach; /* cos z at the top of the curve */
    if (!(bend > 0.0) || height >= 1.0 || height <= -1.0)
        return none;
    double zenith = acos(height);
    double rise[] = {1.0, bend / reach - 1.0, lean / reach};
    double turn[] = {0.0, -lean / (reach * reach), bend / (reach * reach)};
    double transit_utc_s = sun_transit_utc_s(curve->day, curve->place->lon_deg);
    double seconds_per_rad = ANGLE_DEG_PER_RAD / ANGLE_DEG_PER_DAY_S;
    return (struct estimate){
        .usable = true,
        .noon_angle_deg = curve->side * zenith * ANGLE_DEG_PER_RAD,
        .sigma_deg = spread(3, rise, covariance) / sin(zenith) * ANGLE_DEG_PER_RAD,
        .transit_utc_s = transit_utc_s + atan2(lean, bend) * seconds_per_rad,
        .transit_sigma_s = spread(3, turn, covariance) * seconds_per_rad,
    };
}
