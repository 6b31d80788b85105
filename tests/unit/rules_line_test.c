/* SPDX-License-Identifier: MIT */
/* line: the points handed out are enough to make the day's figure again. The
 * yardstick is GSL's weighted straight line (gsl_fit_wlinear). */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <gsl/gsl_fit.h>
#include <jansson.h>

#include "server/rules/line.h"
#include "server/wire/board.h"
#include "tests/support/store_fixture.h"

#define SITES 6

static int set_up(void **state) {
    static struct fixture fixture;
    fixture_open(&fixture);
    fixture_day(&fixture, "spring", FIXTURE_DATE);
    *state = &fixture;
    return 0;
}

static int tear_down(void **state) {
    fixture_close(*state);
    return 0;
}

static void take_part(struct fixture *f, const char *site, double lat_deg, double lon_deg,
                      uint64_t seed) {
    fixture_site(f, site, lat_deg, lon_deg);
    fixture_join(f, "spring", site);
    assert_true(fixture_run(f, site, "spring", seed, 0) > 0);
}

static double circumference_km(struct fixture *f) {
    char *text;
    assert_int_equal(fixture_result(f, "spring", &text), 0);
    json_t *result = json_loads(text, 0, NULL);
    double value = json_real_value(json_object_get(result, "circumference_km"));
    json_decref(result);
    free(text);
    return value;
}

static void the_slope_of_the_points_is_the_answer(void **state) {
    struct fixture *f = *state;
    static const char *const names[SITES] = {"f", "e", "d", "c", "b", "a"};
    double x[SITES], y[SITES], w[SITES], level, slope, c00, c01, c11, chi2;
    struct line_record *points;
    size_t count;
    for (size_t i = 0; i < SITES; i++)
        take_part(f, names[i], 34.0 + 2.5 * (double)i, 3.0 + 0.1 * (double)i, 40 + i);
    assert_int_equal(line_points(f->db, "spring", &points, &count, &f->err), 0);
    assert_int_equal(count, SITES);
    for (size_t i = 0; i < SITES; i++) {
        assert_int_equal(points[i].noon, 1);
        assert_string_equal(points[i].site, names[SITES - 1 - i]);
        assert_false(points[i].left_out);
        x[i] = points[i].meridian_km;
        y[i] = points[i].noon_angle_deg;
        w[i] = 1.0 / (points[i].sigma_deg * points[i].sigma_deg);
    }
    assert_int_equal(
        gsl_fit_wlinear(x, 1, w, 1, y, 1, SITES, &level, &slope, &c00, &c01, &c11, &chi2), 0);
    assert_true(fabs(360.0 / slope - circumference_km(f)) < 1e-6);
    for (size_t i = 0; i < SITES; i++)
        assert_true(fabs(points[i].residual_deg - (y[i] - level - slope * x[i])) < 1e-9);
    free(points);
}

static void a_day_without_a_line_has_points_all_the_same(void **state) {
    struct fixture *f = *state;
    struct line_record *points;
    size_t count;
    assert_int_equal(line_points(f->db, "spring", &points, &count, &f->err), 0);
    assert_int_equal(count, 0);
    free(points);
    take_part(f, "alone", 44.0, 3.0, 1);
    assert_int_equal(line_points(f->db, "spring", &points, &count, &f->err), 0);
    assert_int_equal(count, 1);
    assert_true(isnan(points[0].residual_deg));
    free(points);
    assert_int_equal(line_points(f->db, "autumn", &points, &count, &f->err), -1);
    assert_int_equal(f->err.code, ERR_NOT_FOUND);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(the_slope_of_the_points_is_the_answer, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_day_without_a_line_has_points_all_the_same, set_up,
                                        tear_down),
    };
    return cmocka_run_group_tests_name("rules_line", tests, NULL, NULL);
}
