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
#define POWERS 22
#define POWER_SPLIT 11 /* the larger ones are made of two */

__extension__ typedef unsigned __int128 wide;

static const double power_of_ten[POWERS] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                            1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                            1e16, 1e17, 1e18, 1e19, 1e20, 1e21};

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
static int first_exponent(double value) {
    int e = 0;
    if (value < 1.0)
        for (double scaled = value * 10.0; e--, scaled < 1.0;)
            scaled *= 10.0;
    else
        while (value >= power_of_ten[e + 1])
            e++;
    return e;
}

static wide whole_power_of_ten(int exponent) {
    static const uint64_t power[POWER_SPLIT + 1] = {
        1,       10,       100,       1000,       10000,       100000,
        1000000, 10000000, 100000000, 1000000000, 10000000000, 100000000000,
    };
    const int high = exponent > POWER_SPLIT ? exponent - POWER_SPLIT : 0;
    return (wide)power[exponent - high] * power[high];
}

/* value * 10^scale rounded to an integer, a tie to the even one. True when that over
 * 10^scale reads back as value: when it is nearer than half a unit of the mantissa. */
static bool round_scaled(const struct parts *parts, int scale, uint64_t *out) {
    const wide unit = whole_power_of_ten(scale);
    const wide exact = parts->mantissa * unit;
    const wide one = (wide)1 << parts->shift;
    wide whole = exact >> parts->shift, rest = exact & (one - 1);
    if (rest > one / 2 || (rest == one / 2 && (whole & 1)))
        whole++;
    const wide rounded = whole << parts->shift;
    const bool below = rounded < exact;
    wide off = below ? exact - rounded : rounded - exact;
    /* Below a power of two the doubles are twice as dense. */
    off *= below && parts->mantissa == (uint64_t)1 << 52 ? 4 : 2;
    *out = (uint64_t)whole;
    return off < unit || (off == unit && parts->mantissa % 2 == 0);
}

/* The digits of number, a decimal point after the one that stands for 10^0. */
static size_t write_plain(bool negative, uint64_t number, int scale, char *out) {
    char digit[24];
    size_t at = sizeof digit, point;
    while (scale > 0 && number % 10 == 0) {
        number /= 10;
        scale--;
    }
    point = sizeof digit - (size_t)scale;
    do {
        digit[--at] = (char)('0' + number % 10);
        number /= 10;
    } while (number > 0);
    while (at >= point)
        digit[--at] = '0';
    char *const begin = out;
    if (negative)
        *out++ = '-';
    const size_t whole = point - at;
    memcpy(out, digit + at, whole);
    out += whole;
    if (scale > 0) {
        *out++ = '.';
        memcpy(out, digit + point, (size_t)scale);
        out += scale;
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
        const int e = first_exponent(magnitude);
        uint64_t number = 0;
        for (int digits = DIGITS_LEAST; digits <= DIGITS_MOST; digits++) {
            if (round_scaled(&parts, digits - 1 - e, &number) || digits == DIGITS_MOST)
                return write_plain(signbit(value), number, digits - 1 - e, out);
        }
    }
    int length = 0;
    for (int digits = DIGITS_LEAST; digits <= DIGITS_MOST; digits++) {
        length = snprintf(out, size, "%.*g", digits, value);
        if (strtod(out, NULL) == value)
            break;
    }
    return (size_t)length;
}
