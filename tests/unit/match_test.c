/* SPDX-License-Identifier: MIT */
/* match: one sweep of noon round the globe, whatever the calendars say. */
#include "tests/unit/near.h"

#include "server/science/match.h"
#include "server/science/sun.h"
#include "tests/support/simulate.h"

/* Worked out by hand: the middle of the widest gap, turned by 180 degrees. */
static void test_central_meridian(void **state) {
    (void)state;
    static const struct {
        const char *label;
        double lon_deg[5];
        size_t count;
        double central_deg;
    } rows[] = {
        {"one site", {12.0}, 1, 12.0},
        {"two neighbours", {10.0, 14.0}, 2, 12.0},
        {"given backwards", {14.0, 10.0, 12.5}, 3, 12.0},
        {"either side of the date line", {178.0, -176.0}, 2, -179.0},
        {"gap in the middle", {-170.0, -160.0, 150.0}, 3, 175.0},
        {"the same longitude twice", {-70.0, -70.0}, 2, -70.0},
        {"date line twice named", {180.0, -180.0}, 2, 180.0},
        {"Greenwich", {0.0}, 1, 0.0},
        {"three thirds", {-120.0, 0.0, 121.0}, 3, -119.5},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double scratch[10];
        double central_deg = match_central_meridian_deg(rows[i].lon_deg, rows[i].count, scratch);
        check_near(rows[i].label, pair_lon_difference_deg(central_deg, rows[i].central_deg), 0.0,
                   1e-12, "deg");
        assert_true(central_deg > -180.0 && central_deg <= 180.0);
    }
    assert_true(match_central_meridian_deg(NULL, 0, NULL) == 0.0);
}

/* Against the plainest way: sorted, and every gap looked at. Few of the longitudes differ. */
static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

static void test_the_widest_gap(void **state) {
    (void)state;
    struct chance chance = chance_seeded(180);
    for (int set = 0; set < 2000; set++) {
        double lon_deg[60], scratch[120];
        size_t count = 1 + (size_t)(60.0 * chance_even(&chance));
        double spread_deg = set % 3 == 0 ? 360.0 : 360.0 * chance_even(&chance);
        double steps = set % 2 == 0 ? 1e9 : 12.0;
        for (size_t i = 0; i < count; i++)
            lon_deg[i] = spread_deg * (floor(steps * chance_even(&chance)) / steps - 0.5);
        double central_deg = match_central_meridian_deg(lon_deg, count, scratch);
        qsort(lon_deg, count, sizeof lon_deg[0], ascending);
        double widest_deg = lon_deg[0] + 360.0 - lon_deg[count - 1];
        double cut_deg = lon_deg[count - 1] + 0.5 * widest_deg;
        for (size_t i = 1; i < count; i++)
            if (lon_deg[i] - lon_deg[i - 1] > widest_deg) {
                widest_deg = lon_deg[i] - lon_deg[i - 1];
                cut_deg = lon_deg[i - 1] + 0.5 * widest_deg;
            }
        check_near("cut in the widest gap", pair_lon_difference_deg(central_deg, cut_deg - 180.0),
                   0.0, 0.0, "deg");
    }
}

static double transit(const char *date, double lon_deg) {
    struct sun_day day;
    assert_true(sun_day_build(near_date(date), &day));
    return sun_transit_utc_s(&day, lon_deg);
}

/* Pacific/Kiritimati (+14 h) and Pacific/Pago_Pago (-11 h) (IANA tz): civil dates a day
 * apart, one solar noon within three quarters of an hour. Positions rounded. */
static void test_the_date_line(void **state) {
    (void)state;
    double lon_deg[] = {-157.4, -170.7}, scratch[4];
    double central_deg = match_central_meridian_deg(lon_deg, 2, scratch);
    /* By its meridian both are west of Greenwich: the same date. */
    double kiritimati_s = transit("2027-03-20", -157.4),
           pago_pago_s = transit("2027-03-20", -170.7);
    double kiritimati_local_s = kiritimati_s + 14 * 3600.0,
           pago_local_s = pago_pago_s - 11 * 3600.0;
    assert_int_equal((int)floor(kiritimati_local_s / 86400.0),
                     (int)floor(pago_local_s / 86400.0) + 1);
    assert_int_equal(match_noon_number(kiritimati_s, -157.4, central_deg),
                     match_noon_number(pago_pago_s, -170.7, central_deg));

    /* Either side of +-180: dates by the meridian are a day apart, the noon is one. */
    double line_deg[] = {179.5, -179.5};
    double middle_deg = match_central_meridian_deg(line_deg, 2, scratch);
    double west_s = transit("2027-03-22", 179.5), east_s = transit("2027-03-21", -179.5);
    check_near("four minutes later", west_s - east_s, 240.0, 0.1, "s");
    assert_int_equal(match_noon_number(west_s, 179.5, middle_deg),
                     match_noon_number(east_s, -179.5, middle_deg));
    assert_int_not_equal(match_noon_number(transit("2027-03-21", 179.5), 179.5, middle_deg),
                         match_noon_number(east_s, -179.5, middle_deg));
}

/* Sites of one neighbourhood anywhere: one number a sweep, the next sweep the next. */
static void test_numbers_go_with_sweeps(void **state) {
    (void)state;
    struct chance chance = chance_seeded(42);
    for (int i = 0; i < 80; i++) {
        double middle_deg = 360.0 * chance_even(&chance) - 180.0;
        double central_deg = 0.0, lon_deg[4], scratch[8];
        int32_t number[4];
        for (int k = 0; k < 4; k++) {
            lon_deg[k] = middle_deg + 40.0 * (chance_even(&chance) - 0.5);
            if (lon_deg[k] > 180.0)
                lon_deg[k] -= 360.0;
            if (lon_deg[k] < -180.0)
                lon_deg[k] += 360.0;
        }
        central_deg = match_central_meridian_deg(lon_deg, 4, scratch);
        /* The sweep: transits within 90 minutes of a transit on the middle meridian. */
        struct sun_day day;
        int32_t date = near_date("2027-02-28") + 5 * i;
        assert_true(sun_day_build(date, &day));
        double sweep_s = sun_transit_utc_s(&day, lon_deg[0]);
        for (int k = 0; k < 4; k++) {
            double turned = lon_deg[k] - lon_deg[0];
            turned -= 360.0 * round(turned / 360.0);
            double meant_s = sweep_s - 240.0 * turned;
            struct sun_day own;
            assert_true(sun_day_build(sun_day_nearest(meant_s, lon_deg[k]), &own));
            double transit_s = sun_transit_utc_s(&own, lon_deg[k]);
            check_near("transit of the sweep", transit_s, meant_s, 5.0, "s");
            number[k] = match_noon_number(transit_s, lon_deg[k], central_deg);
            assert_int_equal(number[k], number[0]);
            assert_int_equal(match_noon_number(transit_s + 86400.0, lon_deg[k], central_deg),
                             number[0] + 1);
            assert_int_equal(match_noon_number(transit_s - 86400.0, lon_deg[k], central_deg),
                             number[0] - 1);
        }
    }
}

/* Latitude - declination, for any declination: the latitude stays. */
static void test_moved_angle(void **state) {
    (void)state;
    struct noon_result noon = {.lat_deg = 44.0, .declination_deg = -3.25, .noon_angle_deg = 47.25};
    check_near("to the equinox", match_moved_angle_deg(&noon, 0.0), 44.0, 1e-12, "deg");
    check_near("to where it was", match_moved_angle_deg(&noon, -3.25), 47.25, 0.0, "deg");
    check_near("to the solstice", match_moved_angle_deg(&noon, 23.4), 20.6, 1e-12, "deg");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_central_meridian), cmocka_unit_test(test_the_widest_gap),
        cmocka_unit_test(test_the_date_line),    cmocka_unit_test(test_numbers_go_with_sweeps),
        cmocka_unit_test(test_moved_angle),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
