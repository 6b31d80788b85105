/* SPDX-License-Identifier: MIT */
/* combine: a line through noons held against arcs of the meridian, certified data,
 * weighted means in the books, and GSL. Where a published line is not about angles
 * and kilometres, x stands for the distance and y for the angle: 360 / C is its slope. */
#include "tests/unit/near.h"

#include <gsl/gsl_fit.h>
#include <gsl/gsl_multifit.h>
#include <string.h>

#include "server/science/angle.h"
#include "server/science/combine.h"
#include "server/science/meridian.h"
#include "tests/data/nist.h"
#include "tests/support/simulate.h"

#define MODULE_KM (2.0 * 0.864 / 443.296)
#define POINTS_MAX 200

static struct combined combined_of(struct combine_point *points, size_t count) {
    static double scratch[POINTS_MAX * COMBINE_SCRATCH];
    struct combined combined;
    assert_true(count <= POINTS_MAX);
    combine_fit(points, count, NULL, scratch, &combined);
    return combined;
}

static struct combine_point point_of(int64_t key, int32_t group, double x, double y, double sigma) {
    return (struct combine_point){
        .key = key, .group = group, .meridian_km = x, .noon_angle_deg = y, .sigma_deg = sigma};
}

static double slope_of(const struct combined *combined) {
    return 360.0 / combined->circumference_km;
}

/* Delambre and Mechain's arc, Dunkirk to Montjouy (Legendre 1805, table in Bjorck, Least
 * Squares Problems, 2nd ed., 1.1.1): five latitudes on the modules between them. Line,
 * its standard error and residuals (south to north) recomputed. Stated sigma 1", so
 * that the scatter alone widens it to what an unweighted line has. */
static void test_delambre_and_mechain(void **state) {
    (void)state;
    static const double modules[4] = {52749.48, 84424.55, 76145.74, 62472.59};
    static const double arc_deg[4] = {1.85266, 2.96336, 2.66868, 2.18910};
    static const double residual_arcsec[5] = {-6.73, 1.98, 9.50, 1.56, -6.31};
    struct combine_point points[5];
    double along_km = 0.0, lat_deg = 41.36;
    for (int i = 0; i < 5; i++) {
        points[i] = point_of(i, 0, along_km, lat_deg, 1.0 / 3600.0);
        points[i].lat_deg = lat_deg;
        if (i < 4) {
            along_km += modules[i] * MODULE_KM;
            lat_deg += arc_deg[i];
        }
    }
    struct combined combined = combined_of(points, 5);
    assert_int_equal(combined.status, COMBINE_OK);
    assert_int_equal(combined.sites, 5);
    assert_int_equal(combined.left_out, 0);
    assert_int_equal(combined.dof, 3);
    check_near("five stations", combined.circumference_km, 40007.629, 0.0006, "km");
    check_near("five stations, sigma", combined.sigma_km, 10.925, 0.0006, "km");
    for (int i = 0; i < 5; i++)
        check_near("residual", 3600.0 * points[i].residual_deg, residual_arcsec[i], 0.0051,
                   "arcsec");
    /* The angles are latitudes: what perfect angles would give is what was measured. */
    check_near("local circumference", combined.local_km, combined.circumference_km, 1e-6, "km");
    check_digits("Birge ratio from the residuals", combined.birge_ratio,
                 sqrt((6.73 * 6.73 + 1.98 * 1.98 + 9.5 * 9.5 + 1.56 * 1.56 + 6.31 * 6.31) / 3.0),
                 1e-3);
}

/* Laplace, Exposition du systeme du monde, Oeuvres VI: Greenwich and Formentera, grades of
 * 0.9 degrees and metres; the whole arc recomputed. Two stations leave nothing over. */
static void test_laplace(void **state) {
    (void)state;
    struct combine_point points[3] = {
        point_of(1, 0, 0.0, 0.9 * 57.19753 - 51.0, 0.001),
        point_of(2, 0, -1423.6361, 0.9 * 42.96178 - 51.0, 0.001),
        point_of(3, 0, -292.7193, 0.9 * 54.27431 - 51.0, 0.001),
    };
    struct combined combined = combined_of(points, 2);
    assert_int_equal(combined.status, COMBINE_OK);
    check_near("Greenwich-Formentera", combined.circumference_km, 40001.717, 0.0006, "km");
    check_near("median of one slope", combined.median_km, 40001.717, 0.0006, "km");
    assert_int_equal(combined.dof, 0);
    assert_true(isnan(combined.birge_ratio));
    assert_true(combined.sigma_km == combined.internal_sigma_km);
    check_digits("sigma of two stations", combined.sigma_km,
                 combined.circumference_km * 0.001 * sqrt(2.0) / (0.9 * 14.23575), 1e-9);
    assert_true(isnan(points[0].influence_km) && isnan(points[1].influence_km));
    /* With the Pantheon between: beside the whole arc by less than its parts are. */
    combined = combined_of(points, 3);
    double parts_km = 400.0 * (1423.6361 - 292.7193) / (54.27431 - 42.96178);
    check_near("three stations", combined.circumference_km, 40001.717, 40001.717 - parts_km, "km");
    assert_int_equal(combined.dof, 1);
}

/* NIST StRD Norris. */
static void test_norris(void **state) {
    (void)state;
    struct combine_point points[NORRIS];
    for (int i = 0; i < NORRIS; i++)
        points[i] = point_of(i, 7, norris_x[i], norris_y[i], 0.5);
    struct combined combined = combined_of(points, NORRIS);
    assert_int_equal(combined.status, COMBINE_OK);
    assert_int_equal(combined.left_out, 0);
    check_digits("Norris b1", slope_of(&combined), NORRIS_B1, 1e-13);
    check_digits("Norris sd of b1",
                 combined.sigma_km * slope_of(&combined) / combined.circumference_km, NORRIS_B1_SD,
                 1e-12);
    check_digits("Norris s", 0.5 * combined.birge_ratio, NORRIS_S, 1e-12);
}

/* Pearson's data with York's weights (Can. J. Phys. 44 (1966) 1079), errors in y only, y
 * turned upside down since the slope must be above zero; recomputed. */
static void test_york(void **state) {
    (void)state;
    static const double x[10] = {0, .9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4};
    static const double y[10] = {5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5};
    static const double weight[10] = {1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500};
    struct combine_point points[10];
    for (int i = 0; i < 10; i++)
        points[i] = point_of(i, 0, x[i], -y[i], 1.0 / sqrt(weight[i]));
    struct combined combined = combined_of(points, 10);
    assert_int_equal(combined.left_out, 0);
    assert_int_equal(combined.dof, 8);
    check_near("York b", slope_of(&combined), 0.6108129566, 6e-11, "");
    check_near("York se of b",
               combined.internal_sigma_km * slope_of(&combined) / combined.circumference_km,
               0.03008745, 6e-9, "");
    check_near("York chi2", combined.chi2, 34.34520750, 6e-9, "");
    check_near("York Birge ratio", combined.birge_ratio, 2.07199, 6e-6, "");
    check_digits("the ratio widens sigma", combined.sigma_km,
                 combined.birge_ratio * combined.internal_sigma_km, 1e-12);
}

/* A weighted mean is a common slope: each value a group of its own, two sites a unit
 * apart whose angles differ by the value. PDG Review, Introduction 5.2.2: S =
 * sqrt(chi2 / (N - 1)). */
static struct combined mean_as_slope(const double *value, const double *sigma, int count) {
    struct combine_point points[32];
    for (int i = 0; i < count; i++) {
        points[2 * i] = point_of(2 * i, i, 0.0, 0.0, sigma[i] / sqrt(2.0));
        points[2 * i + 1] = point_of(2 * i + 1, i, 1.0, value[i], sigma[i] / sqrt(2.0));
    }
    struct combined combined = combined_of(points, (size_t)(2 * count));
    assert_int_equal(combined.status, COMBINE_OK);
    assert_int_equal(combined.groups, count);
    assert_int_equal(combined.dof, count - 1);
    return combined;
}

static void test_birge_ratios_of_the_particle_data_group(void **state) {
    (void)state;
    /* Charged kaon mass (MeV), the six values from memory; mean, chi2 and S recomputed.
     * Without the third, whose error is above 3 sqrt(N) times the mean's, S is the
     * published 2.4 (from memory). */
    static const double kaon[6] = {493.696, 493.636, 493.640, 493.670, 493.657, 493.691};
    static const double kaon_sigma[6] = {0.007, 0.011, 0.054, 0.029, 0.020, 0.040};
    struct combined combined = mean_as_slope(kaon, kaon_sigma, 6);
    check_near("kaon mean", slope_of(&combined), 493.6766, 0.00006, "MeV");
    check_near("kaon sigma",
               combined.internal_sigma_km * slope_of(&combined) / combined.circumference_km,
               0.00548, 0.000006, "MeV");
    check_near("kaon chi2", combined.chi2, 22.905, 0.0006, "");
    check_near("kaon S", combined.birge_ratio, 2.140, 0.0006, "");
    const double five[5] = {kaon[0], kaon[1], kaon[3], kaon[4], kaon[5]};
    const double five_sigma[5] = {kaon_sigma[0], kaon_sigma[1], kaon_sigma[3], kaon_sigma[4],
                                  kaon_sigma[5]};
    combined = mean_as_slope(five, five_sigma, 5);
    check_near("kaon S of five", combined.birge_ratio, 2.369, 0.0006, "");
    check_near("kaon mean, published (from memory)", slope_of(&combined), 493.677, 0.0005, "MeV");
    check_near("kaon error, published (from memory)",
               combined.sigma_km * slope_of(&combined) / combined.circumference_km, 0.013, 0.0005,
               "MeV");

    /* Omega_b mass (MeV): 6054.4 +- 6.8 +- 0.9 and 6165 +- 10 +- 13; recomputed; PDG 2010
     * has 6071 +- 40 (from memory). */
    static const double omega[2] = {6054.4, 6165.0};
    const double omega_sigma[2] = {hypot(6.8, 0.9), hypot(10.0, 13.0)};
    combined = mean_as_slope(omega, omega_sigma, 2);
    double mev = slope_of(&combined) / combined.circumference_km;
    check_near("Omega_b mean", slope_of(&combined), 6070.865, 0.0006, "MeV");
    check_near("Omega_b sigma", combined.internal_sigma_km * mev, 6.328, 0.0006, "MeV");
    check_near("Omega_b chi2", combined.chi2, 38.704, 0.0006, "");
    check_near("Omega_b S", combined.birge_ratio, 6.221, 0.0006, "");
    check_near("Omega_b scaled error", combined.sigma_km * mev, 39.37, 0.006, "MeV");
}

/* A day of sites on a sphere of 40 000 km, errors as stated. */
static size_t sites_of(struct chance *chance, int groups, int per_group, double sigma_deg,
                       struct combine_point *points) {
    size_t count = 0;
    for (int group = 0; group < groups; group++) {
        double intercept_deg = 20.0 * chance_normal(chance);
        for (int i = 0; i < per_group; i++) {
            double km = 3000.0 + 4000.0 * chance_even(chance);
            double sigma = sigma_deg * (0.5 + chance_even(chance));
            points[count] = point_of(
                (int64_t)(1000 * group + i), group, km,
                km * 360.0 / 40000.0 + intercept_deg + sigma * chance_normal(chance), sigma);
            points[count].lat_deg = km * 360.0 / 40000.0;
            count++;
        }
    }
    return count;
}

/* gsl_fit_wlinear: one group, any weights; errors a fifth of what is stated, so that
 * nothing strays. */
static void test_one_group_against_gsl(void **state) {
    (void)state;
    struct chance chance = chance_seeded(77);
    for (int set = 0; set < 100; set++) {
        struct combine_point points[POINTS_MAX];
        size_t count = sites_of(&chance, 1, 3 + set, 0.05, points);
        double x[POINTS_MAX], y[POINTS_MAX], w[POINTS_MAX];
        for (size_t i = 0; i < count; i++) {
            points[i].sigma_deg *= 5.0;
            x[i] = points[i].meridian_km;
            y[i] = points[i].noon_angle_deg;
            w[i] = 1.0 / (points[i].sigma_deg * points[i].sigma_deg);
        }
        struct combined combined = combined_of(points, count);
        double c0, c1, cov00, cov01, cov11, chi2;
        gsl_fit_wlinear(x, 1, w, 1, y, 1, count, &c0, &c1, &cov00, &cov01, &cov11, &chi2);
        assert_int_equal(combined.left_out, 0);
        check_digits("slope", slope_of(&combined), c1, 1e-11);
        check_digits("sigma",
                     combined.internal_sigma_km * slope_of(&combined) / combined.circumference_km,
                     sqrt(cov11), 1e-10);
        check_digits("chi2", combined.chi2, chi2, 1e-7);
        assert_int_equal(combined.dof, (int)count - 2);
        check_digits("birge", combined.birge_ratio, sqrt(chi2 / (double)(count - 2)), 1e-7);
        assert_true(combined.sigma_km == combined.internal_sigma_km); /* never narrowed */
        double sigma = sqrt(cov11);
        check_digits("low", combined.low_km, 360.0 / (c1 + sigma), 1e-10);
        check_digits("high", combined.high_km, 360.0 / (c1 - sigma), 1e-10);
    }
}

/* Slope of a fit with one intercept a group by GSL's multifit, a column of ones and
 * noughts for each; chi2 too. skip: a point not to be used, or count. */
static double dummy_slope(const struct combine_point *points, size_t count, size_t skip,
                          double *chi2) {
    size_t rows = count - (skip < count), groups = 0;
    for (size_t i = 0; i < count; i++)
        if ((size_t)points[i].group + 1 > groups)
            groups = (size_t)points[i].group + 1;
    gsl_matrix *design = gsl_matrix_calloc(rows, groups + 1);
    gsl_matrix *covariance = gsl_matrix_alloc(groups + 1, groups + 1);
    gsl_vector *w = gsl_vector_alloc(rows), *y = gsl_vector_alloc(rows);
    gsl_vector *solution = gsl_vector_alloc(groups + 1);
    gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(rows, groups + 1);
    for (size_t i = 0, row = 0; i < count; i++) {
        if (i == skip)
            continue;
        gsl_matrix_set(design, row, (size_t)points[i].group, 1.0);
        gsl_matrix_set(design, row, groups, points[i].meridian_km - 5000.0);
        gsl_vector_set(w, row, 1.0 / (points[i].sigma_deg * points[i].sigma_deg));
        gsl_vector_set(y, row, points[i].noon_angle_deg);
        row++;
    }
    gsl_multifit_wlinear(design, w, y, solution, covariance, chi2, work);
    double slope = gsl_vector_get(solution, groups);
    gsl_multifit_linear_free(work);
    gsl_vector_free(solution);
    gsl_vector_free(y);
    gsl_vector_free(w);
    gsl_matrix_free(covariance);
    gsl_matrix_free(design);
    return slope;
}

/* One intercept a group, and what every site moves, against refitting without it. */
static void test_groups_and_influence_against_gsl(void **state) {
    (void)state;
    struct chance chance = chance_seeded(78);
    for (int set = 0; set < 12; set++) {
        struct combine_point points[POINTS_MAX];
        int groups = 1 + set % 4, per_group = 3 + set;
        size_t count = sites_of(&chance, groups, per_group, 0.05, points);
        for (size_t i = 0; i < count; i++)
            points[i].sigma_deg *= 3.0;
        struct combined combined = combined_of(points, count);
        double chi2, unused;
        double slope = dummy_slope(points, count, count, &chi2);
        assert_int_equal(combined.left_out, 0);
        assert_int_equal(combined.groups, groups);
        assert_int_equal(combined.dof, (int)count - groups - 1);
        check_digits("slope of groups", slope_of(&combined), slope, 1e-11);
        check_digits("chi2 of groups", combined.chi2, chi2, 1e-7);
        for (size_t i = 0; i < count; i++) {
            double without_km = 360.0 / dummy_slope(points, count, i, &unused);
            char label[64];
            snprintf(label, sizeof label, "influence, set %d, point %zu", set, i);
            check_near(label, points[i].influence_km, without_km - combined.circumference_km, 1e-5,
                       "km");
        }
    }
}

/* The same set in any order: the same bits, for every field and point. */
static void test_order_does_not_matter(void **state) {
    (void)state;
    struct chance chance = chance_seeded(79);
    struct combine_point sorted[POINTS_MAX], shuffled[POINTS_MAX];
    size_t count = sites_of(&chance, 5, 30, 0.05, sorted);
    sorted[17].noon_angle_deg += 2.0; /* a stray among them */
    memcpy(shuffled, sorted, sizeof sorted);
    struct combined first = combined_of(sorted, count);
    assert_int_equal(first.left_out, 1);
    for (int round = 0; round < 50; round++) {
        for (size_t i = count - 1; i > 0; i--) {
            size_t k = (size_t)(chance_even(&chance) * (double)(i + 1));
            struct combine_point other = shuffled[i];
            shuffled[i] = shuffled[k];
            shuffled[k] = other;
        }
        struct combined again = combined_of(shuffled, count);
        const double one[] = {first.circumference_km, first.sigma_km,  first.internal_sigma_km,
                              first.low_km,           first.high_km,   first.chi2,
                              first.birge_ratio,      first.median_km, first.median_low_km,
                              first.median_high_km,   first.local_km};
        const double two[] = {again.circumference_km, again.sigma_km,  again.internal_sigma_km,
                              again.low_km,           again.high_km,   again.chi2,
                              again.birge_ratio,      again.median_km, again.median_low_km,
                              again.median_high_km,   again.local_km};
        assert_memory_equal(one, two, sizeof one);
        for (size_t i = 0; i < count; i++) {
            assert_int_equal(shuffled[i].key, sorted[i].key);
            assert_int_equal(shuffled[i].left_out, sorted[i].left_out);
            assert_memory_equal(&shuffled[i].residual_deg, &sorted[i].residual_deg, sizeof(double));
            assert_memory_equal(&shuffled[i].influence_km, &sorted[i].influence_km, sizeof(double));
        }
    }
}

/* A site that does not belong is left out by name; the answer is that of the others. */
static void test_strays_are_left_out(void **state) {
    (void)state;
    struct chance chance = chance_seeded(80);
    struct combine_point points[POINTS_MAX], others[POINTS_MAX];
    size_t count = sites_of(&chance, 2, 12, 0.02, points), kept = 0;
    static const int64_t strays[] = {3, 1007, 1008};
    for (size_t i = 0; i < count; i++) {
        bool stray = false;
        for (size_t k = 0; k < COUNT_OF(strays); k++)
            stray = stray || points[i].key == strays[k];
        if (!stray)
            others[kept++] = points[i];
        else
            points[i].noon_angle_deg += points[i].key == 3 ? 1.0 : -0.5;
    }
    struct combined with = combined_of(points, count), without = combined_of(others, kept);
    assert_int_equal(with.left_out, COUNT_OF(strays));
    assert_int_equal(with.sites, (int)kept);
    assert_int_equal(without.left_out, 0);
    check_digits("without the strays", with.circumference_km, without.circumference_km, 1e-12);
    check_digits("without the strays", with.sigma_km, without.sigma_km, 1e-12);
    for (size_t i = 0; i < count; i++) {
        bool stray = points[i].key == 3 || points[i].key == 1007 || points[i].key == 1008;
        assert_int_equal(points[i].left_out, stray);
        if (stray)
            check_near("residual of a stray", points[i].residual_deg,
                       points[i].key == 3 ? 1.0 : -0.5, 0.1, "deg");
        assert_int_equal(isnan(points[i].influence_km), stray);
    }
}

/* Eight sites, two of them fifteen times as precise as the others: the robust line, which
 * knows no weights, passed a precise site by more than four of its sigma in every fourth
 * case, and the best sites were left out (found by York's data above). */
static void test_a_precise_site_among_coarse_ones_stays(void **state) {
    (void)state;
    struct chance chance = chance_seeded(83);
    int days = 1000, left_out = 0, inside = 0;
    for (int day = 0; day < days; day++) {
        struct combine_point points[8];
        for (int i = 0; i < 8; i++) {
            double km = 4000.0 + 1200.0 * chance_even(&chance), sigma_deg = i < 2 ? 0.01 : 0.15;
            points[i] =
                point_of(i, 0, km, km * 0.009 + sigma_deg * chance_normal(&chance), sigma_deg);
        }
        struct combined combined = combined_of(points, 8);
        left_out += points[0].left_out + points[1].left_out;
        inside += fabs(combined.circumference_km - 40000.0) <= combined.sigma_km;
    }
    check_near("precise sites left out, of 2000", left_out, 0.0, 4.0, "sites");
    /* The Birge ratio only widens: a little more than 0.6827. */
    check_near("coverage of sigma, seed 83", (double)inside / days, 0.71, 0.05, "");
}

/* A quarter at most is left out, however many stray, and none of four. */
static void test_no_more_than_a_quarter_is_left_out(void **state) {
    (void)state;
    struct chance chance = chance_seeded(81);
    struct combine_point points[POINTS_MAX];
    size_t count = sites_of(&chance, 1, 20, 0.01, points);
    for (int i = 0; i < 8; i++)
        points[i].noon_angle_deg += 0.5 + 0.3 * i;
    struct combined combined = combined_of(points, count);
    assert_true(combined.left_out <= 5);
    count = sites_of(&chance, 1, 4, 0.01, points);
    points[2].noon_angle_deg += 5.0;
    combined = combined_of(points, count);
    assert_int_equal(combined.left_out, 0);
    assert_int_equal(combined.sites, 4);
    assert_true(combined.birge_ratio > 10.0);
}

/* The truth lies within one stated sigma of a clean set 68 % of the time. */
static void test_sigma_is_honest(void **state) {
    (void)state;
    struct chance chance = chance_seeded(82);
    int trials = 800, inside = 0, median_inside = 0;
    for (int trial = 0; trial < trials; trial++) {
        struct combine_point points[POINTS_MAX];
        size_t count = sites_of(&chance, 3, 10, 0.05, points);
        struct combined combined = combined_of(points, count);
        inside += fabs(combined.circumference_km - 40000.0) <= combined.internal_sigma_km;
        median_inside += combined.median_low_km <= 40000.0 && 40000.0 <= combined.median_high_km;
    }
    /* The cut at four sigma takes 1 in 16 000 away: nothing. */
    double spread = sqrt(0.6827 * 0.3173 / trials);
    check_near("coverage of sigma, seed 82", (double)inside / trials, 0.6827, 4.0 * spread, "");
    /* Sen's interval holds for equal weights; these differ threefold. */
    check_near("coverage of the median's interval", (double)median_inside / trials, 0.6827, 0.06,
               "");
}

/* Perfect latitudes on WGS 84 give local_km = C, between 39 807 and 40 210 km (2 pi M of
 * equator and pole), and the same when all noons are wrong alike. */
static void test_the_local_figure(void **state) {
    (void)state;
    for (double south_deg = -85.0; south_deg <= 75.0; south_deg += 10.0) {
        struct combine_point points[8];
        for (int i = 0; i < 8; i++) {
            double lat_deg = south_deg + 1.25 * i;
            points[i] = point_of(i, 0, meridian_distance_m(lat_deg) / 1000.0, lat_deg + 11.0, 0.02);
            points[i].lat_deg = lat_deg;
        }
        struct combined combined = combined_of(points, 8);
        check_digits("local", combined.local_km, combined.circumference_km, 1e-12);
        assert_true(combined.local_km > 39806.7 && combined.local_km < 40209.9);
        /* Nearly the curvature of the middle. */
        check_near("local", combined.local_km, meridian_local_circumference_km(south_deg + 4.375),
                   1.0, "km");
        check_near("median", combined.median_km, combined.local_km, 1.0, "km");
    }
}

static void test_edges(void **state) {
    (void)state;
    struct combine_point points[8];
    struct combined combined = combined_of(points, 0);
    assert_int_equal(combined.status, COMBINE_TOO_FEW);
    assert_int_equal(combined.sites, 0);
    assert_true(isnan(combined.circumference_km) && isnan(combined.median_km));

    points[0] = point_of(1, 0, 5000.0, 40.0, 0.05);
    assert_int_equal(combined_of(points, 1).status, COMBINE_TOO_FEW);
    assert_true(isnan(points[0].residual_deg) && isnan(points[0].influence_km));

    /* One site in each of many groups; equal latitudes within a group. */
    for (int i = 0; i < 8; i++)
        points[i] = point_of(i, i, 5000.0 + i, 40.0 + i, 0.05);
    assert_int_equal(combined_of(points, 8).status, COMBINE_TOO_FEW);
    for (int i = 0; i < 8; i++)
        points[i] = point_of(i, i / 2, 5000.0 + i / 2, 40.0 + i, 0.05);
    assert_int_equal(combined_of(points, 8).status, COMBINE_TOO_FEW);

    /* Noise only, and a slope the wrong way. */
    for (int i = 0; i < 6; i++)
        points[i] = point_of(i, 0, 5000.0 + 10.0 * i, i % 2 == 0 ? 40.0 : 41.0, 1.0);
    combined = combined_of(points, 6);
    assert_int_equal(combined.status, COMBINE_UNSURE);
    assert_true(isnan(combined.circumference_km) && isnan(combined.sigma_km));
    for (int i = 0; i < 6; i++)
        points[i] = point_of(i, 0, 5000.0 + 100.0 * i, 40.0 - 0.9 * i, 0.01);
    combined = combined_of(points, 6);
    assert_int_equal(combined.status, COMBINE_UNSURE);
    assert_true(isnan(combined.median_km));

    /* A lone site of another day changes nothing. */
    for (int i = 0; i < 6; i++)
        points[i] = point_of(i, 3, 5000.0 + 100.0 * i, 40.0 + 0.9 * i + 0.001 * (i % 2), 0.01);
    double alone_km = combined_of(points, 6).circumference_km;
    points[6] = point_of(9, 2, 8000.0, 1.0, 0.01);
    combined = combined_of(points, 7);
    check_near("lone site", combined.circumference_km, alone_km, 0.0, "km");
    assert_int_equal(combined.sites, 6);
    assert_int_equal(combined.groups, 1);
    assert_string_equal(combine_status_name(COMBINE_OK), "ok");
    assert_string_equal(combine_status_name(COMBINE_TOO_FEW), "too_few");
    assert_string_equal(combine_status_name(COMBINE_UNSURE), "unsure");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_delambre_and_mechain),
        cmocka_unit_test(test_laplace),
        cmocka_unit_test(test_norris),
        cmocka_unit_test(test_york),
        cmocka_unit_test(test_birge_ratios_of_the_particle_data_group),
        cmocka_unit_test(test_one_group_against_gsl),
        cmocka_unit_test(test_groups_and_influence_against_gsl),
        cmocka_unit_test(test_order_does_not_matter),
        cmocka_unit_test(test_strays_are_left_out),
        cmocka_unit_test(test_a_precise_site_among_coarse_ones_stays),
        cmocka_unit_test(test_no_more_than_a_quarter_is_left_out),
        cmocka_unit_test(test_sigma_is_honest),
        cmocka_unit_test(test_the_local_figure),
        cmocka_unit_test(test_edges),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
