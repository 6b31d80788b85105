/* SPDX-License-Identifier: MIT */
/* json_number: what has few digits is one multiplication or division of exact doubles,
 * which IEEE 754 rounds right (Clinger 1990, "How to read floating point numbers
 * accurately"); strtod does the rest, on the digits without a decimal point. */
#include "server/wire/json_number.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

#define SIGNIFICAND_FULL 1000000000000000000u /* one digit more still fits */
#define EXACT_BOUND 9007199254740992u         /* 2^53: so far every whole number is a double */
#define EXACT_POWER 22                        /* of ten: the last that is a double */
/* More than the 767 that may decide between two doubles; what follows counts as a
 * digit 1 unless all of it is nought. */
#define DIGITS_MAX 800
#define EXPONENT_FULL 100000000000000000 /* longer than any text */
#define EXPONENT_MAX 99999               /* beyond, DIGITS_MAX digits are nought or infinite */

static const double power_of_ten[EXACT_POWER + 1] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                                     1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                                     1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* Its first digits as an integer times a power of ten. */
struct decimal {
    uint64_t significand;
    int64_t exponent;
    bool cut; /* there are more digits than the significand, then a large one, holds */
};

static bool is_digit(const char *at, const char *end) {
    return at < end && *at >= '0' && *at <= '9';
}

/* Adds the digits from at on; of a fraction, each lowers the exponent. Returns the place
 * behind them. */
static const char *take_digits(const char *at, const char *end, bool fraction,
                               struct decimal *decimal) {
    for (; is_digit(at, end); at++) {
        const bool fits = decimal->significand < SIGNIFICAND_FULL;
        if (fits)
            decimal->significand = decimal->significand * 10 + (uint64_t)(*at - '0');
        else
            decimal->cut = true;
        decimal->exponent += (fits ? 0 : 1) - (fraction ? 1 : 0);
    }
    return at;
}

/* The exponent at *at, behind the letter e. False: it has no digit. */
static bool take_exponent(const char **at, const char *end, int64_t *exponent) {
    const bool negative = *at < end && **at == '-';
    int64_t sum = 0;
    if (*at < end && (**at == '-' || **at == '+'))
        (*at)++;
    if (!is_digit(*at, end))
        return false;
    for (; is_digit(*at, end); (*at)++)
        if (sum < EXPONENT_FULL)
            sum = sum * 10 + (**at - '0');
    *exponent = negative ? -sum : sum;
    return true;
}

/* Digits, with or without a point among them, times ten to the exponent. */
static double real_of_digits(const char *at, const char *end, int64_t exponent) {
    char text[DIGITS_MAX + 32];
    size_t digits = 0;
    bool fraction = false, rest = false;
    for (; at < end; at++) {
        if (*at == '.') {
            fraction = true;
            continue;
        }
        if (digits < DIGITS_MAX) {
            if (digits > 0 || *at != '0')
                text[digits++] = *at;
        } else {
            rest = rest || *at != '0';
            exponent++;
        }
        exponent -= fraction;
    }
    if (digits == 0)
        return 0.0;
    if (rest) {
        text[digits++] = '1';
        exponent--;
    }
    if (exponent > EXPONENT_MAX || exponent < -EXPONENT_MAX)
        exponent = exponent > 0 ? EXPONENT_MAX : -EXPONENT_MAX;
    snprintf(text + digits, sizeof text - digits, "e%d", (int)exponent);
    return strtod(text, NULL);
}

static enum json_number_status finish_whole(const struct decimal *decimal, bool negative,
                                            struct json_number *out) {
    if (decimal->cut || decimal->significand > (uint64_t)INT64_MAX + negative)
        return JSON_NUMBER_TOO_LARGE;
    out->is_whole = true;
    out->whole = (int64_t)(negative ? 0 - decimal->significand : decimal->significand);
    out->real = (double)out->whole;
    return JSON_NUMBER_READ;
}

enum json_number_status json_number_take(const char **at, const char *end,
                                         struct json_number *out) {
    struct decimal decimal = {0};
    const bool negative = *at < end && **at == '-';
    const char *const first = *at + negative;
    *at = first;
    if (!is_digit(first, end))
        return JSON_NUMBER_WRONG;
    *at = *first == '0' ? first + 1 : take_digits(first, end, false, &decimal);
    if (is_digit(*at, end)) /* after a nought */
        return JSON_NUMBER_WRONG;
    if (*at == end || (**at != '.' && **at != 'e' && **at != 'E'))
        return finish_whole(&decimal, negative, out);

    if (**at == '.') {
        (*at)++;
        if (!is_digit(*at, end))
            return JSON_NUMBER_WRONG;
        *at = take_digits(*at, end, true, &decimal);
    }
    const char *const behind_digits = *at;
    int64_t exponent = 0;
    if (*at < end && (**at == 'e' || **at == 'E')) {
        (*at)++;
        if (!take_exponent(at, end, &exponent))
            return JSON_NUMBER_WRONG;
    }
    const int64_t power = decimal.exponent + exponent;
    double real;
    if (decimal.significand <= EXACT_BOUND && power >= -EXACT_POWER && power <= EXACT_POWER)
        real = power < 0 ? (double)decimal.significand / power_of_ten[-power]
                         : (double)decimal.significand * power_of_ten[power];
    else
        real = real_of_digits(first, behind_digits, exponent);
    if (isinf(real))
        return JSON_NUMBER_TOO_LARGE;
    out->is_whole = false;
    out->real = negative ? -real : real;
    return JSON_NUMBER_READ;
}
