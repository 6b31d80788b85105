/* SPDX-License-Identifier: MIT */
/* real: between 0.0001 and 10^15 a double times a power of ten fits into 128 bits, so
 * rounding to a number of digits and asking whether that reads back are exact sums of
 * integers; beyond, printf and strtod do it, thirty times slower. */
#include "server/wire/real.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DIGITS_LEAST 15
#define DIGITS_MOST 17
#define PLAIN_LEAST 1e-4
#define PLAIN_BOUND 1e15
#define POWERS 18

__extension__ typedef unsigned __int128 wide;

static const double power_of_ten[POWERS] = {1e0, 1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,
                                            1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17};
static const uint64_t whole_power[POWERS] = {
    1,
    10,
    100,
    1000,
    10000,
    100000,
    1000000,
    10000000,
    100000000,
    1000000000,
    10000000000,
    100000000000,
    1000000000000,
    10000000000000,
    100000000000000,
    1000000000000000,
    10000000000000000,
    100000000000000000,
};

/* value = mantissa * 2^-shift exactly, the mantissa of 53 bits. */
struct parts {
    uint64_t mantissa;
    int shift;
};

static struct parts take_apart(double normal) {
    uint64_t bits;
    memcpy(&bits, &normal, sizeof bits);
    const uint64_t hidden = (uint64_t)1 << 52;
    return (struct parts){(bits & (hidden - 1)) | hidden, 1075 - (int)(bits >> 52)};
}

/* The exponent of the first digit: 10^e <= value < 10^(e+1). */
static int first_exponent(double value, const struct parts *parts) {
    static const double small[] = {1e-4, 1e-3, 1e-2, 1e-1};
    if (value < 1.0) {
        int e = -1;
        while (value < small[4 + e])
            e--;
        return e;
    }
    /* log10(2) = 1233/4096: at most one too low */
    int e = (52 - parts->shift) * 1233 >> 12;
    return value >= power_of_ten[e + 1] ? e + 1 : e;
}

static wide whole_power_of_ten(int exponent) {
    const int high = exponent < POWERS ? exponent : POWERS - 1;
    return (wide)whole_power[high] * whole_power[exponent - high];
}

/* The digits of value: number / 10^scale. From 17 of them, cut off exactly, the roundings
 * to fewer follow, a tie to the even one; such a one will do when it is nearer to value
 * than half a unit of the mantissa, so that it reads back as value. */
static uint64_t fewest_digits(const struct parts *parts, int *scale) {
    const wide unit = whole_power_of_ten(*scale);
    const wide exact = parts->mantissa * unit;
    const wide one = (wide)1 << parts->shift;
    const wide rest = exact & (one - 1);
    const uint64_t cut = (uint64_t)(exact >> parts->shift);
    for (int digits = DIGITS_LEAST; digits < DIGITS_MOST; digits++) {
        const uint64_t step = whole_power[DIGITS_MOST - digits], over = cut % step;
        const bool up = over > step / 2 || (over == step / 2 && (rest > 0 || (cut / step & 1)));
        const uint64_t rounded = up ? cut - over + step : cut - over;
        wide off =
            up ? ((wide)(step - over) << parts->shift) - rest : ((wide)over << parts->shift) + rest;
        /* Below a power of two the doubles are twice as dense. */
        off *= !up && parts->mantissa == (uint64_t)1 << 52 ? 4 : 2;
        if (off < unit || (off == unit && parts->mantissa % 2 == 0)) {
            *scale -= DIGITS_MOST - digits;
            return rounded / step;
        }
    }
    return cut + (rest > one / 2 || (rest == one / 2 && (cut & 1)));
}

/* Exactly so many digits; returns where they end. */
static char *put_digits(uint64_t number, int digits, char *out) {
    for (char *at = out + digits; at > out; number /= 10)
        *--at = (char)('0' + number % 10);
    return out + digits;
}

/* number / 10^scale with a decimal point; number has at most 17 digits. */
static size_t write_plain(bool negative, uint64_t number, int scale, char *out) {
    char *const begin = out;
    for (; scale > 0 && number % 10 == 0; scale--)
        number /= 10;
    const uint64_t whole = scale < POWERS ? number / whole_power[scale] : 0;
    int digits = 1;
    while (digits < POWERS && whole >= whole_power[digits])
        digits++;
    if (negative)
        *out++ = '-';
    out = put_digits(whole, digits, out);
    if (scale > 0) {
        *out++ = '.';
        out = put_digits(scale < POWERS ? number - whole * whole_power[scale] : number, scale, out);
    }
    *out = '\0';
    return (size_t)(out - begin);
}

size_t real_format(double value, char *out, size_t size) {
    assert(size >= REAL_TEXT && isfinite(value));
    const double magnitude = fabs(value);
    if (magnitude < PLAIN_BOUND && magnitude == (double)(uint64_t)magnitude)
        return write_plain(signbit(value), (uint64_t)magnitude, 0, out);
    if (magnitude >= PLAIN_LEAST && magnitude < PLAIN_BOUND) {
        const struct parts parts = take_apart(magnitude);
        int scale = DIGITS_MOST - 1 - first_exponent(magnitude, &parts);
        const uint64_t number = fewest_digits(&parts, &scale);
        return write_plain(signbit(value), number, scale, out);
    }
    int length = 0;
    for (int digits = DIGITS_LEAST; digits <= DIGITS_MOST; digits++) {
        length = snprintf(out, size, "%.*g", digits, value);
        if (strtod(out, NULL) == value)
            break;
    }
    return (size_t)length;
}
