/* SPDX-License-Identifier: MIT */
/* noon: what is foretold for a place, and why some noons cannot be measured. */
#include "tests/unit/near.h"

#include <string.h>

#include "server/science/angle.h"
#include "server/science/noon.h"

static struct noon noon_of(double lat_deg, double lon_deg, const char *date) {
    struct sun_day day;
    assert_true(sun_day_build(near_date(date), &day));
    struct place place = {lat_deg, lon_deg, 0.0};
    struct refraction air = refraction_at(0.0, NAN, NAN);
    struct noon noon;
    noon_predict(&place, &day, &air, &noon);
    return noon;
}

/* Noon angle = latitude - declination; declinations of 2025 at 12:00 UTC recomputed
 * with ERFA and PyEphem (3"), transit = 12 h - equation of time (0.3 s) on the meridian
 * of Greenwich. */
static void test_noon_on_the_prime_meridian(void **state) {
    (void)state;
    static const struct {
        const char *date;
        double lat_deg, declination_deg, equation_min;
        char side;
    } rows[] = {
        {"2025-01-01", 51.0, -22.9559, -3.6781, 'S'},
        {"2025-04-15", 44.5, 9.9568, 0.0509, 'S'},
        {"2025-06-15", 10.0, 23.3296, -0.5517, 'N'},
        {"2025-06-15", -33.0, 23.3296, -0.5517, 'N'},
        {"2025-12-15", -10.0, -23.2913, 4.7730, 'S'},
        {"2025-11-01", -64.0, -14.5990, 16.4146, 'N'},
        {"2025-09-01", 0.0, 8.0773, 0.0559, 'N'},
        {"2025-07-01", 85.0, 23.0680, -3.9511, 'S'},
        {"2025-12-01", -85.0, -21.8811, 10.8857, 'N'},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct noon noon = noon_of(rows[i].lat_deg, 0.0, rows[i].date);
        assert_int_equal(noon.status, NOON_MEASURABLE);
        assert_int_equal(noon.sun_side, rows[i].side);
        /* The Sun moves on by up to 1' in the hour between 12:00 and transit. */
        check_near(rows[i].date, noon.noon_angle_deg, rows[i].lat_deg - rows[i].declination_deg,
                   (3.0 + fabs(rows[i].equation_min)) / 3600.0, "deg");
        check_near(rows[i].date, noon.transit_utc_s,
                   near_date(rows[i].date) * 86400.0 + 43200.0 - 60.0 * rows[i].equation_min, 0.6,
                   "s");
        check_near("parallax is 8.8 sin z",
                   3600.0 * (noon.zenith_distance_deg - fabs(noon.noon_angle_deg)),
                   8.794 * angle_sin(fabs(noon.noon_angle_deg)), 0.16, "arcsec");
        assert_true(noon.refracted_zenith_distance_deg < noon.zenith_distance_deg);
    }
}

/* NREL/TP-560-34302, table A5.1: the Sun that day crosses the meridian at 18:46:05 UT
 * (recomputed) at the declination that table gives to 20" for 19:30:30. */
static void test_nrel_site(void **state) {
    (void)state;
    struct noon noon = noon_of(39.742476, -105.1786, "2003-10-17");
    check_near("transit", noon.transit_utc_s, near_utc_s("2003-10-17T18:46:05Z"), 0.5, "s");
    check_near("noon angle", noon.noon_angle_deg, 39.742476 + 9.31434, 45.0 / 3600.0, "deg");
}

/* Geometry with an obliquity of 23.44 degrees (NREL table A5.1): the Sun stands
 * overhead on the equator at the equinoxes and on the tropics at the solstices; beyond
 * 66.56 degrees its centre, without air, stays down at noon of the dark solstice. */
static void test_noons_that_cannot_be_measured(void **state) {
    (void)state;
    static const struct {
        const char *label;
        double lat_deg, lon_deg;
        const char *date;
        enum noon_status status;
    } rows[] = {
        {"equator at the equinox", 0.0, 30.0, "2027-03-20", NOON_SUN_OVERHEAD},
        {"half a degree beside", 0.6, 30.0, "2027-03-20", NOON_MEASURABLE},
        {"northern tropic", 23.44, -100.0, "2027-06-21", NOON_SUN_OVERHEAD},
        {"northern tropic plus 0.31", 23.75, -100.0, "2027-06-21", NOON_MEASURABLE},
        {"northern tropic less 0.31", 23.13, -100.0, "2027-06-21", NOON_MEASURABLE},
        {"southern tropic", -23.44, 130.0, "2027-12-22", NOON_SUN_OVERHEAD},
        {"north pole in summer", 90.0, 0.0, "2027-06-21", NOON_MEASURABLE},
        {"north pole at the equinox", 90.0, 0.0, "2027-03-22", NOON_SUN_TOO_LOW},
        {"north pole in winter", 90.0, 0.0, "2027-12-21", NOON_SUN_BELOW_HORIZON},
        {"south pole in winter", -90.0, 180.0, "2027-06-21", NOON_SUN_BELOW_HORIZON},
        {"south pole in summer", -90.0, -180.0, "2027-12-21", NOON_MEASURABLE},
        {"polar night", 69.6, 18.9, "2027-12-21", NOON_SUN_BELOW_HORIZON},
        {"polar circle plus 0.1, centre below", 66.66, 25.0, "2027-12-22", NOON_SUN_BELOW_HORIZON},
        {"polar circle less 0.1, centre above", 66.46, 25.0, "2027-12-22", NOON_SUN_TOO_LOW},
        {"9.9 degrees high", 56.70, 25.0, "2027-12-22", NOON_SUN_TOO_LOW},
        {"10.1 degrees high", 56.40, 25.0, "2027-12-22", NOON_MEASURABLE},
        {"leap day", 48.0, 11.0, "2028-02-29", NOON_MEASURABLE},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct noon noon = noon_of(rows[i].lat_deg, rows[i].lon_deg, rows[i].date);
        if (noon.status != rows[i].status)
            fail_msg("%s: %s, not %s", rows[i].label, noon_status_name(noon.status),
                     noon_status_name(rows[i].status));
        bool bent = noon.status == NOON_MEASURABLE || noon.status == NOON_SUN_OVERHEAD;
        assert_int_equal(bent, !isnan(noon.refracted_zenith_distance_deg));
    }
}

/* The limit is that of readings: apparent z = 80. */
static void test_the_low_limit_is_apparent(void **state) {
    (void)state;
    struct refraction air = refraction_at(0.0, NAN, NAN);
    double limit_deg = 80.0 + refraction_of_apparent(&air, 80.0);
    struct noon noon = noon_of(50.0, 25.0, "2027-12-22");
    double parallax_deg = noon.sun.parallax_deg * angle_sin(80.0);
    double lat_deg = limit_deg - parallax_deg + noon.sun.declination_deg;
    assert_int_equal(noon_of(lat_deg - 1e-5, 25.0, "2027-12-22").status, NOON_MEASURABLE);
    assert_int_equal(noon_of(lat_deg + 1e-5, 25.0, "2027-12-22").status, NOON_SUN_TOO_LOW);
    check_near("apparent zenith distance at the limit",
               noon_of(lat_deg - 1e-5, 25.0, "2027-12-22").refracted_zenith_distance_deg, 80.0,
               2e-5, "deg");
}

static void test_statuses_have_words(void **state) {
    (void)state;
    static const char *const names[] = {"measurable", "sun_below_horizon", "sun_too_low",
                                        "sun_overhead"};
    for (int i = 0; i <= NOON_SUN_OVERHEAD; i++) {
        assert_string_equal(noon_status_name((enum noon_status)i), names[i]);
        assert_true(strlen(noon_status_text((enum noon_status)i)) > 20);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_noon_on_the_prime_meridian),
        cmocka_unit_test(test_nrel_site),
        cmocka_unit_test(test_noons_that_cannot_be_measured),
        cmocka_unit_test(test_the_low_limit_is_apparent),
        cmocka_unit_test(test_statuses_have_words),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
