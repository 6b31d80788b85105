/* SPDX-License-Identifier: MIT */
/* gnomon: shadows against plane geometry worked out elsewhere, and back. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/science/angle.h"
#include "server/science/gnomon.h"
#include "server/science/meridian.h"
#include "server/science/pair.h"

static const struct refraction no_air = {0};
static const struct sun_place far_sun = {.semidiameter_deg = 959.63 / 3600.0};

/* Full shadow, half light, outer edge and width (mm) of a 1000 mm gnomon with a
 * semidiameter of 959.63", no air, no parallax. Derivation: L = h tan(z - s), h tan z,
 * h tan(z + s); recomputed, last digit printed. */
static void test_shadow_and_penumbra(void **state) {
    (void)state;
    static const struct {
        double zenith_deg, umbra_mm, centre_mm, penumbra_mm, width_mm;
    } rows[] = {
        {10, 171.53, 176.33, 181.13, 9.59},      {20, 358.71, 363.97, 369.25, 10.54},
        {30, 571.16, 577.35, 583.57, 12.41},     {40, 831.20, 839.10, 847.06, 15.86},
        {45, 990.74, 1000.00, 1009.35, 18.61},   {50, 1180.56, 1191.75, 1203.08, 22.52},
        {60, 1713.59, 1732.05, 1750.81, 37.22},  {70, 2708.21, 2747.48, 2787.76, 79.56},
        {75, 3663.78, 3732.05, 3802.73, 138.95}, {80, 5520.96, 5671.28, 5829.75, 308.80},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double z = rows[i].zenith_deg;
        const double expected_mm[EDGE_COUNT] = {[EDGE_UMBRA] = rows[i].umbra_mm,
                                                [EDGE_CENTRE] = rows[i].centre_mm,
                                                [EDGE_PENUMBRA] = rows[i].penumbra_mm};
        for (int e = 0; e < EDGE_COUNT; e++) {
            enum edge edge = (enum edge)e;
            char label[64];
            snprintf(label, sizeof label, "%s at z = %g", edge_name(edge), z);
            check_near(label, 1000.0 * gnomon_shadow_m(1.0, z, edge, &no_air, &far_sun),
                       expected_mm[e], 0.0051, "mm");
            if (z == 80.0 && edge != EDGE_UMBRA)
                continue; /* at or beyond the limit: not read back */
            /* The printed shadow gives the angle back: 0.005 mm of cos^2 z. */
            check_near(label,
                       gnomon_zenith_deg(1.0, expected_mm[e] / 1000.0, edge, &no_air, &far_sun), z,
                       ANGLE_DEG_PER_RAD * 5.1e-6, "deg");
        }
        check_near("width of the fuzzy zone",
                   1000.0 * gnomon_fuzzy_width_m(1.0, z, far_sun.semidiameter_deg),
                   rows[i].width_mm, 0.0051, "mm");
    }
}

/* Each limb is refracted at its own altitude, parallax lowers the centre by p sin z:
 * written out here without the module's functions for them. */
static void test_air_and_parallax(void **state) {
    (void)state;
    const struct refraction air = {57.0 / 3600.0, -0.066 / 3600.0};
    const struct sun_place sun = {.semidiameter_deg = 0.2666, .parallax_deg = 8.794 / 3600.0};
    static const double limb_sign[EDGE_COUNT] = {
        [EDGE_UMBRA] = -1.0, [EDGE_PENUMBRA] = 1.0, [EDGE_CENTRE] = 0.0};
    for (double z = 0.5; z < 79.0; z += 0.7) {
        for (int e = 0; e < EDGE_COUNT; e++) {
            double seen_deg = z + sun.parallax_deg * sin(ANGLE_RAD_PER_DEG * z);
            double airless_limb_deg = seen_deg + limb_sign[e] * sun.semidiameter_deg;
            /* Apparent limb by bisection of apparent + refraction = airless. */
            double low_deg = -1.0, high_deg = 81.0;
            for (int halving = 0; halving < 60; halving++) {
                double middle_deg = 0.5 * (low_deg + high_deg);
                double t = tan(ANGLE_RAD_PER_DEG * middle_deg);
                if (middle_deg + air.a_deg * t + air.b_deg * t * t * t < airless_limb_deg)
                    low_deg = middle_deg;
                else
                    high_deg = middle_deg;
            }
            double shadow_m = 1.5 * tan(ANGLE_RAD_PER_DEG * low_deg);
            char label[64];
            snprintf(label, sizeof label, "%s at z = %.1f", edge_name((enum edge)e), z);
            check_near(label, gnomon_shadow_m(1.5, z, (enum edge)e, &air, &sun), shadow_m,
                       1e-9 * (1.0 + shadow_m * shadow_m), "m");
            check_near(label, gnomon_zenith_deg(1.5, shadow_m, (enum edge)e, &air, &sun), z, 1e-7,
                       "deg"); /* p cos z of the last step's 4e-5: below 1e-8 */
        }
    }
}

/* dz = cos^2 z dL / h and dz = -sin z cos z dh / h; 1 mm on 1 m at 45 degrees is
 * 0.0286 degrees or 3.2 km of meridian (derivation, recomputed). */
static void test_error_rules(void **state) {
    (void)state;
    double one_mm_deg =
        gnomon_apparent_zenith_deg(1.0, 1.0005) - gnomon_apparent_zenith_deg(1.0, 0.9995);
    check_near("1 mm of shadow at 45 degrees", one_mm_deg, 0.0286, 0.00006, "deg");
    check_near("the same on the ground", one_mm_deg / 360.0 * meridian_local_circumference_km(45.0),
               3.2, 0.05, "km");
    for (double z = 5.0; z < 80.0; z += 5.0) {
        double shadow_m = 1.2 * angle_tan(z), step_m = 1e-5;
        double by_shadow = (gnomon_apparent_zenith_deg(1.2, shadow_m + step_m) -
                            gnomon_apparent_zenith_deg(1.2, shadow_m - step_m)) /
                           (2.0 * step_m);
        double by_height = (gnomon_apparent_zenith_deg(1.2 + step_m, shadow_m) -
                            gnomon_apparent_zenith_deg(1.2 - step_m, shadow_m)) /
                           (2.0 * step_m);
        check_near("by shadow", by_shadow, ANGLE_DEG_PER_RAD * angle_cos(z) * angle_cos(z) / 1.2,
                   1e-6, "deg/m");
        check_near("by height", by_height, -ANGLE_DEG_PER_RAD * angle_sin(z) * angle_cos(z) / 1.2,
                   1e-6, "deg/m");
    }
    /* The umbra taken for the centre: 0.2666 degrees, 29.6 km. */
    double z_deg = gnomon_zenith_deg(1.0, gnomon_shadow_m(1.0, 45.0, EDGE_UMBRA, &no_air, &far_sun),
                                     EDGE_CENTRE, &no_air, &far_sun);
    check_near("umbra taken for the centre", 45.0 - z_deg, 0.2666, 0.00005, "deg");
    check_near("the same on the ground",
               (45.0 - z_deg) / 360.0 * meridian_local_circumference_km(45.0), 29.6, 0.05, "km");
}

/* common practice, no source: a gnomon of two parts, 288 cm and 30 cm, a shadow of
 * 178 cm: tangent 0.560, 29.2 degrees; 34.4 degrees at the partner 552 km away:
 * 5.2 degrees, about 38 200 km. */
static void test_common_practice(void **state) {
    (void)state;
    const struct gnomon gnomon = {
        .part = {{2.88, NAN}, {0.30, NAN}}, .parts = 2, .edge = EDGE_CENTRE};
    struct length height = gnomon_height(&gnomon);
    check_near("height", 100.0 * height.value_m, 318.0, 1e-9, "cm");
    check_near("tangent", 1.78 / height.value_m, 0.560, 0.0005, "");
    double here_deg = gnomon_apparent_zenith_deg(height.value_m, 1.78);
    check_near("angle", here_deg, 29.2, 0.05, "deg");
    check_near("difference", 34.4 - here_deg, 5.2, 0.05, "deg");
    double circumference_km, sigma_km, low_km, high_km;
    assert_int_equal(pair_circumference(34.4 - 29.2, 0.0, 552.0, 0.0, &circumference_km, &sigma_km,
                                        &low_km, &high_km),
                     PAIR_OK);
    check_near("circumference", circumference_km, 38200.0, 50.0, "km");
}

/* Parts add, their sigmas in squares (JCGM 100:2008, 5.1.2); a part without a sigma
 * counts 0.5 mm and 0.0003 of its length, as the header says. */
static void test_height(void **state) {
    (void)state;
    struct gnomon gnomon = {.part = {{1.0, 0.003}, {0.5, 0.004}}, .parts = 2};
    check_near("two sigmas", gnomon_height(&gnomon).sigma_m, 0.005, 1e-12, "m");
    gnomon.part[1].sigma_m = NAN;
    check_near("one given, one not", gnomon_height(&gnomon).sigma_m, hypot(0.003, 0.00065), 1e-12,
               "m");
    gnomon = (struct gnomon){.parts = 0};
    check_near("no part", gnomon_height(&gnomon).value_m, 0.0, 0.0, "m");
    gnomon.parts = GNOMON_PARTS_MAX;
    for (int i = 0; i < GNOMON_PARTS_MAX; i++)
        gnomon.part[i] = (struct length){0.25, 0.0};
    check_near("all parts", gnomon_height(&gnomon).value_m, 0.25 * GNOMON_PARTS_MAX, 1e-12, "m");
    check_near("all parts", gnomon_height(&gnomon).sigma_m, 0.0, 0.0, "m");
}

static void test_limits(void **state) {
    (void)state;
    double limit_m = tan(ANGLE_RAD_PER_DEG * REFRACTION_LIMIT_DEG);
    assert_false(isnan(gnomon_zenith_deg(1.0, limit_m * 0.9999, EDGE_UMBRA, &no_air, &far_sun)));
    assert_true(isnan(gnomon_zenith_deg(1.0, limit_m * 1.0001, EDGE_UMBRA, &no_air, &far_sun)));
    assert_true(isnan(gnomon_zenith_deg(0.02, 600.0, EDGE_CENTRE, &no_air, &far_sun)));
    assert_true(isnan(gnomon_zenith_deg(1.0, NAN, EDGE_CENTRE, &no_air, &far_sun)));
    check_near("no shadow", gnomon_zenith_deg(1.0, 0.0, EDGE_CENTRE, &no_air, &far_sun), 0.0, 0.0,
               "deg");
    check_near("no full shadow with the Sun's limb overhead",
               gnomon_zenith_deg(1.0, 0.0, EDGE_UMBRA, &no_air, &far_sun), 959.63 / 3600.0, 1e-12,
               "deg");
}

static void test_edges_have_names(void **state) {
    (void)state;
    static const char *const names[EDGE_COUNT] = {"umbra", "penumbra", "centre"};
    for (int e = 0; e < EDGE_COUNT; e++) {
        enum edge edge = EDGE_COUNT;
        assert_string_equal(edge_name((enum edge)e), names[e]);
        assert_true(edge_parse(names[e], &edge));
        assert_int_equal(edge, e);
    }
    static const char *const wrong[] = {"", "Umbra", "umbra ", "umbr", "center"};
    for (size_t i = 0; i < COUNT_OF(wrong); i++) {
        enum edge edge = EDGE_CENTRE;
        assert_false(edge_parse(wrong[i], &edge));
        assert_int_equal(edge, EDGE_CENTRE);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_shadow_and_penumbra),
        cmocka_unit_test(test_air_and_parallax),
        cmocka_unit_test(test_error_rules),
        cmocka_unit_test(test_common_practice),
        cmocka_unit_test(test_height),
        cmocka_unit_test(test_limits),
        cmocka_unit_test(test_edges_have_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
