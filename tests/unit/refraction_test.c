/* SPDX-License-Identifier: MIT */
/* refraction: against ray tracing. The handbook formulas of Bennett and Saemundsson
 * stand 2.5 to 4.5 % above ray tracing and serve as bounds only. */
#include "tests/unit/near.h"

#include <erfa.h>

#include "server/science/angle.h"
#include "server/science/refraction.h"

/* Ray traced at 1005 hPa, 280.15 K, humidity 0.8, 0.574 um, sea level, latitude 50
 * (ERFA refco, note 2, after Hohenkerk & Sinclair 1985); arcsec. */
static const struct {
    double zenith_deg, traced_arcsec;
} traced[] = {
    {10, 10.27},  {20, 21.19},  {30, 33.61},  {40, 48.82},  {45, 58.16},  {50, 69.28},
    {60, 100.51}, {65, 124.23}, {70, 158.63}, {74, 200.35}, {78, 267.44}, {80, 319.13},
};

/* Our humidity and wavelength are fixed at 0.5 and 0.55 um, which refract 0.25 % more.
 * In the table's own air two terms keep to 0.1" up to z = 74 and to 1" at 80. */
static void test_ray_tracing(void **state) {
    (void)state;
    struct refraction air = refraction_at(0.0, 1005.0, 280.15 - 273.15);
    double a_rad, b_rad;
    eraRefco(1005.0, 7.0, 0.8, 0.574, &a_rad, &b_rad);
    for (size_t i = 0; i < COUNT_OF(traced); i++) {
        double z = traced[i].zenith_deg, tangent = angle_tan(z);
        char label[64];
        snprintf(label, sizeof label, "ray tracing at z = %g", z);
        check_near(label, 3600.0 * refraction_of_apparent(&air, z), traced[i].traced_arcsec,
                   0.003 * traced[i].traced_arcsec, "arcsec");
        snprintf(label, sizeof label, "the table's own air at z = %g", z);
        check_near(label,
                   3600.0 * ANGLE_DEG_PER_RAD * (a_rad + b_rad * tangent * tangent) * tangent,
                   traced[i].traced_arcsec,
                   z < 75.0   ? 0.1
                   : z < 79.0 ? 0.6
                              : 1.0,
                   "arcsec");
    }
}

/* erfa t_erfa_c.c, t_refco: 800 hPa, 10 C, 0.9, 0.4 um; and ERFA itself, which the
 * product does not use here, over all air there is: to 1e-14 of the constants. */
static void test_constants_against_erfa(void **state) {
    (void)state;
    struct refraction row = refraction_constants(800.0, 10.0, 0.9, 0.4);
    check_near("A", row.a_deg * ANGLE_RAD_PER_DEG, 0.2264949956241415009e-3, 1e-15, "rad");
    check_near("B", row.b_deg * ANGLE_RAD_PER_DEG, -0.2598658261729343970e-6, 1e-18, "rad");
    for (int pressure_hpa = 300; pressure_hpa <= 1100; pressure_hpa += 100)
        for (int temperature_c = -60; temperature_c <= 60; temperature_c += 20)
            for (int tenths = 0; tenths <= 10; tenths += 5)
                for (int step = 4; step <= 8; step++) {
                    double a_rad, b_rad;
                    eraRefco(pressure_hpa, temperature_c, tenths / 10.0, step / 10.0, &a_rad,
                             &b_rad);
                    struct refraction air = refraction_constants(pressure_hpa, temperature_c,
                                                                 tenths / 10.0, step / 10.0);
                    check_near("A over ERFA's", air.a_deg * ANGLE_RAD_PER_DEG / a_rad, 1.0, 1e-14,
                               "");
                    check_near("B over ERFA's", air.b_deg * ANGLE_RAD_PER_DEG / b_rad, 1.0, 1e-14,
                               "");
                }
}

/* Bennett, J. Navigation 35 (1982) 255, and Saemundsson, Sky & Telescope 72 (1986)
 * 70, for 1010 hPa and 10 C; altitudes in degrees, answers in minutes of arc. */
static double bennett_arcmin(double apparent_altitude_deg) {
    return 1.0 / angle_tan(apparent_altitude_deg + 7.31 / (apparent_altitude_deg + 4.4));
}
static double saemundsson_arcmin(double true_altitude_deg) {
    return 1.02 / angle_tan(true_altitude_deg + 10.3 / (true_altitude_deg + 5.11));
}

/* Meeus, Astronomical Algorithms, example 16.a p. 107, pins the two formulas; they
 * bound the module to 5 %, and an independent integration through a dry standard
 * lapse (1010 hPa, 10 C; recomputed, last digit printed) to 0.01'. */
static void test_handbook_formulas(void **state) {
    (void)state;
    check_near("Meeus 16.a Bennett", bennett_arcmin(0.5), 28.754, 0.0005, "arcmin");
    check_near("Meeus 16.a Saemundsson", saemundsson_arcmin(33.246 / 60.0), 24.618, 0.0005,
               "arcmin");
    static const struct {
        double altitude_deg, integral_arcmin, tolerance_arcmin;
    } rows[] = {{15, 3.56, 0.015},
                {20, 2.64, 0.01},
                {30, 1.671, 0.003},
                {45, 0.967, 0.003},
                {60, 0.559, 0.003}};
    struct refraction air = refraction_at(0.0, 1010.0, 10.0);
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double altitude_deg = rows[i].altitude_deg;
        double ours_arcmin = 60.0 * refraction_of_apparent(&air, 90.0 - altitude_deg);
        char label[64];
        snprintf(label, sizeof label, "integral at altitude %g", altitude_deg);
        check_near(label, ours_arcmin, rows[i].integral_arcmin, rows[i].tolerance_arcmin, "arcmin");
        check_digits("Bennett", ours_arcmin, bennett_arcmin(altitude_deg), 0.05);
        check_digits("Saemundsson", ours_arcmin,
                     saemundsson_arcmin(altitude_deg - ours_arcmin / 60.0), 0.05);
    }
    /* Meeus ch. 16: in proportion to P/1010 and 283/(273 + T). */
    struct refraction thin = refraction_at(0.0, 700.0, -10.0);
    check_digits("Meeus's factor for other air", thin.a_deg / air.a_deg,
                 700.0 / 1010.0 * 283.0 / 263.0, 0.003);
}

/* ISO 2533, standard atmosphere (from memory): pressure and temperature at
 * geopotential heights; what is not measured is filled in from it. */
static void test_standard_atmosphere(void **state) {
    (void)state;
    static const struct {
        double elevation_m, pressure_hpa, temperature_c;
    } rows[] = {{-500, 1074.78, 18.25}, {0, 1013.25, 15.0},    {500, 954.608, 11.75},
                {1000, 898.746, 8.5},   {2000, 794.952, 2.0},  {3000, 701.085, -4.5},
                {5000, 540.199, -17.5}, {9000, 307.425, -43.5}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double elevation_m = rows[i].elevation_m;
        struct refraction given =
            refraction_at(elevation_m, rows[i].pressure_hpa, rows[i].temperature_c);
        struct refraction assumed = refraction_at(elevation_m, NAN, NAN);
        struct refraction pressed = refraction_at(elevation_m, rows[i].pressure_hpa, NAN);
        struct refraction warmed = refraction_at(elevation_m, NAN, rows[i].temperature_c);
        char label[64];
        snprintf(label, sizeof label, "standard air at %g m", elevation_m);
        check_digits(label, assumed.a_deg, given.a_deg, 2e-5);
        check_digits(label, pressed.a_deg, given.a_deg, 2e-5);
        check_digits(label, warmed.a_deg, given.a_deg, 2e-5);
        check_digits(label, assumed.b_deg, given.b_deg, 1e-3);
    }
    /* Measured air counts whatever the elevation says. */
    struct refraction low = refraction_at(0.0, 900.0, 20.0),
                      high = refraction_at(4000.0, 900.0, 20.0);
    check_digits("measured air", high.a_deg, low.a_deg, 1e-15);
}

static void test_inverse(void **state) {
    (void)state;
    static const struct {
        double elevation_m, pressure_hpa, temperature_c;
    } rows[] = {{0, NAN, NAN}, {0, 1100, -60}, {9000, 300, 60}, {1000, NAN, 35}, {0, 1013.25, 15}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct refraction air =
            refraction_at(rows[i].elevation_m, rows[i].pressure_hpa, rows[i].temperature_c);
        for (double z = 0.0; z <= 80.0; z += 0.5) {
            double airless_deg = z + refraction_of_apparent(&air, z);
            check_near("round trip", refraction_apparent_zenith_deg(&air, airless_deg), z, 1e-9,
                       "deg");
            assert_true(z == 0.0 || airless_deg > z);
        }
    }
    struct refraction none = {0};
    check_near("no air", refraction_apparent_zenith_deg(&none, 63.0), 63.0, 0.0, "deg");
    check_near("zenith", refraction_of_apparent(&none, 0.0), 0.0, 0.0, "deg");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ray_tracing),       cmocka_unit_test(test_constants_against_erfa),
        cmocka_unit_test(test_handbook_formulas), cmocka_unit_test(test_standard_atmosphere),
        cmocka_unit_test(test_inverse),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
