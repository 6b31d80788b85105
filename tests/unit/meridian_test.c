/* SPDX-License-Identifier: MIT */
/* meridian: against handbooks, Karney's test rows and GeodSolve. */
#include "tests/unit/near.h"

#include "server/science/angle.h"
#include "server/science/meridian.h"
#include "tests/support/simulate.h"

/* WGS 84: NGA.STND.0036. Quadrant and circumference follow from its two defining
 * numbers (recomputed by quadrature and GeodSolve 2.1.2, last digit printed). */
static void test_the_whole_meridian(void **state) {
    (void)state;
    check_near("quadrant", meridian_arc_m(0.0, 90.0), 10001965.7293, 0.00006, "m");
    check_near("southern quadrant", meridian_distance_m(-90.0), -10001965.7293, 0.00006, "m");
    check_near("pole to pole", meridian_arc_m(-90.0, 90.0), 2.0 * 10001965.7293, 0.0002, "m");
    check_near("circumference", 0.004 * meridian_arc_m(0.0, 90.0), 40007.862917, 6e-7, "km");
    check_near("constant", MERIDIAN_CIRCUMFERENCE_KM, 40007.862917, 0.0, "km");
    check_near("equator", meridian_distance_m(0.0), 0.0, 0.0, "m");
}

/* Length of a degree of latitude from phi - 0.5 to phi + 0.5 (89 to 90 at the pole),
 * radius of curvature and 2 pi times it: recomputed by quadrature and GeodSolve
 * (agreeing to 5e-7 m). To the printed 0.001 km the lengths are the handbook table
 * 110.574 / 110.649 / 110.852 / 111.132 / 111.412 / 111.618 / 111.694 (from memory). */
static void test_degrees_of_latitude(void **state) {
    (void)state;
    static const struct {
        double lat_deg, radius_m, degree_m, local_km, handbook_km;
    } rows[] = {
        {0, 6335439.327, 110574.304, 39806.739, 110.574},
        {15, 6339703.299, 110648.721, 39833.531, 110.649},
        {30, 6351377.104, 110852.457, 39906.879, 110.852},
        {45, 6367381.816, 111131.778, 40007.440, 111.132},
        {60, 6383453.857, 111412.273, 40108.423, 111.412},
        {75, 6395262.323, 111618.359, 40182.618, 111.618},
        {90, 6399593.626, 111693.865, 40209.833, 111.694},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double lat_deg = rows[i].lat_deg, half = lat_deg == 90.0 ? 1.0 : 0.5;
        double to_deg = lat_deg == 90.0 ? 90.0 : lat_deg + 0.5;
        double degree_m = meridian_arc_m(lat_deg - half, to_deg);
        double local_km = meridian_local_circumference_km(lat_deg);
        char label[64];
        snprintf(label, sizeof label, "at latitude %g", lat_deg);
        check_near(label, degree_m, rows[i].degree_m, 0.0006, "m");
        check_near(label, degree_m / 1000.0, rows[i].handbook_km, 0.00051, "km");
        check_near(label, local_km, rows[i].local_km, 0.0006, "km");
        check_near(label, local_km * 1000.0 / (2.0 * acos(-1.0)), rows[i].radius_m, 0.0006, "m");
        check_near("southern", meridian_arc_m(-to_deg, half - lat_deg), degree_m, 1e-8, "m");
        check_near("southern", meridian_local_circumference_km(-lat_deg), local_km, 0.0, "km");
    }
}

/* Meeus, Astronomical Algorithms, example 11.b p. 84, on the ellipsoid of IAU 1976
 * (6378.14 km, 1/298.257): ours is 3 m smaller, 0.5e-6 of it. 11.c p. 85, by Andoyer's
 * formula: Paris and Washington (their coordinates from memory). */
static void test_meeus_examples(void **state) {
    (void)state;
    double local_km = meridian_local_circumference_km(42.0);
    check_near("Meeus 11.b radius", local_km / (2.0 * acos(-1.0)), 6364.033, 0.004, "km");
    check_near("Meeus 11.b degree", local_km / 360.0, 111.0733, 0.0001, "km");
    check_near("Meeus 11.c",
               0.001 * meridian_geodesic_m(near_dms(1, 48, 50, 11), near_dms(1, 2, 20, 14),
                                           near_dms(1, 38, 55, 17), near_dms(-1, 77, 3, 56)),
               6181.63, 0.03, "km");
}

/* Rows of geodtest.c (PROJ, GeographicLib), each reproduced by GeodSolve to 1e-8 m;
 * last row: first line of Karney's GeodTest.dat (from memory, confirmed). */
static void test_geodesics(void **state) {
    (void)state;
    static const struct {
        double lat1, lon1, lat2, lon2, distance_m, tolerance_m;
    } rows[] = {
        {35.60777, -139.44815, -11.17491, -69.95921, 8935244.5604818305, 1e-8},
        {55.52454, 106.05087, 77.03196, 197.18234, 4105086.1713924406, 1e-8},
        {-21.97856, 142.59065, 41.84138, 98.56635, 8394328.894657671, 1e-8},
        {-41.22777, 122.32875, -7.57291, 130.37946, 3812686.035106021, 1e-8},
        {-19.79938, -174.47484, -11.99349, -154.35109, 2319004.8601169389, 1e-8},
        {6.96833, 52.74123, -7.39675, 206.17291, 17102477.2496958388, 1e-8},
        {36.530042355041, 0, -48.164270779097768864, 5.762344694676510456, 9398502.0434687, 1e-7},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        char label[64];
        snprintf(label, sizeof label, "row %zu of geodtest", i + 1);
        check_near(label,
                   meridian_geodesic_m(rows[i].lat1, rows[i].lon1, rows[i].lat2, rows[i].lon2),
                   rows[i].distance_m, rows[i].tolerance_m, "m");
    }
}

#define ARCS 300

/* GeodSolve (Debian geographiclib-tools) prints azimuths and the distance in metres,
 * with -p 9 to 1e-9 m; 2e-8 m is asked. Seeded arcs: any two points, and
 * every third time two points of one meridian. */
static void test_against_geodsolve(void **state) {
    (void)state;
    static double arc[ARCS][4];
    const char *folder = getenv("TMPDIR");
    char path[512], command[600];
    snprintf(path, sizeof path, "%s/arcs-XXXXXX", folder != NULL ? folder : "/tmp");
    int descriptor = mkstemp(path);
    assert_true(descriptor >= 0);
    FILE *input = fdopen(descriptor, "w");
    assert_non_null(input);
    struct chance chance = chance_seeded(2013);
    for (int i = 0; i < ARCS; i++) {
        for (int k = 0; k < 4; k++)
            arc[i][k] = (chance_even(&chance) - 0.5) * (k % 2 == 0 ? 180.0 : 360.0);
        if (i % 3 == 0)
            arc[i][3] = arc[i][1];
        fprintf(input, "%.17g %.17g %.17g %.17g\n", arc[i][0], arc[i][1], arc[i][2], arc[i][3]);
    }
    assert_int_equal(fclose(input), 0);
    snprintf(command, sizeof command, "GeodSolve -i -p 9 <'%s'", path);
    FILE *output = popen(command, "r");
    assert_non_null(output);
    int rows = 0;
    char line[256];
    double distance_m[ARCS] = {0};
    while (rows < ARCS && fgets(line, sizeof line, output) != NULL) {
        if (sscanf(line, "%*f %*f %lf", &distance_m[rows]) == 1)
            rows++;
    }
    int ended = pclose(output);
    remove(path);
    if (ended != 0 || rows != ARCS)
        fail_msg("GeodSolve answered %d of %d arcs, status %d: is geographiclib-tools there?", rows,
                 ARCS, ended);
    for (int i = 0; i < ARCS; i++) {
        char label[64];
        snprintf(label, sizeof label, "arc %d of seed 2013", i);
        check_near(label, meridian_geodesic_m(arc[i][0], arc[i][1], arc[i][2], arc[i][3]),
                   distance_m[i], 2e-8, "m");
        if (i % 3 != 0)
            continue;
        check_near(label, meridian_arc_m(arc[i][0], arc[i][2]), distance_m[i], 2e-8, "m");
        check_near(label, fabs(meridian_distance_m(arc[i][0]) - meridian_distance_m(arc[i][2])),
                   distance_m[i], 2e-8, "m");
    }
}

/* The radius of curvature is what a short arc shows. */
static void test_local_circumference_is_the_limit_of_arcs(void **state) {
    (void)state;
    for (double lat_deg = -88.0; lat_deg <= 88.0; lat_deg += 4.0) {
        double arc_km = meridian_arc_m(lat_deg - 0.01, lat_deg + 0.01) / 1000.0;
        check_digits("short arc", 360.0 * arc_km / 0.02, meridian_local_circumference_km(lat_deg),
                     1e-9);
    }
}

static void test_edges(void **state) {
    (void)state;
    check_near("no arc", meridian_arc_m(44.0, 44.0), 0.0, 0.0, "m");
    check_near("order", meridian_arc_m(51.0, 44.0), meridian_arc_m(44.0, 51.0), 1e-8, "m");
    check_near("across the date line", meridian_geodesic_m(-16.5, 179.9, -16.5, -179.9),
               meridian_geodesic_m(-16.5, 0.0, -16.5, 0.2), 1e-8, "m");
    check_near("+180 is -180", meridian_geodesic_m(10.0, 180.0, 20.0, -180.0),
               meridian_arc_m(10.0, 20.0), 1e-8, "m");
    check_near("over the pole", meridian_geodesic_m(89.0, 0.0, 89.0, 180.0),
               2.0 * meridian_arc_m(89.0, 90.0), 1e-8, "m");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_whole_meridian),
        cmocka_unit_test(test_degrees_of_latitude),
        cmocka_unit_test(test_meeus_examples),
        cmocka_unit_test(test_geodesics),
        cmocka_unit_test(test_against_geodsolve),
        cmocka_unit_test(test_local_circumference_is_the_limit_of_arcs),
        cmocka_unit_test(test_edges),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
