/* SPDX-License-Identifier: MIT */
/* sun: evaluates the Sun of a date from its polynomial. libm only. */
#include "server/science/sun.h"

#include "server/science/angle.h"

/* Clenshaw's recurrence. */
static double series(const double coefficient[SUN_TERMS], double x) {
    double next = 0.0, after = 0.0;
    for (int j = SUN_TERMS - 1; j > 0; j--) {
        double here = 2.0 * x * next - after + coefficient[j];
        after = next;
        next = here;
    }
    return x * next - after + coefficient[0];
}

static double span_position(const struct sun_day *day, double t_utc_s) {
    return (t_utc_s - day->centre_utc_s) / day->half_span_s;
}

void sun_at(const struct sun_day *day, double t_utc_s, struct sun_place *out) {
    double x = span_position(day, t_utc_s);
    double distance_au = series(day->distance_au, x);
    out->declination_deg = series(day->declination_deg, x);
    out->equation_of_time_s = series(day->equation_s, x);
    out->semidiameter_deg = SUN_SEMIDIAMETER_1AU_ARCSEC / ANGLE_ARCSEC_PER_DEG / distance_au;
    out->parallax_deg = SUN_PARALLAX_1AU_ARCSEC / ANGLE_ARCSEC_PER_DEG / distance_au;
}

void sun_course(const struct sun_day *day, double t_utc_s, double *declination_deg,
                double *equation_of_time_s) {
    double x = span_position(day, t_utc_s);
    *declination_deg = series(day->declination_deg, x);
    *equation_of_time_s = series(day->equation_s, x);
}

double sun_hour_angle_deg(const struct sun_day *day, double t_utc_s, double lon_deg) {
    double equation_s = series(day->equation_s, span_position(day, t_utc_s));
    double from_noon_s = t_utc_s - day->centre_utc_s + equation_s;
    return angle_wrap(from_noon_s * ANGLE_DEG_PER_DAY_S + lon_deg);
}

double sun_transit_utc_s(const struct sun_day *day, double lon_deg) {
    double mean_noon_utc_s = day->centre_utc_s - lon_deg / ANGLE_DEG_PER_DAY_S;
    double transit_utc_s = mean_noon_utc_s;
    /* The equation of time changes by at most 30 s a day: each round gains 3000-fold. */
    for (int round = 0; round < 4; round++)
        transit_utc_s =
            mean_noon_utc_s - series(day->equation_s, span_position(day, transit_utc_s));
    return transit_utc_s;
}

int32_t sun_day_nearest(double t_utc_s, double lon_deg) {
    return (int32_t)floor((t_utc_s + lon_deg / ANGLE_DEG_PER_DAY_S) / ANGLE_DAY_S);
}
