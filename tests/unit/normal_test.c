/* SPDX-License-Identifier: MIT */
/* normal: certified data sets, arcs of the meridian fitted in the books, and GSL. */
#include "tests/unit/near.h"

#include <gsl/gsl_multifit.h>

#include "server/science/angle.h"
#include "server/science/normal.h"
#include "tests/data/nist.h"
#include "tests/support/simulate.h"

#define TOISE_KM (0.864 / 443.296) /* the metre of 1799 is 443.296 of 864 lines */
#define ROWS_MAX 64

struct fit {
    double x[NORMAL_MAX], covariance[NORMAL_MAX][NORMAL_MAX];
    double chi2;
    int dof;
};

/* columns[k][i]: coefficient k of equation i. */
static struct fit fitted(int unknowns, int rows, const double columns[][ROWS_MAX],
                         const double *value, const double *sigma) {
    struct normal normal;
    struct fit fit = {.dof = rows - unknowns};
    normal_init(&normal, unknowns);
    for (int i = 0; i < rows; i++) {
        double coefficient[NORMAL_MAX];
        for (int k = 0; k < unknowns; k++)
            coefficient[k] = columns[k][i];
        normal_add(&normal, coefficient, value[i], sigma != NULL ? sigma[i] : 1.0);
    }
    assert_true(normal_solve(&normal, fit.x, fit.covariance));
    for (int i = 0; i < rows; i++) {
        double residual = value[i];
        for (int k = 0; k < unknowns; k++)
            residual -= fit.x[k] * columns[k][i];
        residual /= sigma != NULL ? sigma[i] : 1.0;
        fit.chi2 += residual * residual;
    }
    return fit;
}

/* Columns 1 and x - centre: the constant at the centre, the slope. */
static struct fit straight(int rows, const double *x, const double *y, const double *sigma,
                           double centre) {
    double columns[2][ROWS_MAX];
    for (int i = 0; i < rows; i++) {
        columns[0][i] = 1.0;
        columns[1][i] = x[i] - centre;
    }
    return fitted(2, rows, columns, y, sigma);
}

static double mean_of(const double *x, int count) {
    double sum = 0.0;
    for (int i = 0; i < count; i++)
        sum += x[i];
    return sum / count;
}

/* NIST StRD Norris: centred on the mean, 13 digits and more come out. */
static void test_norris(void **state) {
    (void)state;
    double centre = mean_of(norris_x, NORRIS);
    struct fit fit = straight(NORRIS, norris_x, norris_y, NULL, centre);
    double s = sqrt(fit.chi2 / fit.dof);
    check_digits("Norris b1", fit.x[1], NORRIS_B1, 1e-13);
    check_digits("Norris b0", fit.x[0] - fit.x[1] * centre, NORRIS_B0, 1e-11);
    check_digits("Norris s", s, NORRIS_S, 1e-13);
    check_digits("Norris sd of b1", s * sqrt(fit.covariance[1][1]), NORRIS_B1_SD, 1e-12);
    check_digits("Norris sd of b0",
                 s * sqrt(fit.covariance[0][0] + centre * centre * fit.covariance[1][1]),
                 NORRIS_B0_SD, 1e-12);
}

/* NIST StRD Pontius, a parabola far from its vertex: centred and scaled to +-1, then
 * turned back into powers of x. 9 digits at least. */
static void test_pontius(void **state) {
    (void)state;
    double columns[3][ROWS_MAX], centre = 10.5 * PONTIUS_STEP, scale = 9.5 * PONTIUS_STEP;
    for (int i = 0; i < PONTIUS; i++) {
        double u = (PONTIUS_STEP * (i % 20 + 1) - centre) / scale;
        columns[0][i] = 1.0;
        columns[1][i] = u;
        columns[2][i] = u * u;
    }
    struct fit fit = fitted(3, PONTIUS, columns, pontius_y, NULL);
    /* b = T a: u = x / scale - c. */
    double c = centre / scale;
    const double turn[3][3] = {
        {1.0, -c, c * c}, {0.0, 1.0 / scale, -2.0 * c / scale}, {0.0, 0.0, 1.0 / (scale * scale)}};
    double s = sqrt(fit.chi2 / fit.dof);
    check_digits("Pontius s", s, PONTIUS_S, 1e-11);
    for (int k = 0; k < 3; k++) {
        double b = 0.0, variance = 0.0;
        for (int p = 0; p < 3; p++) {
            b += turn[k][p] * fit.x[p];
            for (int q = 0; q < 3; q++)
                variance += turn[k][p] * fit.covariance[p][q] * turn[k][q];
        }
        char label[64];
        snprintf(label, sizeof label, "Pontius b%d", k);
        check_digits(label, b, pontius_b[k], 1e-9);
        snprintf(label, sizeof label, "Pontius sd of b%d", k);
        check_digits(label, s * sqrt(variance), pontius_sd[k], 1e-9);
    }
}

static void test_lines_through_the_origin(void **state) {
    (void)state;
    double columns[1][ROWS_MAX], y[ROWS_MAX];
    for (int i = 0; i < NOINT1; i++) {
        columns[0][i] = 60.0 + i;
        y[i] = 130.0 + i;
    }
    struct fit fit = fitted(1, NOINT1, columns, y, NULL);
    double s = sqrt(fit.chi2 / fit.dof);
    check_digits("NoInt1 b1", fit.x[0], NOINT1_B1, 1e-14);
    check_digits("NoInt1 s", s, NOINT1_S, 1e-13);
    check_digits("NoInt1 sd", s * sqrt(fit.covariance[0][0]), NOINT1_SD, 1e-13);
    for (int i = 0; i < NOINT2; i++)
        columns[0][i] = noint2_x[i];
    fit = fitted(1, NOINT2, columns, noint2_y, NULL);
    s = sqrt(fit.chi2 / fit.dof);
    check_digits("NoInt2 b1", fit.x[0], NOINT2_B1, 1e-14);
    check_digits("NoInt2 s", s, NOINT2_S, 1e-13);
    check_digits("NoInt2 sd", s * sqrt(fit.covariance[0][0]), NOINT2_SD, 1e-13);
}

/* NIST StRD Wampler1 has six unknowns, the module takes four. About the middle of x,
 * u = (x - 10) / 10, even and odd powers are orthogonal on this grid, so that two fits
 * of three columns each are the whole least-squares solution. 8 digits at least. */
static void test_wampler1(void **state) {
    (void)state;
    double y[ROWS_MAX], power[6][ROWS_MAX], a[6];
    for (int i = 0; i < WAMPLER1; i++) {
        double x = i, u = (x - 10.0) / 10.0;
        y[i] = 1.0 + x * (1.0 + x * (1.0 + x * (1.0 + x * (1.0 + x))));
        for (int k = 0; k < 6; k++)
            power[k][i] = pow(u, k);
    }
    for (int odd = 0; odd < 2; odd++) {
        double columns[3][ROWS_MAX];
        for (int k = 0; k < 3; k++)
            for (int i = 0; i < WAMPLER1; i++)
                columns[k][i] = power[2 * k + odd][i];
        struct fit fit = fitted(3, WAMPLER1, columns, y, NULL);
        for (int k = 0; k < 3; k++)
            a[2 * k + odd] = fit.x[k];
    }
    double worst = 0.0;
    for (int i = 0; i < WAMPLER1; i++) {
        double sum = 0.0;
        for (int k = 0; k < 6; k++)
            sum += a[k] * power[k][i];
        worst = fmax(worst, fabs(sum - y[i]));
    }
    check_near("Wampler1 residuals", worst, 0.0, 1e-7, "(y reaches 3.4e6)");
    /* sum a_k ((x - 10) / 10)^k in powers of x, Horner's way. */
    double b[6] = {0.0};
    for (int k = 5; k >= 0; k--) {
        for (int p = 5; p >= 0; p--)
            b[p] = -b[p] + (p > 0 ? b[p - 1] / 10.0 : 0.0);
        b[0] += a[k];
    }
    for (int k = 0; k < 6; k++) {
        char label[64];
        snprintf(label, sizeof label, "Wampler1 b%d", k);
        check_digits(label, b[k], 1.0, k == 0 ? 1e-7 : 1e-8);
    }
}

/* Circumference (km) of degrees on the squared sine of latitude, z + y sin^2, in units
 * of unit_km a degree: 360 (z + y/2), with its sigma from the scatter. */
static double circumference_km(const struct fit *fit, double unit_km, double *sigma_km) {
    double variance = fit->covariance[0][0] + fit->covariance[0][1] + 0.25 * fit->covariance[1][1];
    *sigma_km = 360.0 * unit_km * sqrt(variance * fit->chi2 / fit->dof);
    return 360.0 * unit_km * (fit->x[0] + 0.5 * fit->x[1]);
}

/* Legendre, Nouvelles methodes (1805), appendix, the first published least squares:
 * degrees of four arcs (modules) by the square of the sine of their middle latitude.
 * Quadrant 2 564 801.46 modules and ellipticity 1/157.951374 are his; z and y
 * recomputed. Table as in Bjorck, Least Squares Problems, 2nd ed., 1.1.1. */
static void test_legendre(void **state) {
    (void)state;
    static const double modules[4] = {62472.59, 76145.74, 84424.55, 52749.48};
    static const double arc_deg[4] = {2.18910, 2.66868, 2.96336, 1.85266};
    const double middle_deg[4] = {near_dms(1, 49, 56, 30), near_dms(1, 47, 30, 46),
                                  near_dms(1, 44, 41, 48), near_dms(1, 42, 17, 20)};
    double sine2[4], degree[4];
    for (int i = 0; i < 4; i++) {
        sine2[i] = angle_sin(middle_deg[i]) * angle_sin(middle_deg[i]);
        degree[i] = modules[i] / arc_deg[i];
    }
    struct fit fit = straight(4, sine2, degree, NULL, 0.0);
    double z = fit.x[0], y = fit.x[1];
    check_near("Legendre z", z, 28227.162047, 6e-7, "modules");
    check_near("Legendre y", y, 541.263934, 1.2e-6, "modules");
    check_near("Legendre quadrant", 90.0 * (z + 0.5 * y), 2564801.46, 0.005, "modules");
    check_near("Legendre 1/ellipticity", 3.0 * (z / y + 0.5), 157.951374, 6e-7, "");
}

/* Boscovich's five degrees, toises, with his own squared sine for the Cape, 0.2987
 * (Stigler, History of Statistics, 1986, ch. 1); fit recomputed. With the true 0.3014
 * the fit moves to 40 063.57 km. */
static void test_boscovich(void **state) {
    (void)state;
    static const double toises[5] = {56751, 57037, 56979, 57074, 57422};
    double sine2[5] = {0.0, 0.2987, 0.4648, 0.5762, 0.8386}, sigma_km;
    struct fit fit = straight(5, sine2, toises, NULL, 0.0);
    check_near("Boscovich z", fit.x[0], 56737.426, 0.0006, "toises");
    check_near("Boscovich y", fit.x[1], 723.440, 0.0006, "toises");
    check_near("Boscovich", circumference_km(&fit, TOISE_KM, &sigma_km), 40063.79, 0.006, "km");
    check_near("Boscovich sigma", sigma_km, 31.45, 0.006, "km");
    check_near("Boscovich mean", 360.0 * TOISE_KM * mean_of(toises, 5), 40031.13, 0.006, "km");
    sine2[1] = 0.3014;
    fit = straight(5, sine2, toises, NULL, 0.0);
    check_near("Boscovich, true sine", circumference_km(&fit, TOISE_KM, &sigma_km), 40063.57, 0.006,
               "km");
}

/* Kant, Geografia fisica I (1807) p. 32: ten degrees, toises; fit recomputed. */
static void test_kant(void **state) {
    (void)state;
    static const struct {
        double degrees, minutes, toises;
    } arcs[10] = {{0, 0, 56753},   {33, 18, 57037}, {39, 12, 56888}, {43, 0, 56979},
                  {44, 44, 57069}, {45, 0, 57028},  {45, 57, 56881}, {48, 43, 57086},
                  {49, 23, 57069}, {66, 20, 57422}};
    double sine2[10], toises[10], sigma_km;
    for (int i = 0; i < 10; i++) {
        double sine = angle_sin(arcs[i].degrees + arcs[i].minutes / 60.0);
        sine2[i] = sine * sine;
        toises[i] = arcs[i].toises;
    }
    struct fit fit = straight(10, sine2, toises, NULL, 0.0);
    check_near("Kant z", fit.x[0], 56698.511, 0.0006, "toises");
    check_near("Kant y", fit.x[1], 692.808, 0.0006, "toises");
    check_near("Kant s", sqrt(fit.chi2 / fit.dof), 101.26, 0.006, "toises");
    check_near("Kant", circumference_km(&fit, TOISE_KM, &sigma_km), 40025.74, 0.006, "km");
    check_near("Kant sigma", sigma_km, 22.78, 0.006, "km");
    check_near("Kant mean", mean_of(toises, 10), 57021.2, 0.05, "toises");
    check_near("Kant mean", 360.0 * TOISE_KM * mean_of(toises, 10), 40009.10, 0.006, "km");
}

/* Pearson's data with York's weights (Can. J. Phys. 44 (1966) 1079), errors in y only;
 * recomputed. */
static void test_york_weights_of_y(void **state) {
    (void)state;
    static const double x[10] = {0, .9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4};
    static const double y[10] = {5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5};
    static const double weight[10] = {1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500};
    double sigma[10];
    for (int i = 0; i < 10; i++)
        sigma[i] = 1.0 / sqrt(weight[i]);
    struct fit fit = straight(10, x, y, sigma, 0.0);
    check_near("York a", fit.x[0], 6.1001093167, 6e-11, "");
    check_near("York b", fit.x[1], -0.6108129566, 6e-11, "");
    check_near("York se of a", sqrt(fit.covariance[0][0]), 0.20466269, 6e-9, "");
    check_near("York se of b", sqrt(fit.covariance[1][1]), 0.03008745, 6e-9, "");
    check_near("York chi2", fit.chi2, 34.34520750, 6e-9, "");
    check_near("York Birge ratio", sqrt(fit.chi2 / fit.dof), 2.07199, 6e-6, "");
}

/* GSL's multifit solves by singular values, from the columns, not from the matrix. */
static void test_against_gsl(void **state) {
    (void)state;
    struct chance chance = chance_seeded(1805);
    for (int set = 0; set < 200; set++) {
        int unknowns = 1 + set % NORMAL_MAX, rows = unknowns + 1 + set % 40;
        double columns[NORMAL_MAX][ROWS_MAX], value[ROWS_MAX], sigma[ROWS_MAX];
        gsl_matrix *design = gsl_matrix_alloc((size_t)rows, (size_t)unknowns);
        gsl_matrix *covariance = gsl_matrix_alloc((size_t)unknowns, (size_t)unknowns);
        gsl_vector *weight = gsl_vector_alloc((size_t)rows), *y = gsl_vector_alloc((size_t)rows);
        gsl_vector *solution = gsl_vector_alloc((size_t)unknowns);
        gsl_multifit_linear_workspace *work =
            gsl_multifit_linear_alloc((size_t)rows, (size_t)unknowns);
        for (int i = 0; i < rows; i++) {
            value[i] = 10.0 * chance_normal(&chance);
            sigma[i] = 0.1 + 3.0 * chance_even(&chance);
            for (int k = 0; k < unknowns; k++) {
                columns[k][i] = chance_normal(&chance) * pow(10.0, 3 * k - 4);
                gsl_matrix_set(design, (size_t)i, (size_t)k, columns[k][i]);
            }
            gsl_vector_set(y, (size_t)i, value[i]);
            gsl_vector_set(weight, (size_t)i, 1.0 / (sigma[i] * sigma[i]));
        }
        double chi2;
        gsl_multifit_wlinear(design, weight, y, solution, covariance, &chi2, work);
        struct fit fit = fitted(unknowns, rows, columns, value, sigma);
        char label[64];
        snprintf(label, sizeof label, "set %d of seed 1805", set);
        check_near(label, fit.chi2, chi2, 1e-9 * (1.0 + chi2), "");
        for (size_t k = 0; k < (size_t)unknowns; k++) {
            double se = sqrt(gsl_matrix_get(covariance, k, k));
            check_near(label, fit.x[k] / se, gsl_vector_get(solution, k) / se, 1e-8, "sigma");
            for (size_t j = 0; j < (size_t)unknowns; j++)
                check_near(label,
                           fit.covariance[k][j] / (se * sqrt(gsl_matrix_get(covariance, j, j))),
                           gsl_matrix_get(covariance, k, j) /
                               (se * sqrt(gsl_matrix_get(covariance, j, j))),
                           1e-8, "");
        }
        gsl_multifit_linear_free(work);
        gsl_vector_free(solution);
        gsl_vector_free(y);
        gsl_vector_free(weight);
        gsl_matrix_free(covariance);
        gsl_matrix_free(design);
    }
}

static void test_what_cannot_be_solved(void **state) {
    (void)state;
    struct normal normal;
    double x[NORMAL_MAX] = {7.0};
    normal_init(&normal, 2);
    assert_false(normal_solve(&normal, x, NULL)); /* nothing was added */
    normal_add(&normal, (const double[]){1.0, 2.0}, 3.0, 1.0);
    assert_false(normal_solve(&normal, x, NULL)); /* one equation, two unknowns */
    normal_add(&normal, (const double[]){2.0, 4.0}, 6.0, 1.0);
    assert_false(normal_solve(&normal, x, NULL)); /* the same equation twice */
    normal_init(&normal, 1);
    normal_add(&normal, (const double[]){NAN}, 1.0, 1.0);
    assert_false(normal_solve(&normal, x, NULL));
    /* As many equations as unknowns: exact; a NULL covariance is allowed. */
    normal_init(&normal, 2);
    normal_add(&normal, (const double[]){1.0, 1.0}, 3.0, 0.5);
    normal_add(&normal, (const double[]){1.0, -1.0}, 1.0, 2.0);
    assert_true(normal_solve(&normal, x, NULL));
    check_near("x", x[0], 2.0, 1e-12, "");
    check_near("y", x[1], 1.0, 1e-12, "");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_norris),
        cmocka_unit_test(test_pontius),
        cmocka_unit_test(test_lines_through_the_origin),
        cmocka_unit_test(test_wampler1),
        cmocka_unit_test(test_legendre),
        cmocka_unit_test(test_boscovich),
        cmocka_unit_test(test_kant),
        cmocka_unit_test(test_york_weights_of_y),
        cmocka_unit_test(test_against_gsl),
        cmocka_unit_test(test_what_cannot_be_solved),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
