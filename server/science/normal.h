/* SPDX-License-Identifier: MIT */
/* normal: weighted least squares with up to four unknowns by normal equations.
 * Callers centre and scale their columns; the matrices are then as well
 * conditioned as the question itself. Private to science. */
#ifndef NOONARC_NORMAL_H
#define NOONARC_NORMAL_H

#include <stdbool.h>

#define NORMAL_MAX 4

struct normal {
    int unknowns;
    double matrix[NORMAL_MAX][NORMAL_MAX];
    double right[NORMAL_MAX];
};

void normal_init(struct normal *normal, int unknowns);

/* Adds one equation sum(coefficient[i] x[i]) = value with this sigma (> 0). */
void normal_add(struct normal *normal, const double *coefficient, double value, double sigma);

/* Solves for x and, unless NULL, the covariance of unit weight. False when the
 * equations do not determine the unknowns. */
bool normal_solve(const struct normal *normal, double x[NORMAL_MAX],
                  double covariance[NORMAL_MAX][NORMAL_MAX]);

#endif
