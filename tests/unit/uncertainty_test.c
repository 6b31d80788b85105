/* SPDX-License-Identifier: MIT */
/* uncertainty: figures as the guide to uncertainty and the tables print them. */
#include "tests/unit/near.h"

#include <float.h>
#include <string.h>

#include "server/science/uncertainty.h"

/* JCGM 100:2008: 7.2.6 (10.057 62 ohm with 27 milliohm is 10.058 ohm), 7.2.2 (100.021 47 g,
 * 0.35 mg), H.1 (50.000 838 mm, 32 nm); PDG's charged kaon mass; CODATA 2018, inverse
 * fine-structure constant 137.035 999 084(21): all from memory. The others by the rule. */
static void test_figures(void **state) {
    (void)state;
    static const struct {
        double value, sigma;
        const char *text;
    } rows[] = {
        {10.05762, 0.027, "10.058 ± 0.027"},
        {100.02147, 0.00035, "100.02147 ± 0.00035"},
        {50.000838, 32e-6, "50.000838 ± 0.000032"},
        {493.67698, 0.01304, "493.677 ± 0.013"},
        {137.0359990843, 2.1e-8, "137.035999084 ± 0.000000021"},
        {39942.0, 213.0, "39 940 ± 210"},
        {40007.6285, 10.9254, "40 008 ± 11"},
        {40007.863, 0.0, "40 007.86 ± unknown"},
        {-47.1234, 0.0123, "-47.123 ± 0.012"},
        {9940.0, 21.0, "9940 ± 21"},
        {1234567.0, 8900.0, "1 234 600 ± 8900"},
        {-1234567.0, 89000.0, "-1 235 000 ± 89 000"},
        {0.5, 123456.0, "0 ± 120 000"},
        /* Two digits after rounding: 9.96 is 10, not 10.0; 99.6 is 100, not 99.6. */
        {40000.4, 9.94, "40 000.4 ± 9.9"},
        {40000.4, 9.96, "40 000 ± 10"},
        {40004.0, 99.6, "40 000 ± 100"},
        {0.123456, 0.0996, "0.12 ± 0.10"},
        {1.0, 0.001, "1.0000 ± 0.0010"},
        {1.0, 1000.0, "0 ± 1000"},
        /* Nothing is below zero that rounds to it. */
        {-0.0004, 0.05, "0.000 ± 0.050"},
        {-0.001, 1.0, "0.0 ± 1.0"},
        {-3.0, 210.0, "0 ± 210"},
        {-0.0, 0.5, "0.00 ± 0.50"},
        {NAN, 1.0, "unknown"},
        {INFINITY, 1.0, "unknown"},
        {12.0, INFINITY, "12.00 ± unknown"},
        {12.0, NAN, "12.00 ± unknown"},
        {12.0, -1.0, "12.00 ± unknown"},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        char text[80];
        uncertainty_text(rows[i].value, rows[i].sigma, text, sizeof text);
        assert_string_equal(text, rows[i].text);
    }
}

static void test_decimals(void **state) {
    (void)state;
    static const struct {
        double sigma;
        int decimals;
    } rows[] = {{0.027, 3}, {0.0123, 3}, {0.1, 2},  {0.0995, 2}, {0.00099, 5},
                {1.0, 1},   {9.94, 1},   {9.96, 0}, {10.0, 0},   {213.0, 0},
                {1e9, 0},   {0.0, 2},    {-1.0, 2}, {NAN, 2},    {INFINITY, 2}};
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        check_near("decimals", uncertainty_decimals(rows[i].sigma), rows[i].decimals, 0.0, "");
}

/* Written to the room there is, always ended, never beyond. */
static void test_room(void **state) {
    (void)state;
    static const double values[] = {0.0, -39942.0, 1e300, -DBL_MAX, DBL_MIN};
    static const double sigmas[] = {213.0, 1e-300, 1e300, DBL_MIN, DBL_MAX};
    for (size_t v = 0; v < COUNT_OF(values); v++) {
        for (size_t s = 0; s < COUNT_OF(sigmas); s++) {
            for (size_t size = 0; size < 40; size++) {
                char text[41];
                memset(text, 'x', sizeof text);
                uncertainty_text(values[v], sigmas[s], text, size);
                assert_true(size == 0 || memchr(text, '\0', size) != NULL);
                for (size_t i = size; i < sizeof text; i++)
                    assert_int_equal(text[i], 'x');
            }
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_figures),
        cmocka_unit_test(test_decimals),
        cmocka_unit_test(test_room),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
