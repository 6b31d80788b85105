/* SPDX-License-Identifier: MIT */
/* `noonarc pair`: two angles and a distance from the command line. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/support/desk.h"

/* Common practice, no source: 29.2 degrees against 34.4 at the partner, 552 km
 * apart, give about 38 200 km. Interval: 360 s / (dz +- sigma) within the third
 * order of sigma / dz = 0.027. */
static void works_out_a_pair(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    desk_init(&desk);
    desk_run(&desk, "", &outcome, "pair", "--angle", "29.2~0.1", "--angle", "34.4~0.1",
             "--distance", "552", "--json", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_assert_near("circumference_km", outcome_number(&outcome, "circumference_km"), 38200.0,
                        50.0);
    outcome_assert_near("angle_deg", outcome_number(&outcome, "angle_deg"), 5.2, 1e-9);
    double sigma_deg = 0.1 * sqrt(2.0);
    outcome_assert_near("low_km", outcome_number(&outcome, "low_km"),
                        360.0 * 552.0 / (5.2 + sigma_deg), 1e-6);
    outcome_assert_near("high_km", outcome_number(&outcome, "high_km"),
                        360.0 * 552.0 / (5.2 - sigma_deg), 1e-6);
    outcome_release(&outcome);
    desk_release(&desk);
}

/* Eratosthenes: a fiftieth of the circle, 5000 stadia, 250 000 stadia round the
 * Earth (Cleomedes I.7; Encyclopaedia Britannica 1911, "Earth, Figure of the"). */
static void works_out_eratosthenes(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    desk_init(&desk);
    desk_run(&desk, "", &outcome, "pair", "--angle", "0", "--angle", "7.2", "--distance", "5000",
             "--json", NULL);
    outcome_assert_code(&outcome, 0);
    outcome_assert_near("circumference_km", outcome_number(&outcome, "circumference_km"), 250000.0,
                        1e-6);
    outcome_release(&outcome);
    desk_release(&desk);
}

static void refuses_what_says_too_little(void **state) {
    (void)state;
    struct desk desk;
    struct outcome outcome;
    desk_init(&desk);
    desk_run(&desk, "", &outcome, "pair", "--angle", "29.2~3", "--angle", "34.4~3", "--distance",
             "552", NULL);
    outcome_assert_code(&outcome, 1);
    assert_non_null(strstr(outcome.out, "too little"));
    outcome_release(&outcome);
    static const char *const wrong[][3] = {
        {"29.2", "34.4", "0"},   {"29.2", "34.4", ""},      {"29.2", "91", "552"},
        {"29.2", "x", "552"},    {"29.2~-1", "34", "552"},  {"29.2~", "34", "552"},
        {"0x1d", "34.4", "552"}, {"29.2", "34.4", "552km"}, {"nan", "34.4", "552"},
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        desk_run(&desk, "", &outcome, "pair", "--angle", wrong[i][0], "--angle", wrong[i][1],
                 "--distance", wrong[i][2], NULL);
        outcome_assert_code(&outcome, 2);
        outcome_release(&outcome);
    }
    desk_release(&desk);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(works_out_a_pair),
        cmocka_unit_test(works_out_eratosthenes),
        cmocka_unit_test(refuses_what_says_too_little),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
