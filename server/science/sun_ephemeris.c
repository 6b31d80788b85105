/* SPDX-License-Identifier: MIT */
/* sun_ephemeris: the part of the Sun that asks ERFA. Needed where a date's Sun
 * is built (server, client, tests), not where a run is reduced. */
#include <erfa.h>
#include <erfam.h>

#include "server/science/angle.h"
#include "server/science/sun.h"

#define JD_UNIX_EPOCH 2440587.5
#define AU_LIGHT_DAYS (ERFA_AULT / ERFA_DAYSEC) /* light time for 1 au, days */

/* TT minus UTC in seconds at an instant. */
static double tt_minus_utc_s(double t_utc_s) {
    int year, month, day;
    double fraction, tai_minus_utc_s;
    double days = floor(t_utc_s / ANGLE_DAY_S);
    eraJd2cal(JD_UNIX_EPOCH, days, &year, &month, &day, &fraction);
    eraDat(year, month, day, 0.0, &tai_minus_utc_s);
    return tai_minus_utc_s + ERFA_TTMTAI;
}

/* Geocentric vector (au) to the Sun as it was when the light left it. */
static void retarded_sun(double tt1, double tt2, double to_sun[3], double earth_velocity_au_d[3],
                         double *sun_distance_au) {
    double heliocentric[2][3], barycentric[2][3];
    eraEpv00(tt1, tt2, heliocentric, barycentric);
    double distance_au = eraPm(heliocentric[0]);
    double earlier_heliocentric[2][3], earlier_barycentric[2][3];
    eraEpv00(tt1, tt2 - distance_au * AU_LIGHT_DAYS, earlier_heliocentric, earlier_barycentric);
    for (int i = 0; i < 3; i++) {
        double sun = earlier_barycentric[0][i] - earlier_heliocentric[0][i];
        to_sun[i] = sun - barycentric[0][i];
        earth_velocity_au_d[i] = barycentric[1][i];
    }
    *sun_distance_au = distance_au;
}

void sun_exact(double t_utc_s, struct sun_place *out) {
    double utc_days = t_utc_s / ANGLE_DAY_S;
    double tt_days = utc_days + tt_minus_utc_s(t_utc_s) / ANGLE_DAY_S;

    double to_sun[3], velocity[3], sun_distance_au;
    retarded_sun(JD_UNIX_EPOCH, tt_days, to_sun, velocity, &sun_distance_au);
    double direction[3], distance_au;
    eraPn(to_sun, &distance_au, direction);

    double speed_squared = 0.0;
    for (int i = 0; i < 3; i++) {
        velocity[i] *= AU_LIGHT_DAYS; /* au a day -> units of c */
        speed_squared += velocity[i] * velocity[i];
    }
    double apparent[3], of_date[3], matrix[3][3];
    eraAb(direction, velocity, sun_distance_au, sqrt(1.0 - speed_squared), apparent);
    eraPnm06a(JD_UNIX_EPOCH, tt_days, matrix);
    eraRxp(matrix, apparent, of_date);
    double right_ascension, declination;
    eraC2s(of_date, &right_ascension, &declination);

    double sidereal = eraGst06a(JD_UNIX_EPOCH, utc_days, JD_UNIX_EPOCH, tt_days);
    double greenwich_hour_deg = (sidereal - right_ascension) * ANGLE_DEG_PER_RAD;
    double seconds_of_day = t_utc_s - floor(utc_days) * ANGLE_DAY_S;
    double mean_hour_deg = (seconds_of_day - 0.5 * ANGLE_DAY_S) * ANGLE_DEG_PER_DAY_S;
    out->declination_deg = declination * ANGLE_DEG_PER_RAD;
    out->equation_of_time_s = angle_wrap(greenwich_hour_deg - mean_hour_deg) / ANGLE_DEG_PER_DAY_S;
    out->semidiameter_deg = SUN_SEMIDIAMETER_1AU_ARCSEC / distance_au / ANGLE_ARCSEC_PER_DEG;
    out->parallax_deg = SUN_PARALLAX_1AU_ARCSEC / distance_au / ANGLE_ARCSEC_PER_DEG;
}

/* Chebyshev coefficients of the polynomial through values at the SUN_TERMS nodes. */
static void chebyshev(const double value[SUN_TERMS], double coefficient[SUN_TERMS]) {
    for (int j = 0; j < SUN_TERMS; j++) {
        double sum = 0.0;
        for (int k = 0; k < SUN_TERMS; k++)
            sum += value[k] * cos(ERFA_DPI * j * (k + 0.5) / SUN_TERMS);
        coefficient[j] = sum * (j == 0 ? 1.0 : 2.0) / SUN_TERMS;
    }
}

bool sun_day_build(int32_t day_number, struct sun_day *out) {
    if (day_number < SUN_FIRST_DAY || day_number > SUN_LAST_DAY)
        return false;
    struct sun_day day = {
        .day_number = day_number,
        .centre_utc_s = (day_number + 0.5) * ANGLE_DAY_S,
        .half_span_s = 21.0 * 3600.0,
    };
    double declination[SUN_TERMS], equation[SUN_TERMS], distance[SUN_TERMS];
    for (int k = 0; k < SUN_TERMS; k++) {
        double x = cos(ERFA_DPI * (k + 0.5) / SUN_TERMS);
        struct sun_place place;
        sun_exact(day.centre_utc_s + x * day.half_span_s, &place);
        declination[k] = place.declination_deg;
        equation[k] = place.equation_of_time_s;
        distance[k] = SUN_SEMIDIAMETER_1AU_ARCSEC / ANGLE_ARCSEC_PER_DEG / place.semidiameter_deg;
    }
    chebyshev(declination, day.declination_deg);
    chebyshev(equation, day.equation_s);
    chebyshev(distance, day.distance_au);
    *out = day;
    return true;
}
