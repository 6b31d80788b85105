/* SPDX-License-Identifier: MIT */
/* uncertainty: how figures are shown. Two significant digits of sigma, the value
 * to the same place (JCGM 100:2008, 7.2.6). Full precision stays in JSON and CSV. */
#ifndef NOONARC_UNCERTAINTY_H
#define NOONARC_UNCERTAINTY_H

#include <stddef.h>

/* Decimals (>= 0) to show for a value with this sigma; 0 for sigma of 9.95 and more;
 * a default of 2 when sigma is not positive and finite. */
int uncertainty_decimals(double sigma);

/* Writes "39 940 ± 210", UTF-8, always terminated; whole parts of five digits and more
 * in threes, parted by a blank. Values are rounded to sigma's two digits also left of
 * the point. "39 940.12 ± unknown" without a sigma, "unknown" without a value. */
void uncertainty_text(double value, double sigma, char *out, size_t size);

#endif
