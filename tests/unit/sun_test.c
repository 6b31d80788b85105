/* SPDX-License-Identifier: MIT */
/* sun: against printed examples, printed tables and a second theory (VSOP87 by
 * libnova with a reduction to apparent place written here). ERFA is the module's
 * own engine, so a value marked "recomputed" guards against change, and only the
 * published ones and libnova prove it right. */
#include "tests/data/almanac_2025.h"
#include "tests/unit/near.h"

#include <erfa.h>
#include <erfam.h>
#include <libnova/earth.h>
#include <libnova/nutation.h>

#include "server/science/angle.h"
#include "server/science/sun.h"

#define JD_UNIX_EPOCH 2440587.5
#define ARCSEC (1.0 / 3600.0)

/* Right ascension of the Sun (deg, 0..360) that lies in a place: hour angle at
 * Greenwich is what the clock and the equation of time say. */
static double right_ascension_deg(double t_utc_s, const struct sun_place *place,
                                  double tt_minus_utc_s) {
    double utc_days = t_utc_s / ANGLE_DAY_S, tt_days = utc_days + tt_minus_utc_s / ANGLE_DAY_S;
    double sidereal_deg =
        ANGLE_DEG_PER_RAD * eraGst06a(JD_UNIX_EPOCH, utc_days, JD_UNIX_EPOCH, tt_days);
    double since_midnight_s = t_utc_s - floor(utc_days) * ANGLE_DAY_S;
    double hour_angle_deg = (since_midnight_s - 43200.0 + place->equation_of_time_s) / 240.0;
    double deg = fmod(sidereal_deg - hour_angle_deg, 360.0);
    return deg < 0.0 ? deg + 360.0 : deg;
}

static double distance_au(const struct sun_place *place) {
    return SUN_SEMIDIAMETER_1AU_ARCSEC / 3600.0 / place->semidiameter_deg;
}

/* Printed examples take the mean Sun at the instant of dynamical time, the clock (and
 * this module, which predicts transits) at that of universal time: it moves on by a
 * whole turn in a year of 365.2422 days. To be added to our equation of time. */
static double ephemeris_mean_sun_s(double delta_t_s) {
    return delta_t_s / 365.2422;
}

/* Reda & Andreas, Solar Position Algorithm for Solar Radiation Applications,
 * NREL/TP-560-34302 (2008), table A5.1: 2003-10-17 12:30:30 UTC-7, 39.742476 N,
 * 105.1786 W. They take Delta T = 67 s, we 64.184 s: 0.12" of longitude. */
static void test_nrel_example(void **state) {
    (void)state;
    double t_utc_s = near_utc_s("2003-10-17T12:30:30-07:00");
    double lat_deg = 39.742476, lon_deg = -105.1786;
    struct sun_place exact;
    sun_exact(t_utc_s, &exact);
    check_near("NREL declination", exact.declination_deg, -9.31434, 0.5 * ARCSEC, "deg");
    check_near("NREL right ascension", right_ascension_deg(t_utc_s, &exact, 64.184), 202.227408,
               0.5 * ARCSEC, "deg");
    check_near("NREL distance", distance_au(&exact), 0.9965422974, 1e-6, "au");
    check_near("NREL equation of time", exact.equation_of_time_s / 60.0, 14.64, 0.005, "min");
    check_near("NREL equation of time, more digits (from memory)",
               exact.equation_of_time_s + ephemeris_mean_sun_s(67.0), 14.641503 * 60.0, 0.05, "s");

    struct sun_day day;
    assert_true(sun_day_build(near_date("2003-10-17"), &day));
    double hour_angle_deg = sun_hour_angle_deg(&day, t_utc_s, lon_deg);
    check_near("NREL hour angle", hour_angle_deg, 11.105900, 0.5 * ARCSEC, "deg");
    struct sun_place place;
    sun_at(&day, t_utc_s, &place);
    double zenith_deg =
        ANGLE_DEG_PER_RAD *
        acos(angle_sin(lat_deg) * angle_sin(place.declination_deg) +
             angle_cos(lat_deg) * angle_cos(place.declination_deg) * angle_cos(hour_angle_deg));
    zenith_deg += place.parallax_deg * angle_sin(zenith_deg);
    check_near("NREL elevation without air", 90.0 - zenith_deg, 39.872046, 0.5 * ARCSEC, "deg");
    check_near("NREL transit (recomputed with ERFA)", sun_transit_utc_s(&day, lon_deg),
               near_utc_s("2003-10-17T18:46:05Z"), 0.5, "s");
    check_near("NREL transit (from memory: 11.768045 h at UTC-7)", sun_transit_utc_s(&day, lon_deg),
               near_utc_s("2003-10-17T07:00:00Z") + 11.768045 * 3600.0, 0.5, "s");
}

/* Meeus, Astronomical Algorithms, 2nd ed. (1998), examples 25.b (p. 165, 169,
 * VSOP87) and 28.b (p. 185): 1992-10-13 0 h TD, when TT - UTC was 59.184 s. */
static void test_meeus_examples(void **state) {
    (void)state;
    double t_utc_s = near_utc_s("1992-10-13T00:00:00Z") - 59.184;
    struct sun_place exact;
    sun_exact(t_utc_s, &exact);
    check_near("Meeus 25.b right ascension", right_ascension_deg(t_utc_s, &exact, 59.184),
               15.0 * (13.0 + 13.0 / 60.0 + 30.749 / 3600.0), 0.2 * ARCSEC, "deg");
    check_near("Meeus 25.b declination", exact.declination_deg, near_dms(-1, 7, 47, 1.74),
               0.1 * ARCSEC, "deg");
    check_near("Meeus 25.a distance (low accuracy)", distance_au(&exact), 0.99766, 1e-4, "au");
    check_near("Meeus 25.b distance (recomputed with ERFA)", distance_au(&exact), 0.99760854, 1e-8,
               "au");
    double equation_s = exact.equation_of_time_s + ephemeris_mean_sun_s(59.184);
    check_near("Meeus 28.b equation of time (low accuracy)", equation_s, 13 * 60 + 42.7, 0.3, "s");
    check_near("Meeus 28.a equation of time (from memory)", equation_s, 13 * 60 + 42.6, 0.1, "s");
}

/* The Sun's apparent longitude (deg) on the ecliptic of date. */
static double apparent_longitude_deg(double t_utc_s, double tt_minus_utc_s) {
    struct sun_place exact;
    sun_exact(t_utc_s, &exact);
    double ra_deg = right_ascension_deg(t_utc_s, &exact, tt_minus_utc_s);
    double tt_days = (t_utc_s + tt_minus_utc_s) / ANGLE_DAY_S, dpsi, deps;
    eraNut06a(JD_UNIX_EPOCH, tt_days, &dpsi, &deps);
    double obliquity_deg = ANGLE_DEG_PER_RAD * (eraObl06(JD_UNIX_EPOCH, tt_days) + deps);
    double longitude_deg =
        ANGLE_DEG_PER_RAD * atan2(angle_sin(ra_deg) * angle_cos(obliquity_deg) +
                                      angle_tan(exact.declination_deg) * angle_sin(obliquity_deg),
                                  angle_cos(ra_deg));
    return longitude_deg < -1.0 ? longitude_deg + 360.0 : longitude_deg;
}

/* Meeus, table 27.E p. 182 (from memory; all eight recomputed with ERFA to 1 s):
 * instants, TD, at which the apparent longitude is 0, 90, 180, 270 degrees. The Sun
 * moves 0.041" a second. Declination is 0 up to a minute earlier or later, for the
 * Sun may stand 1" beside the ecliptic. */
static void test_equinoxes_and_solstices(void **state) {
    (void)state;
    static const struct {
        const char *td;
        double longitude_deg, tt_minus_utc_s;
    } rows[] = {
        {"1996-03-20T08:04:07Z", 0.0, 62.184},   {"1996-06-21T02:24:46Z", 90.0, 62.184},
        {"1996-09-22T18:01:08Z", 180.0, 62.184}, {"1996-12-21T14:06:56Z", 270.0, 62.184},
        {"2000-03-20T07:36:19Z", 0.0, 64.184},   {"2000-06-21T01:48:46Z", 90.0, 64.184},
        {"2000-09-22T17:28:40Z", 180.0, 64.184}, {"2000-12-21T13:38:30Z", 270.0, 64.184},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double dt_s = rows[i].tt_minus_utc_s, from_s = near_utc_s(rows[i].td) - dt_s - 3600.0;
        double to_s = from_s + 7200.0;
        for (int halving = 0; halving < 30; halving++) {
            double middle_s = 0.5 * (from_s + to_s);
            if (apparent_longitude_deg(middle_s, dt_s) < rows[i].longitude_deg)
                from_s = middle_s;
            else
                to_s = middle_s;
        }
        check_near(rows[i].td, from_s + dt_s, near_utc_s(rows[i].td), 2.0, "s");
    }
}

/* 12:00 UTC in 2025. Recomputed with ERFA; PyEphem (libastro) agrees to 0.23" and
 * 0.04 s. Tolerances 3", 0.3 s and the last digit printed of the semidiameter. */
static void test_table_of_2025(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT_OF(almanac_2025); i++) {
        struct sun_day day;
        struct sun_place place;
        assert_true(sun_day_build(near_date(almanac_2025[i].date), &day));
        sun_at(&day, day.centre_utc_s, &place);
        check_near(almanac_2025[i].date, place.declination_deg, almanac_2025[i].declination_deg,
                   3.0 * ARCSEC, "deg of declination");
        check_near(almanac_2025[i].date, place.equation_of_time_s,
                   60.0 * almanac_2025[i].equation_min, 0.3, "s of equation of time");
        check_near(almanac_2025[i].date, 3600.0 * place.semidiameter_deg,
                   almanac_2025[i].semidiameter_arcsec, 0.006, "arcsec of semidiameter");
    }
}

/* Extremes and zeros of the equation of time in 2025 at 12:00 UTC (recomputed with
 * ERFA and PyEphem), and the classical extremes -14m15s, +3m41s, -6m30s, +16m25s,
 * which are means over years (from memory): 6 s. */
static void test_the_year_2025(void **state) {
    (void)state;
    static const struct {
        const char *date;
        double equation_min, classical_s;
    } turns[] = {{"2025-02-11", -14.188, -855.0},
                 {"2025-05-13", 3.671, 221.0},
                 {"2025-07-26", -6.565, -390.0},
                 {"2025-11-03", 16.434, 985.0}};
    static const char *const zeros[] = {"2025-04-15", "2025-06-13", "2025-09-01", "2025-12-25"};
    int32_t first = near_date("2025-01-01");
    double equation_s[367], widest_arcmin = 0.0, narrowest_arcmin = 60.0;
    for (int i = 0; i < 367; i++) {
        struct sun_day day;
        struct sun_place place;
        assert_true(sun_day_build(first - 1 + i, &day));
        sun_at(&day, day.centre_utc_s, &place);
        equation_s[i] = place.equation_of_time_s;
        widest_arcmin = fmax(widest_arcmin, 120.0 * place.semidiameter_deg);
        narrowest_arcmin = fmin(narrowest_arcmin, 120.0 * place.semidiameter_deg);
    }
    size_t turn = 0, zero = 0;
    for (int i = 1; i < 366; i++) {
        double before = equation_s[i - 1], here = equation_s[i], after = equation_s[i + 1];
        if ((here - before) * (after - here) <= 0.0) {
            assert_true(turn < COUNT_OF(turns));
            assert_int_equal(first - 1 + i, near_date(turns[turn].date));
            check_near(turns[turn].date, here, 60.0 * turns[turn].equation_min, 0.3, "s");
            check_near("classical extreme", here, turns[turn].classical_s, 6.0, "s");
            turn++;
        }
        /* The table's date of a zero: the first 12:00 UTC with the other sign. */
        if (before * here <= 0.0) {
            assert_true(zero < COUNT_OF(zeros));
            assert_int_equal(first - 1 + i, near_date(zeros[zero]));
            zero++;
        }
    }
    assert_int_equal(turn, COUNT_OF(turns));
    assert_int_equal(zero, COUNT_OF(zeros));
    /* Recomputed: the Sun's angular diameter goes from 31.464' to 32.530'. */
    check_near("smallest diameter in 2025", narrowest_arcmin, 31.464, 0.001, "arcmin");
    check_near("largest diameter in 2025", widest_arcmin, 32.530, 0.001, "arcmin");
}

/* Ecliptic longitude and latitude (deg) from J2000 to the equinox of date: Meeus,
 * Astronomical Algorithms ch. 21, IAU 1976 precession. */
static void precess_ecliptic(double centuries, double *longitude_deg, double *latitude_deg) {
    double t = centuries;
    double tilt = ARCSEC * t * (47.0029 + t * (-0.03302 + t * 0.00006));
    double node = 174.876384 + ARCSEC * t * (-869.8089 + t * 0.03536);
    double along = ARCSEC * t * (5029.0966 + t * (1.11113 - t * 0.000006));
    double from_node = node - *longitude_deg, latitude = *latitude_deg;
    double a = angle_cos(tilt) * angle_cos(latitude) * angle_sin(from_node) -
               angle_sin(tilt) * angle_sin(latitude);
    double b = angle_cos(latitude) * angle_cos(from_node);
    double c = angle_cos(tilt) * angle_sin(latitude) +
               angle_sin(tilt) * angle_cos(latitude) * angle_sin(from_node);
    *longitude_deg = along + node - ANGLE_DEG_PER_RAD * atan2(a, b);
    *latitude_deg = ANGLE_DEG_PER_RAD * asin(c);
}

/* Second opinion: heliocentric Earth by VSOP87, ecliptic J2000 (libnova; its helper
 * for the Sun's place is not used: it mixes equinoxes), precessed, turned round,
 * aberration 20.4898"/R, nutation of libnova, Meeus ch. 12 for sidereal time and
 * ch. 13 for coordinates. Older precession and truncated series: 0.2" and 0.01 s. */
static void vsop87_sun(double t_utc_s, double tt_minus_utc_s, double *declination_deg,
                       double *equation_s) {
    double jd_ut = JD_UNIX_EPOCH + t_utc_s / ANGLE_DAY_S;
    double jd_tt = jd_ut + tt_minus_utc_s / ANGLE_DAY_S;
    double days = jd_ut - 2451545.0, centuries = days / 36525.0;
    struct ln_helio_posn earth;
    struct ln_nutation nutation;
    ln_get_earth_helio_coords(jd_tt, &earth);
    ln_get_nutation(jd_tt, &nutation);
    precess_ecliptic(centuries, &earth.L, &earth.B);
    double longitude = earth.L + 180.0 + nutation.longitude - 20.4898 * ARCSEC / earth.R;
    double latitude = -earth.B, obliquity = nutation.ecliptic + nutation.obliquity;
    double sine = angle_sin(latitude) * angle_cos(obliquity) +
                  angle_cos(latitude) * angle_sin(obliquity) * angle_sin(longitude);
    double ra_deg = ANGLE_DEG_PER_RAD * atan2(angle_sin(longitude) * angle_cos(obliquity) -
                                                  angle_tan(latitude) * angle_sin(obliquity),
                                              angle_cos(longitude));
    double sidereal_deg = 280.46061837 + 360.98564736629 * days +
                          0.000387933 * centuries * centuries +
                          nutation.longitude * angle_cos(obliquity);
    double since_midnight_s = t_utc_s - floor(t_utc_s / ANGLE_DAY_S) * ANGLE_DAY_S;
    *declination_deg = ANGLE_DEG_PER_RAD * asin(sine);
    *equation_s = 240.0 * angle_wrap(sidereal_deg - ra_deg - (since_midnight_s - 43200.0) / 240.0);
}

static void test_second_theory(void **state) {
    (void)state;
    /* 2017..2045 keeps 69.184 s in both; a day of each month moves through the hours. */
    double worst_arcsec = 0.0, worst_s = 0.0;
    for (int step = 0; step < 340; step++) {
        double t_utc_s = near_utc_s("2017-01-02T00:00:00Z") + step * 30.4375 * 86400.0;
        double declination_deg, equation_s;
        vsop87_sun(t_utc_s, 69.184, &declination_deg, &equation_s);
        struct sun_place exact;
        sun_exact(t_utc_s, &exact);
        worst_arcsec = fmax(worst_arcsec, 3600.0 * fabs(exact.declination_deg - declination_deg));
        worst_s = fmax(worst_s, fabs(exact.equation_of_time_s - equation_s));
    }
    check_near("declination, VSOP87 by libnova", worst_arcsec, 0.0, 0.2, "arcsec");
    check_near("equation of time, VSOP87 by libnova", worst_s, 0.0, 0.01, "s");
}

/* The polynomial over its whole span against the full computation, and the node
 * count is no luck of one year: 2000..2060, dates 97 days apart. */
static void test_polynomial(void **state) {
    (void)state;
    double worst_arcsec = 0.0, worst_s = 0.0, worst_au = 0.0;
    int row = 0;
    for (int32_t date = near_date("2000-01-01"); date < near_date("2061-01-01"); date += 97) {
        struct sun_day day;
        assert_true(sun_day_build(date, &day));
        assert_int_equal(day.day_number, date);
        for (int k = 0; k < 4; k++) {
            double x = -1.0 + (k + fmod(0.61803398875 * row++, 1.0)) / 2.0;
            double t_utc_s = day.centre_utc_s + x * day.half_span_s;
            struct sun_place exact, quick;
            sun_exact(t_utc_s, &exact);
            sun_at(&day, t_utc_s, &quick);
            worst_arcsec =
                fmax(worst_arcsec, 3600.0 * fabs(quick.declination_deg - exact.declination_deg));
            worst_s = fmax(worst_s, fabs(quick.equation_of_time_s - exact.equation_of_time_s));
            worst_au = fmax(worst_au, fabs(distance_au(&quick) - distance_au(&exact)));
            check_near("parallax", quick.parallax_deg, exact.parallax_deg, 1e-9, "deg");
        }
    }
    check_near("declination by polynomial", worst_arcsec, 0.0, 1e-4, "arcsec");
    check_near("equation of time by polynomial", worst_s, 0.0, 1e-4, "s");
    check_near("distance by polynomial", worst_au, 0.0, 1e-8, "au");
}

/* Dates over a leap second carry two seconds where the clock shows one: dates of
 * TAI - UTC in the IANA leap-seconds.list and IERS Bulletin C. Without a step the
 * count stays 37 from 2017 on: TT - UTC = 69.184 s. */
static void test_leap_seconds(void **state) {
    (void)state;
    static const struct {
        const char *midnight;
        double elapsed_s;
    } rows[] = {
        {"2009-01-01T00:00:00Z", 2.0}, {"2012-07-01T00:00:00Z", 2.0}, {"2015-07-01T00:00:00Z", 2.0},
        {"2017-01-01T00:00:00Z", 2.0}, {"2016-01-01T00:00:00Z", 1.0}, {"2018-01-01T00:00:00Z", 1.0},
        {"2027-01-01T00:00:00Z", 1.0},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double midnight_utc_s = near_utc_s(rows[i].midnight);
        struct sun_place earlier, before, after;
        sun_exact(midnight_utc_s - 1000.5, &earlier);
        sun_exact(midnight_utc_s - 0.5, &before);
        sun_exact(midnight_utc_s + 0.5, &after);
        double rate = (before.declination_deg - earlier.declination_deg) / 1000.0;
        check_near(rows[i].midnight, (after.declination_deg - before.declination_deg) / rate,
                   rows[i].elapsed_s, 0.01, "s of TT");
    }
    /* The library's own rows: erfa t_erfa_c.c, t_dat, and leap-seconds.list. */
    static const struct {
        int year, month;
        double tai_minus_utc_s;
    } table[] = {{2003, 6, 32.0}, {2008, 1, 33.0}, {2009, 1, 34.0},
                 {2012, 7, 35.0}, {2015, 7, 36.0}, {2017, 9, 37.0}};
    for (size_t i = 0; i < COUNT_OF(table); i++) {
        double tai_minus_utc_s;
        assert_int_equal(eraDat(table[i].year, table[i].month, 1, 0.0, &tai_minus_utc_s), 0);
        check_near("eraDat", tai_minus_utc_s, table[i].tai_minus_utc_s, 0.0, "s");
    }
}

/* The installed ERFA is the one that was examined: rows of erfa's t_erfa_c.c for the
 * routines the Sun is made of. */
static void test_erfa_rows(void **state) {
    (void)state;
    check_near("eraGst06a", eraGst06a(2400000.5, 53736.0, 2400000.5, 53736.0), 1.754166137675019159,
               1e-12, "rad");
    double dpsi, deps, heliocentric[2][3], barycentric[2][3];
    eraNut06a(2400000.5, 53736.0, &dpsi, &deps);
    check_near("eraNut06a dpsi", dpsi, -0.9630912025820308797e-5, 1e-13, "rad");
    check_near("eraNut06a deps", deps, 0.4063238496887249798e-4, 1e-13, "rad");
    check_near("eraObl06", eraObl06(2400000.5, 54388.0), 0.4090749229387258204, 1e-14, "rad");
    eraEpv00(2400000.5, 53411.52501161, heliocentric, barycentric);
    check_near("eraEpv00 x", heliocentric[0][0], -0.7757238809297706813, 1e-14, "au");
    check_near("eraEpv00 y", heliocentric[0][1], 0.5598052241363340596, 1e-14, "au");
    check_near("eraEpv00 z", heliocentric[0][2], 0.2426998466481686993, 1e-14, "au");
}

/* Solar parallax at 1 au: asin(6378.1366 km / 149 597 870.7 km) (IAU 2012 B2). */
static void test_constants(void **state) {
    (void)state;
    check_near("parallax at 1 au", SUN_PARALLAX_1AU_ARCSEC,
               3600.0 * ANGLE_DEG_PER_RAD * asin(6378.1366 / 149597870.7), 5e-7, "arcsec");
    /* IAU 2015 Resolution B3: 695 700 km, 0.40" less than the almanacs' 959.63". */
    check_near("semidiameter against the nominal radius", SUN_SEMIDIAMETER_1AU_ARCSEC,
               3600.0 * ANGLE_DEG_PER_RAD * asin(695700.0 / 149597870.7), 0.41, "arcsec");
}

static void test_transit_is_hour_angle_zero(void **state) {
    (void)state;
    static const double lons_deg[] = {-180.0, -179.999999, -120.0, 0.0, 1e-9, 77.3, 179.9, 180.0};
    static const char *const dates[] = {"1972-01-01", "2000-02-29", "2016-12-31", "2027-03-21",
                                        "2028-02-29", "2027-11-03", "2100-12-31"};
    for (size_t d = 0; d < COUNT_OF(dates); d++) {
        struct sun_day day;
        assert_true(sun_day_build(near_date(dates[d]), &day));
        for (size_t i = 0; i < COUNT_OF(lons_deg); i++) {
            double transit_utc_s = sun_transit_utc_s(&day, lons_deg[i]);
            check_near(dates[d], sun_hour_angle_deg(&day, transit_utc_s, lons_deg[i]), 0.0, 1e-6,
                       "deg");
            double hours = (transit_utc_s - day.day_number * 86400.0) / 3600.0;
            check_near(dates[d], hours, 12.0 - lons_deg[i] / 15.0, 0.28, "h (EoT below 17 min)");
            assert_int_equal(sun_day_nearest(transit_utc_s, lons_deg[i]), day.day_number);
            assert_int_equal(sun_day_nearest(transit_utc_s + 11.5 * 3600.0, lons_deg[i]),
                             day.day_number);
            assert_int_equal(sun_day_nearest(transit_utc_s - 11.5 * 3600.0, lons_deg[i]),
                             day.day_number);
            check_near("two hours on", /* 30 degrees but for the change of the equation */
                       sun_hour_angle_deg(&day, transit_utc_s + 7200.0, lons_deg[i]), 30.0, 0.011,
                       "deg");
        }
    }
}

/* At +-180 one meridian has two names, a day apart. */
static void test_the_date_line(void **state) {
    (void)state;
    struct sun_day today, tomorrow;
    assert_true(sun_day_build(near_date("2027-03-21"), &today));
    assert_true(sun_day_build(near_date("2027-03-22"), &tomorrow));
    check_near("transit at +180 and, a date earlier, at -180", sun_transit_utc_s(&tomorrow, 180.0),
               sun_transit_utc_s(&today, -180.0), 0.001, "s");
}

static double altitude_deg(const struct sun_day *day, double t_utc_s, double lat_deg) {
    struct sun_place place;
    sun_at(day, t_utc_s, &place);
    double hour_angle_deg = sun_hour_angle_deg(day, t_utc_s, 0.0);
    return ANGLE_DEG_PER_RAD *
           asin(angle_sin(lat_deg) * angle_sin(place.declination_deg) +
                angle_cos(lat_deg) * angle_cos(place.declination_deg) * angle_cos(hour_angle_deg));
}

/* Greatest altitude comes (tan lat - tan dec) d(dec)/dH after transit (derivation;
 * by differentiating sin h): 36.5 s at 69.6 N in April. At +-85 more than a minute. */
static void test_transit_is_not_the_greatest_altitude(void **state) {
    (void)state;
    static const struct {
        const char *date;
        double lat_deg;
    } rows[] = {{"2027-04-05", 69.6}, {"2027-04-05", -60.0}, {"2027-03-21", 0.0},
                {"2027-06-21", 85.0}, {"2027-04-20", 85.0},  {"2027-10-10", -85.0}};
    double largest_s = 0.0;
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct sun_day day;
        assert_true(sun_day_build(near_date(rows[i].date), &day));
        double transit_utc_s = sun_transit_utc_s(&day, 0.0);
        /* Vertex of the parabola through three altitudes 20 minutes apart. */
        double step_s = 1200.0, before, here, after, vertex_s = 0.0;
        for (int round = 0; round < 3; round++) {
            double t_utc_s = transit_utc_s + vertex_s;
            before = altitude_deg(&day, t_utc_s - step_s, rows[i].lat_deg);
            here = altitude_deg(&day, t_utc_s, rows[i].lat_deg);
            after = altitude_deg(&day, t_utc_s + step_s, rows[i].lat_deg);
            vertex_s += 0.5 * step_s * (before - after) / (before - 2.0 * here + after);
        }
        struct sun_place place, later;
        sun_at(&day, transit_utc_s, &place);
        sun_at(&day, transit_utc_s + 60.0, &later);
        double rate = (later.declination_deg - place.declination_deg) / 0.25; /* deg a degree */
        double expected_s = 240.0 * ANGLE_DEG_PER_RAD * rate *
                            (angle_tan(rows[i].lat_deg) - angle_tan(place.declination_deg));
        char label[64];
        snprintf(label, sizeof label, "%s at %g", rows[i].date, rows[i].lat_deg);
        check_near(label, vertex_s, expected_s, 0.02 * fabs(expected_s) + 0.1, "s");
        if (rows[i].lat_deg == 69.6)
            check_near("69.6 N in April (recomputed)", vertex_s, 36.5, 1.5, "s");
        largest_s = fmax(largest_s, fabs(vertex_s));
    }
    assert_true(largest_s > 60.0);
}

static void test_dates_without_a_sun(void **state) {
    (void)state;
    struct sun_day day = {.day_number = -7};
    assert_false(sun_day_build(SUN_FIRST_DAY - 1, &day));
    assert_false(sun_day_build(SUN_LAST_DAY + 1, &day));
    assert_false(sun_day_build(INT32_MIN, &day));
    assert_false(sun_day_build(INT32_MAX, &day));
    assert_int_equal(day.day_number, -7);
    assert_int_equal(SUN_FIRST_DAY, near_date("1972-01-01"));
    assert_int_equal(SUN_LAST_DAY, near_date("2100-12-31"));
    assert_true(sun_day_build(SUN_FIRST_DAY, &day));
    assert_true(sun_day_build(SUN_LAST_DAY, &day));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nrel_example),
        cmocka_unit_test(test_meeus_examples),
        cmocka_unit_test(test_equinoxes_and_solstices),
        cmocka_unit_test(test_table_of_2025),
        cmocka_unit_test(test_the_year_2025),
        cmocka_unit_test(test_second_theory),
        cmocka_unit_test(test_polynomial),
        cmocka_unit_test(test_leap_seconds),
        cmocka_unit_test(test_erfa_rows),
        cmocka_unit_test(test_constants),
        cmocka_unit_test(test_transit_is_hour_angle_zero),
        cmocka_unit_test(test_the_date_line),
        cmocka_unit_test(test_transit_is_not_the_greatest_altitude),
        cmocka_unit_test(test_dates_without_a_sun),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
