/* SPDX-License-Identifier: MIT */
/* estimators: shortest shadow, and cos z = A + B cos H (+ C sin H). */
#include "server/science/estimators.h"

#include "server/science/angle.h"
#include "server/science/normal.h"

static const struct estimate none = {false, NAN, NAN, NAN, NAN};

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
    double fall_deg = there_deg - fabs(fit->lat_deg - curve->noon.sun.declination_deg);
    double gap_s = fabs(sight->t_utc_s - fit->offset_s - curve->noon.transit_utc_s);
    return (struct estimate){
        .usable = true,
        .noon_angle_deg = curve->side * sight->zenith_deg,
        .sigma_deg = hypot(sight->sigma_deg, fall_deg),
        .transit_utc_s = sight->t_utc_s,
        .transit_sigma_s = fmax(gap_s, curve->time_sigma_s),
    };
}

/* What the sights say of cos z = top + bend (cos H - 1) + lean sin H, the Sun keeping its
 * noon declination. */
static void gather_cosines(const struct curve *curve, const struct curve_fit *fit,
                           struct normal *out) {
    struct steady steady[RUN_READINGS_MAX];
    curve_steady(curve, fit->lat_deg, fit->offset_s, steady);
    normal_init(out, 3);
    for (int i = 0; i < curve->sights; i++) {
        const struct sight *sight = &curve->sight[i];
        if (!sight->kept)
            continue;
        /* cos H - 1 without cancellation; no reading is farther from noon than six hours. */
        const double sin_hour = sight->course.sin_hour;
        const double fall = -sin_hour * sin_hour / (1.0 + sight->course.cos_hour);
        const double sigma = fmax(steady[i].sine, 1e-4) * sight->sigma_deg * ANGLE_RAD_PER_DEG;
        normal_add(out, (const double[]){1.0, fall, sin_hour}, steady[i].cosine, sigma);
    }
}

/* Standard deviation of sum(gradient[i] x[i]). */
static double spread(int n, const double *gradient, double covariance[NORMAL_MAX][NORMAL_MAX]) {
    double variance = 0.0;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++)
            variance += gradient[i] * gradient[j] * covariance[i][j];
    return sqrt(variance);
}

static struct estimate timed(const struct curve *curve, const struct normal *normal) {
    double x[NORMAL_MAX], covariance[NORMAL_MAX][NORMAL_MAX];
    struct normal upright = *normal;
    upright.unknowns = 2; /* noon is where the clock has it: nothing leans */
    if (curve_kept(curve) < 2 || !normal_solve(&upright, x, covariance) || x[0] >= 1.0)
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

static struct estimate free_of_clock(const struct curve *curve, const struct normal *normal) {
    double x[NORMAL_MAX], covariance[NORMAL_MAX][NORMAL_MAX];
    if (curve_kept(curve) < 3 || !normal_solve(normal, x, covariance))
        return none;
    double bend = x[1], lean = x[2], reach = hypot(bend, lean);
    double height = x[0] - bend + reach; /* cos z at the top of the curve */
    if (!(bend > 0.0) || height >= 1.0 || height <= -1.0)
        return none;
    double zenith = acos(height);
    double rise[] = {1.0, bend / reach - 1.0, lean / reach};
    double turn[] = {0.0, -lean / (reach * reach), bend / (reach * reach)};
    double seconds_per_rad = ANGLE_DEG_PER_RAD / ANGLE_DEG_PER_DAY_S;
    return (struct estimate){
        .usable = true,
        .noon_angle_deg = curve->side * zenith * ANGLE_DEG_PER_RAD,
        .sigma_deg = spread(3, rise, covariance) / sin(zenith) * ANGLE_DEG_PER_RAD,
        .transit_utc_s = curve->noon.transit_utc_s + atan2(lean, bend) * seconds_per_rad,
        .transit_sigma_s = spread(3, turn, covariance) * seconds_per_rad,
    };
}

void estimator_cosines(const struct curve *curve, const struct curve_fit *fit,
                       struct estimate *with_clock, struct estimate *without) {
    struct normal normal;
    gather_cosines(curve, fit, &normal);
    *with_clock = timed(curve, &normal);
    *without = free_of_clock(curve, &normal);
}
