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

/* value * 10^scale, exactly, cut off at the decimal point. */
struct scaled {
    uint64_t cut;
    wide rest, unit; /* of 2^shift and of 10^scale */
    int shift;
    bool power_of_two; /* below such a one doubles are twice as dense */
    bool even;         /* of two doubles as near, this one is read */
};

static struct scaled scale_up(const struct parts *parts, int scale) {
    wide unit = whole_power[scale < POWERS ? scale : POWERS - 1];
    if (scale >= POWERS)
        unit *= whole_power[scale - (POWERS - 1)];
    const wide exact = parts->mantissa * unit;
    return (struct scaled){
        .cut = (uint64_t)(exact >> parts->shift),
        .rest = exact & (((wide)1 << parts->shift) - 1),
        .unit = unit,
        .shift = parts->shift,
        .power_of_two = parts->mantissa == (uint64_t)1 << 52,
        .even = parts->mantissa % 2 == 0,
    };
}

/* Rounds to so many digits fewer that step = 10^digits, a tie to the even one. True when
 * that is nearer to value than half a unit of the mantissa, so that it reads back as value.
 * Inline, so that step is a constant to divide by. */
static inline bool round_off(const struct scaled *scaled, uint64_t step, uint64_t *out) {
    const uint64_t number = scaled->cut / step, over = scaled->cut % step;
    const bool up = over > step / 2 || (over == step / 2 && (scaled->rest > 0 || number % 2 == 1));
    wide off = ((wide)(up ? step - over : over) << scaled->shift);
    off = up ? off - scaled->rest : off + scaled->rest;
    off *= !up && scaled->power_of_two ? 4 : 2;
    *out = number + up;
    return off < scaled->unit || (off == scaled->unit && scaled->even);
}

/* The digits of value: number / 10^scale, where scale is that of DIGITS_MOST at first. */
static uint64_t fewest_digits(const struct parts *parts, int *scale) {
    const struct scaled scaled = scale_up(parts, *scale);
    const wide half = (wide)1 << (parts->shift - 1);
    uint64_t number;
    if (round_off(&scaled, 100, &number)) {
        *scale -= 2;
        return number;
    }
    if (round_off(&scaled, 10, &number)) {
        *scale -= 1;
        return number;
    }
    return scaled.cut + (scaled.rest > half || (scaled.rest == half && scaled.cut % 2 == 1));
}

/* Exactly so many digits. */
static void put_digits(uint64_t number, int digits, char *out) {
    static const char pair[] = "0001020304050607080910111213141516171819"
                               "2021222324252627282930313233343536373839"
                               "4041424344454647484950515253545556575859"
                               "6061626364656667686970717273747576777879"
                               "8081828384858687888990919293949596979899";
    char *at = out + digits;
    for (; digits > 1; digits -= 2, number /= 100) {
        at -= 2;
        memcpy(at, pair + 2 * (number % 100), 2);
    }
    if (digits > 0)
        *out = (char)('0' + number);
}

/* number / 10^scale with a decimal point; number has at most DIGITS_MOST digits. */
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
    put_digits(whole, digits, out);
    out += digits;
    if (scale > 0) {
        *out++ = '.';
        put_digits(scale < POWERS ? number - whole * whole_power[scale] : number, scale, out);
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
