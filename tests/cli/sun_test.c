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
#include "tests/data/almanac_2025.h"
#include "tests/support/desk.h"

/* On the meridian where the table's equation of time puts noon at 12:00 UT, the
 * client must find noon at 12:00 UT, and there the table's declination. */
static void follows_the_almanac(void **state) {
    (void)state;
    struct desk desk;
    desk_init(&desk);
    for (size_t i = 0; i < sizeof almanac_2025 / sizeof almanac_2025[0]; i++) {
        struct outcome outcome;
        char lon[32];
        double transit_utc_s;
        int32_t date = 0;
        snprintf(lon, sizeof lon, "%.6f", -almanac_2025[i].equation_min / 4.0);
        desk_run(&desk, "", &outcome, "sun", "--lat", "50", "--lon", lon, "--date",
                 almanac_2025[i].date, "--json", NULL);
        outcome_assert_code(&outcome, 0);
        const char *row = almanac_2025[i].date;
        outcome_assert_near(row, outcome_number(&outcome, "declination_deg"),
                            almanac_2025[i].declination_deg, 3.0 / 3600.0);
        outcome_assert_near(row, outcome_number(&outcome, "equation_of_time_min"),
                            almanac_2025[i].equation_min, 0.3 / 60.0);
        outcome_assert_near(row, outcome_number(&outcome, "semidiameter_arcsec"),
                            almanac_2025[i].semidiameter_arcsec, 0.02);
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
    /* 3.2 degrees are 12 min 48 s of mean solar time; the machine's zone never shows */
    assert_non_null(strstr(outcome.out, " UTC (12:07:1"));
    assert_non_null(strstr(outcome.out, " local mean solar time)"));
    assert_string_equal(outcome.err, "");
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "sun", "--lat", "44.5", "--lon", "3.2", "--date", "2027-03-28",
             "--zone", "Europe/Paris", NULL); /* summer time begins that morning */
    outcome_assert_code(&outcome, 0);
    assert_non_null(strstr(outcome.out, " UTC (13:52:"));
    assert_non_null(strstr(outcome.out, " CEST, Europe/Paris)"));
    outcome_release(&outcome);
    desk_run(&desk, "", &outcome, "sun", "--lat", "44.5", "--lon", "3.2", "--zone", "Paris", NULL);
    outcome_assert_code(&outcome, 2);
    assert_non_null(strstr(outcome.err, "--zone"));
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
