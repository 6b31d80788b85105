/* SPDX-License-Identifier: MIT */
/* sun: where the Sun is, for one date at a time.
 *
 * sun_day_build asks ERFA once (about 0.3 ms) and hands on a small polynomial;
 * everything else evaluates it with libm alone, a few nanoseconds a position,
 * so that server, client and phone run the same code.
 *
 * Method: eraEpv00 (heliocentric Earth), light time and annual aberration,
 * bias-precession-nutation eraPnm06a, apparent sidereal time eraGst06a; TT-UTC
 * from ERFA's leap-second table; UT1 = UTC (DUT1 stays below 0.9 s, which moves
 * a predicted noon by as much and its zenith distance by less than 0.02").
 * Accuracy: ephemeris about 0.01"; polynomial within 0.005" in declination and
 * 0.001 s in the equation of time over its span.
 * References: ERFA 2.0; Kaplan, USNO Circular 179 (2005); Auwers, A.N. 128
 * (1891), for the semidiameter 959.63" at 1 au. */
#ifndef NOONARC_SUN_H
#define NOONARC_SUN_H

#include <stdbool.h>
#include <stdint.h>

#define SUN_SEMIDIAMETER_1AU_ARCSEC 959.63 /* Auwers 1891 */
#define SUN_PARALLAX_1AU_ARCSEC 8.794143   /* asin(6378.1366 km / 1 au) */
#define SUN_TERMS 5

/* Dates for which sun_day_build answers: 1972-01-01 (UTC as we know it begins)
 * to 2100-12-31, as days since 1970-01-01. */
#define SUN_FIRST_DAY 730
#define SUN_LAST_DAY 47846

/* The Sun of one date: Chebyshev series in x = (t - centre) / half_span. */
struct sun_day {
    int32_t day_number;  /* days since 1970-01-01 */
    double centre_utc_s; /* 12:00 UTC of the date */
    double half_span_s;  /* 21 h: noon of any meridian of the date, and 9 h about it */
    double declination_deg[SUN_TERMS];
    double equation_s[SUN_TERMS]; /* equation of time, apparent minus mean */
    double distance_au[SUN_TERMS];
};

struct sun_place {
    double declination_deg;    /* apparent, geocentric, of date */
    double equation_of_time_s; /* apparent minus mean solar time */
    double semidiameter_deg;
    double parallax_deg; /* equatorial horizontal */
};

/* Builds the Sun of a date. Returns false, and leaves out alone, when the date
 * is outside SUN_FIRST_DAY .. SUN_LAST_DAY. Uses ERFA. */
bool sun_day_build(int32_t day_number, struct sun_day *out);

/* The Sun at an instant (seconds since 1970-01-01 UTC) of the day's span;
 * outside the span the series is continued and loses its accuracy. */
void sun_at(const struct sun_day *day, double t_utc_s, struct sun_place *out);

/* Only what a zenith distance needs of it: declination (deg), equation of time (s). */
void sun_course(const struct sun_day *day, double t_utc_s, double *declination_deg,
                double *equation_of_time_s);

/* Local hour angle in (-180, 180]: negative before noon. */
double sun_hour_angle_deg(const struct sun_day *day, double t_utc_s, double lon_deg);

/* The instant of transit (hour angle 0, not greatest altitude) on the meridian
 * lon_deg (-180..180) that belongs to the date: between 0 h and 24 h UTC of it,
 * to within the equation of time. Found to 1e-6 s. */
double sun_transit_utc_s(const struct sun_day *day, double lon_deg);

/* The date whose transit on this meridian lies nearest to an instant. */
int32_t sun_day_nearest(double t_utc_s, double lon_deg);

/* Full-precision position by ERFA, without the polynomial: the yardstick of
 * the tests and of sun_day_build itself. About 50 us. */
void sun_exact(double t_utc_s, struct sun_place *out);

#endif
