/* SPDX-License-Identifier: MIT */
/* `noonarc sun` against values from outside the project. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "server/base/instant.h"
#include "tests/support/desk.h"

/* Declination, equation of time (apparent minus mean) and semidiameter at 12:00 UT
 * (UT1 = UTC), 2025: computed with ERFA's routines and, independently, PyEphem,
 * which agree to 0.23" and 0.04 s. Tolerances: 3", 0.3 s, 0.02". */
static const struct {
    const char *date;
    double declination_deg, equation_min, semidiameter_arcsec;
} almanac[] = {
    {"2025-01-01", -22.9559, -3.6781, 975.88},  {"2025-01-15", -21.0233, -9.4825, 975.58},
    {"2025-02-01", -16.9468, -13.5831, 973.80}, {"2025-02-15", -12.4939, -14.0636, 971.49},
    {"2025-03-01", -7.3837, -12.2489, 968.39},  {"2025-03-15", -1.9274, -8.8139, 964.91},
    {"2025-04-01", 4.7471, -3.7681, 960.24},    {"2025-04-15", 9.9568, 0.0509, 956.48},
    {"2025-05-01", 15.2400, 2.9460, 952.36},    {"2025-05-15", 18.9930, 3.6605, 949.31},
    {"2025-06-01", 22.1266, 2.1137, 946.34},    {"2025-06-15", 23.3296, -0.5517, 944.77},
    {"2025-07-01", 23.0680, -3.9511, 943.93},   {"2025-07-15", 21.4343, -6.0312, 944.16},
    {"2025-08-01", 17.8736, -6.3558, 945.54},   {"2025-08-15", 13.8764, -4.4512, 947.57},
    {"2025-09-01", 8.0773, 0.0559, 950.95},     {"2025-09-15", 2.8161, 4.8769, 954.29},
    {"2025-10-01", -3.3985, 10.4089, 958.56},   {"2025-10-15", -8.7139, 14.2799, 962.39},
    {"2025-11-01", -14.5990, 16.4146, 966.91},  {"2025-11-15", -18.6160, 15.3754, 970.16},
    {"2025-12-01", -21.8811, 10.8857, 973.20},  {"2025-12-15", -23.2913, 4.7730, 974.95},
};

/* On the meridian where the table's equation of time puts noon at 12:00 UT, the
 * client must find noon at 12:00 UT, and there the table's declination. */
static void follows_the_almanac(void **state) {
    (void)state;
    struct desk desk;
    desk_init(&desk);
    for (size_t i = 0; i < sizeof almanac / sizeof almanac[0]; i++) {
        struct outcome outcome;
        char lon[32];
        double transit_utc_s;
        int32_t date = 0;
        snprintf(lon, sizeof lon, "%.6f", -almanac[i].equation_min / 4.0);
        desk_run(&desk, "", &outcome, "sun", "--lat", "50", "--lon", lon, "--date", almanac[i].date,
                 "--json", NULL);
        outcome_assert_code(&outcome, 0);
        const char *row = almanac[i].date;
        outcome_assert_near(row, outcome_number(&outcome, "declination_deg"),
                            almanac[i].declination_deg, 3.0 / 3600.0);
        outcome_assert_near(row, outcome_number(&outcome, "equation_of_time_min"),
                            almanac[i].equation_min, 0.3 / 60.0);
        outcome_assert_near(row, outcome_number(&outcome, "semidiameter_arcsec"),
                            almanac[i].semidiameter_arcsec, 0.02);
        assert_int_equal(
            instant_parse(outcome_text(&outcome, "transit_utc"), &transit_utc_s, NULL, NULL), 0);
        assert_true(date_parse(row, &date));
        outcome_assert_near(row, transit_utc_s - date * 86400.0, 43200.0, 0.3);
        assert_string_equal(outcome_text(&outcome, "sun_side"), "S");
        outcome_release(&outcome);
    }
    desk_release(&desk);
}

/* Reda & Andreas, NREL/TP-560-34302 (2008), table A5.1: 2003-10-17 at longitude
 * -105.1786, transit 11.768045 h local (UTC-7) = 18:46:05.0. The report takes UT1
 * for UTC less 0 s as the client does. Tolerance 1 s. */
static void transit_of_the_nrel_example(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    double transit_utc_s, published_utc_s;
    desk_init(&desk);
    desk_run(&desk, "", &outcome, "sun", "--lat", "39.742476", "--lon", "-105.1786", "--elev",
             "1830.14", "--date", "2003-10-17", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    assert_int_equal(
        instant_parse(outcome_text(&outcome, "transit_utc"), &transit_utc_s, NULL, NULL), 0);
    assert_int_equal(instant_parse("2003-10-17T18:46:05.0Z", &published_utc_s, NULL, NULL), 0);
    outcome_assert_near("transit", transit_utc_s, published_utc_s, 1.0);
    outcome_release(&outcome);
    desk_release(&desk);
}

static void says_why_a_noon_is_no_use(void **state) {
    static const struct {
        const char *lat, *date, *status;
    } rows[] = {
        {"75", "2025-12-21", "sun_below_horizon"},
        {"62", "2025-12-21", "sun_too_low"},
        {"23.3296", "2025-06-15", "sun_overhead"}, /* the almanac's declination of that noon */
        {"-33", "2025-06-15", "measurable"},
    };
    (void)state;
    struct desk desk;
    desk_init(&desk);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct outcome outcome;
        desk_run(&desk, "", &outcome, "sun", "--lat", rows[i].lat, "--lon", "0", "--date",
                 rows[i].date, "--json", NULL);
        outcome_assert_code(&outcome, 0);
        assert_string_equal(outcome_text(&outcome, "status"), rows[i].status);
        outcome_release(&outcome);
    }
    desk_release(&desk);
}

static void puts_the_answer_first(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    desk_init(&desk);
    snprintf(desk.zone, sizeof desk.zone, "Africa/Nairobi");
    desk_run(&desk, "", &outcome, "sun", "--lat", "44.5", "--lon", "3.2", "--date", "2027-03-21",
             NULL);
    outcome_assert_code(&outcome, 0);
    assert_ptr_equal(strstr(outcome.out, "zenith distance"), outcome.out);
    assert_non_null(strstr(outcome.out, "2027-03-21 11:54:2"));
    assert_non_null(strstr(outcome.out, " UTC (14:54:2"));
    assert_string_equal(outcome.err, "");
    outcome_release(&outcome);
    desk_release(&desk);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(follows_the_almanac),
        cmocka_unit_test(transit_of_the_nrel_example),
        cmocka_unit_test(says_why_a_noon_is_no_use),
        cmocka_unit_test(puts_the_answer_first),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
