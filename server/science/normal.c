/* SPDX-License-Identifier: MIT */
/* normal: Cholesky on a matrix scaled to a unit diagonal. */
#include "server/science/normal.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define SMALLEST_PIVOT 1e-12 /* of a unit diagonal: below it the columns are one */

void normal_init(struct normal *normal, int unknowns) {
    assert(unknowns >= 1 && unknowns <= NORMAL_MAX);
    *normal = (struct normal){.unknowns = unknowns};
}

void normal_add(struct normal *normal, const double *coefficient, double value, double sigma) {
    double weight = 1.0 / (sigma * sigma);
    for (int i = 0; i < normal->unknowns; i++) {
        for (int j = 0; j <= i; j++)
            normal->matrix[i][j] += weight * coefficient[i] * coefficient[j];
        normal->right[i] += weight * coefficient[i] * value;
    }
}

/* x of L L' x = right, L lower triangular. */
static void substitute(int n, double lower[NORMAL_MAX][NORMAL_MAX], const double *right,
                       double *x) {
    for (int i = 0; i < n; i++) {
        double sum = right[i];
        for (int k = 0; k < i; k++)
            sum -= lower[i][k] * x[k];
        x[i] = sum / lower[i][i];
    }
    for (int i = n - 1; i >= 0; i--) {
        double sum = x[i];
        for (int k = i + 1; k < n; k++)
            sum -= lower[k][i] * x[k];
        x[i] = sum / lower[i][i];
    }
}

bool normal_solve(const struct normal *normal, double x[NORMAL_MAX],
                  double covariance[NORMAL_MAX][NORMAL_MAX]) {
    int n = normal->unknowns;
    assert(n >= 1 && n <= NORMAL_MAX);
    double scale[NORMAL_MAX], lower[NORMAL_MAX][NORMAL_MAX];
    for (int i = 0; i < n; i++) {
        if (!(normal->matrix[i][i] > 0.0))
            return false;
        scale[i] = 1.0 / sqrt(normal->matrix[i][i]);
    }
    for (int i = 0; i < n; i++) {
        for (int j = 0; j <= i; j++) {
            double sum = normal->matrix[i][j] * scale[i] * scale[j];
            for (int k = 0; k < j; k++)
                sum -= lower[i][k] * lower[j][k];
            if (i > j)
                lower[i][j] = sum / lower[j][j];
            else if (sum > SMALLEST_PIVOT)
                lower[i][i] = sqrt(sum);
            else
                return false;
        }
    }
    double scaled[NORMAL_MAX] = {0.0};
    for (int i = 0; i < n; i++)
        scaled[i] = normal->right[i] * scale[i];
    substitute(n, lower, scaled, x);
    for (int i = 0; i < n; i++)
        x[i] *= scale[i];
    for (int j = 0; covariance != NULL && j < n; j++) {
        double unit[NORMAL_MAX] = {0.0}, column[NORMAL_MAX];
        unit[j] = 1.0;
        substitute(n, lower, unit, column);
        for (int i = 0; i < n; i++)
            covariance[i][j] = column[i] * scale[i] * scale[j];
    }
    return true;
}
