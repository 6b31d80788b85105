/* SPDX-License-Identifier: MIT */
/* standing: the slope against GSL's weighted fit through the origin, its sigma
 * against the spread of seeded trials, the score against GSL's normal density. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_randist.h>

#include "server/science/standing.h"
#include "tests/support/simulate.h"

#define PARTNERS 5
static const double separation_km[PARTNERS] = {-820.0, -310.0, 140.0, 560.0, 1090.0};
static const double sigma_deg[PARTNERS] = {0.05, 0.08, 0.03, 0.06, 0.10};
static const double slope_deg_km = 360.0 / 40000.0;

/* A point by its distance from the equator and its angle. */
static struct standing_point point_at(double meridian_km, double angle_deg, double sigma) {
    return standing_point_of(meridian_km, angle_deg - standing_handbook_deg(meridian_km), sigma);
}

/* The site at 5000 km, a partner as far from it as stated, the site minus the partner. */
static const struct { double meridian_km, angle_deg; } site = {5000.0, 44.0};

static void add(struct standing_sums *sums, double angle_deg, double apart_km, double sigma) {
    struct standing_point own = point_at(site.meridian_km, site.angle_deg, 0.05);
    struct standing_point partner =
        point_at(site.meridian_km - apart_km, site.angle_deg - angle_deg, sigma);
    standing_add(sums, standing_apart(&own, &partner), partner.weight);
}

/* With a perfect own point the line is an ordinary weighted fit through the origin
 * (GSL manual, "Linear regression without a constant term"). */
static void slope_is_the_weighted_fit(void **state) {
    static const double noise_deg[PARTNERS] = {0.03, -0.07, 0.02, 0.05, -0.11};
    struct standing_sums sums = {0};
    struct standing_figure standing;
    double angle_deg[PARTNERS], weight[PARTNERS], slope, variance, chi2;
    (void)state;
    for (int i = 0; i < PARTNERS; i++) {
        angle_deg[i] = slope_deg_km * separation_km[i] + noise_deg[i];
        weight[i] = 1.0 / (sigma_deg[i] * sigma_deg[i]);
        add(&sums, angle_deg[i], separation_km[i], sigma_deg[i]);
    }
    assert_true(standing_make(&sums, 1e-12, &standing));
    gsl_fit_wmul(separation_km, 1, weight, 1, angle_deg, 1, PARTNERS, &slope, &variance, &chi2);
    assert_int_equal(standing.partners, PARTNERS);
    assert_true(fabs(standing.circumference_km - 360.0 / slope) < 1e-7);
    double sigma_km = 360.0 * sqrt(variance) / (slope * slope);
    assert_true(fabs(standing.sigma_km - sigma_km) < 1e-7);
}

/* Seed 11; 20 000 trials know a spread to 0.5 %. */
static void sigma_is_the_spread_of_trials(void **state) {
    const double own_sigma_deg = 0.07;
    const int trials = 20000;
    struct chance chance = chance_seeded(11);
    double sum = 0.0, sum2 = 0.0, stated_km = 0.0;
    (void)state;
    for (int t = 0; t < trials; t++) {
        struct standing_sums sums = {0};
        struct standing_figure standing;
        double own_deg = own_sigma_deg * chance_normal(&chance);
        for (int i = 0; i < PARTNERS; i++)
            add(&sums,
                slope_deg_km * separation_km[i] + own_deg - sigma_deg[i] * chance_normal(&chance),
                separation_km[i], sigma_deg[i]);
        assert_true(standing_make(&sums, own_sigma_deg, &standing));
        sum += standing.circumference_km;
        sum2 += standing.circumference_km * standing.circumference_km;
        stated_km = standing.sigma_km;
    }
    double mean_km = sum / trials;
    double spread_km = sqrt(sum2 / trials - mean_km * mean_km);
    assert_true(fabs(mean_km - 40000.0) < 20.0);
    assert_true(fabs(stated_km / spread_km - 1.0) < 0.03);
}

static void nothing_to_stand_on_is_no_standing(void **state) {
    struct standing_sums none = {0}, wrong_way = {0}, no_distance = {0};
    struct standing_figure standing = {.circumference_km = 1.0};
    (void)state;
    add(&wrong_way, -4.0, 400.0, 0.05);
    add(&no_distance, 0.1, 0.0, 0.05);
    assert_false(standing_make(&none, 0.05, &standing));
    assert_false(standing_make(&wrong_way, 0.05, &standing));
    assert_false(standing_make(&no_distance, 0.05, &standing));
    assert_true(standing.circumference_km == 1.0);
}

static struct standing_point anywhere(struct chance *chance) {
    double meridian_km = 20000.0 * (chance_even(chance) - 0.5);
    double off_deg = (chance_even(chance) < 0.1 ? 500.0 : 0.2) * (chance_even(chance) - 0.5);
    return standing_point_of(meridian_km, off_deg, pow(10.0, 3.0 * chance_even(chance) - 2.2));
}

/* Partner by partner, from the other end, with some added and taken away again, and as a
 * crowd less another: one and the same. Seed 13. */
static void sums_are_the_same_in_whatever_way(void **state) {
    enum { POINTS = 200 };
    struct chance chance = chance_seeded(13);
    (void)state;
    for (int set = 0; set < 50; set++) {
        struct standing_point own = anywhere(&chance), point[POINTS];
        struct standing_sums forth = {0}, back = {0}, crowded = {0};
        struct standing_crowd all = {0}, first = {0};
        for (int i = 0; i < POINTS; i++)
            point[i] = anywhere(&chance);
        for (int i = 50; i < POINTS; i++)
            standing_add(&forth, standing_apart(&own, &point[i]), point[i].weight);
        for (int i = POINTS - 1; i >= 0; i--)
            standing_add(&back, standing_turned(standing_apart(&point[i], &own)), point[i].weight);
        for (int i = 0; i < 50; i++)
            standing_take(&back, standing_apart(&own, &point[i]), point[i].weight);
        for (int i = 0; i < POINTS; i++) {
            standing_join(&all, &point[i]);
            if (i < 50)
                standing_join(&first, &point[i]);
        }
        const struct standing_crowd rest = standing_without(&all, &first);
        standing_add_crowd(&crowded, &own, &rest);
        const struct standing_sums *const others[] = {&back, &crowded};
        for (int i = 0; i < 2; i++) {
            assert_memory_equal(&forth.off, &others[i]->off, sizeof forth.off);
            assert_memory_equal(&forth.square, &others[i]->square, sizeof forth.square);
            assert_true(forth.along == others[i]->along);
            assert_int_equal(forth.partners, others[i]->partners);
        }
    }
}

static void score_is_minus_the_log_of_the_density(void **state) {
    static const double sigmas_deg[] = {0.02, 0.1, 1.0}, errors_deg[] = {0.0, -0.05, 0.3};
    (void)state;
    for (int s = 0; s < 3; s++)
        for (int e = 0; e < 3; e++) {
            double density = gsl_ran_gaussian_pdf(errors_deg[e], sigmas_deg[s]);
            double expected = -log(density) - 0.5 * log(2.0 * M_PI);
            assert_true(fabs(standing_score(errors_deg[e], sigmas_deg[s]) - expected) < 1e-9);
        }
}

/* Neither boasting nor hedging pays: over many errors of 0.1 degree the true sigma
 * scores best. Seed 12. */
static void honest_sigma_scores_best(void **state) {
    static const double stated_deg[] = {0.05, 0.08, 0.1, 0.125, 0.2};
    double sum[5] = {0};
    struct chance chance = chance_seeded(12);
    (void)state;
    for (int t = 0; t < 20000; t++) {
        double error_deg = 0.1 * chance_normal(&chance);
        for (int k = 0; k < 5; k++)
            sum[k] += standing_score(error_deg, stated_deg[k]);
    }
    for (int k = 0; k < 5; k++)
        assert_true(k == 2 || sum[k] > sum[2]);
}

static void equals_share_a_place(void **state) {
    /* The last but one differs by rounding alone, the last truly. */
    static const double sorted[] = {0.5, 1.0, 1.0, 1.0, 2.0, 3.0, 3.0000000001, 3.000001};
    static const int expected[] = {1, 2, 2, 2, 5, 6, 6, 8};
    int place[8];
    (void)state;
    standing_places(sorted, 8, place);
    for (int i = 0; i < 8; i++)
        assert_int_equal(place[i], expected[i]);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(slope_is_the_weighted_fit),
        cmocka_unit_test(sigma_is_the_spread_of_trials),
        cmocka_unit_test(nothing_to_stand_on_is_no_standing),
        cmocka_unit_test(sums_are_the_same_in_whatever_way),
        cmocka_unit_test(score_is_minus_the_log_of_the_density),
        cmocka_unit_test(honest_sigma_scores_best),
        cmocka_unit_test(equals_share_a_place),
    };
    return cmocka_run_group_tests_name("standing", tests, NULL, NULL);
}
