/* SPDX-License-Identifier: MIT */
/* uncertainty: rounding by sigma. libm only. */
#include "server/science/uncertainty.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* Power of ten of the second significant digit of sigma, after rounding to two. */
static int place_of(double sigma) {
    int place = (int)floor(log10(sigma)) - 1;
    double digits = sigma / pow(10.0, place);
    return digits >= 99.5 ? place + 1 : place;
}

int uncertainty_decimals(double sigma) {
    if (!(sigma > 0.0) || isinf(sigma))
        return 2;
    int place = place_of(sigma);
    return place < 0 ? -place : 0;
}

/* Digits of the whole part in threes, parted by a blank. */
static void grouped(double value, int decimals, char *out, size_t size) {
    char plain[64];
    int length = snprintf(plain, sizeof plain, "%.*f", decimals, fabs(value));
    int whole = length - (decimals > 0 ? decimals + 1 : 0);
    size_t at = 0;
    bool rounds_to_zero = strpbrk(plain, "123456789") == NULL; /* no minus then */
    if (value < 0.0 && !rounds_to_zero && at + 1 < size)
        out[at++] = '-';
    for (int i = 0; i < length && at + 1 < size; i++) {
        if (i > 0 && i < whole && (whole - i) % 3 == 0 && whole > 4 && at + 2 < size)
            out[at++] = ' ';
        out[at++] = plain[i];
    }
    out[at] = '\0';
}

void uncertainty_text(double value, double sigma, char *out, size_t size) {
    if (size == 0)
        return;
    if (!isfinite(value)) {
        snprintf(out, size, "unknown");
        return;
    }
    char number[64], doubt[64];
    if (!(sigma > 0.0) || isinf(sigma)) {
        grouped(value, 2, number, sizeof number);
        snprintf(out, size, "%s ± unknown", number);
        return;
    }
    int place = place_of(sigma), decimals = uncertainty_decimals(sigma);
    double step = place > 0 ? pow(10.0, place) : 1.0;
    grouped(place > 0 ? round(value / step) * step : value, decimals, number, sizeof number);
    grouped(place > 0 ? round(sigma / step) * step : sigma, decimals, doubt, sizeof doubt);
    snprintf(out, size, "%s ± %s", number, doubt);
}
