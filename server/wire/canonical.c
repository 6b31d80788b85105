/* SPDX-License-Identifier: MIT */
/* canonical: a tree is walked once; what has to be sorted is sorted as pointers. */
#include "server/wire/canonical.h"

#include <assert.h>
#include <math.h>
#include <sodium.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/real.h"

#define DIGITS_MAX 17
#define DIGITS_SAFE 15 /* a decimal of so many digits survives the way through a normal double */
#define POINT_LAST 21  /* ECMA-262: from here on numbers have an exponent */
#define POINT_FIRST (-6)
/* Where real.h writes as ECMA-262 does, powers of two apart. */
#define PLAIN_LEAST 1e-4
#define PLAIN_BOUND 1e15

/* A decimal 0.d1d2d3... x 10^point. */
struct decimal {
    char digit[DIGITS_MAX + 1];
    int digits;
    int point;
};

static double decimal_value(const struct decimal *decimal) {
    char text[DIGITS_MAX + 16];
    snprintf(text, sizeof text, "0.%se%d", decimal->digit, decimal->point);
    return strtod(text, NULL);
}

/* value, positive and finite, correctly rounded to so many digits; final zeros dropped. */
static struct decimal decimal_round(double value, int digits) {
    char text[DIGITS_MAX + 16];
    struct decimal decimal = {.digits = digits};
    snprintf(text, sizeof text, "%.*e", digits - 1, value);
    decimal.digit[0] = text[0];
    if (digits > 1)
        memcpy(decimal.digit + 1, text + 2, (size_t)digits - 1);
    decimal.point = (int)strtol(strchr(text, 'e') + 1, NULL, 10) + 1;
    while (decimal.digits > 1 && decimal.digit[decimal.digits - 1] == '0')
        decimal.digit[--decimal.digits] = '\0';
    return decimal;
}

/* The next larger decimal of so many digits. */
static struct decimal decimal_above(struct decimal decimal, int digits) {
    while (decimal.digits < digits)
        decimal.digit[decimal.digits++] = '0';
    int at = digits - 1;
    for (; at >= 0 && decimal.digit[at] == '9'; at--)
        decimal.digit[at] = '0';
    if (at >= 0) {
        decimal.digit[at]++;
    } else {
        decimal.digit[0] = '1';
        decimal.point++;
    }
    while (decimal.digits > 1 && decimal.digit[decimal.digits - 1] == '0')
        decimal.digit[--decimal.digits] = '\0';
    return decimal;
}

/* The shortest decimal that reads back as value, positive and finite. Below a power
 * of two doubles are closer together than above it: there the nearest decimal may
 * lie beyond the half-way mark while the one above still reads back. */
static struct decimal decimal_shortest(double value) {
    int exponent;
    const bool power_of_two = frexp(value, &exponent) == 0.5;
    for (int digits = isnormal(value) ? DIGITS_SAFE : 1; digits < DIGITS_MAX; digits++) {
        struct decimal nearest = decimal_round(value, digits);
        if (decimal_value(&nearest) == value)
            return nearest;
        if (!power_of_two)
            continue;
        struct decimal above = decimal_above(nearest, digits);
        if (decimal_value(&above) == value)
            return above;
    }
    return decimal_round(value, DIGITS_MAX);
}

void canonical_number(double value, char out[CANONICAL_NUMBER_SIZE]) {
    assert(isfinite(value));
    const size_t room = CANONICAL_NUMBER_SIZE;
    if (value == 0.0) {
        snprintf(out, room, "0");
        return;
    }
    int exponent;
    if (fabs(value) >= PLAIN_LEAST && fabs(value) < PLAIN_BOUND &&
        frexp(fabs(value), &exponent) != 0.5) {
        real_format(value, out, room); /* the same there, and quick */
        return;
    }
    const char *sign = value < 0.0 ? "-" : "";
    const struct decimal decimal = decimal_shortest(fabs(value));
    const char *digit = decimal.digit;
    const int digits = decimal.digits, point = decimal.point;
    static const char zeros[] = "000000000000000000000";
    if (point >= digits && point <= POINT_LAST)
        snprintf(out, room, "%s%s%.*s", sign, digit, point - digits, zeros);
    else if (point > 0 && point <= POINT_LAST)
        snprintf(out, room, "%s%.*s.%s", sign, point, digit, digit + point);
    else if (point > POINT_FIRST && point <= 0)
        snprintf(out, room, "%s0.%.*s%s", sign, -point, zeros, digit);
    else
        snprintf(out, room, "%s%c%s%se%+d", sign, digit[0], digits > 1 ? "." : "", digit + 1,
                 point - 1);
}

static void write_string(const char *utf8, size_t length, struct text *out) {
    static const char hex[] = "0123456789abcdef";
    const char *from = utf8, *end = utf8 + length;
    text_add(out, "\"", 1);
    for (const char *at = utf8; at < end; at++) {
        const unsigned char c = (unsigned char)*at;
        if (c >= 0x20 && c != '"' && c != '\\')
            continue;
        text_add(out, from, (size_t)(at - from));
        from = at + 1;
        const char *letter = c == '\b'   ? "b"
                             : c == '\t' ? "t"
                             : c == '\n' ? "n"
                             : c == '\f' ? "f"
                             : c == '\r' ? "r"
                             : c == '"'  ? "\""
                             : c == '\\' ? "\\"
                                         : NULL;
        const char unit[] = {'\\', 'u', '0', '0', hex[c >> 4], hex[c & 15]};
        if (letter != NULL)
            text_add(out, (const char[]){'\\', *letter}, 2);
        else
            text_add(out, unit, sizeof unit);
    }
    text_add(out, from, (size_t)(end - from));
    text_add(out, "\"", 1);
}

/* UTF-8 sorts as UTF-16 does, but for characters beyond U+FFFF (first byte F0 and
 * up): their surrogates come before U+E000 (first bytes EE and EF). */
static int by_utf16(const void *left, const void *right) {
    const unsigned char *a = *(const unsigned char *const *)left;
    const unsigned char *b = *(const unsigned char *const *)right;
    while (*a != '\0' && *a == *b) {
        a++;
        b++;
    }
    if (*a >= 0xEE && *b >= 0xEE && (*a >= 0xF0) != (*b >= 0xF0))
        return *a >= 0xF0 ? -1 : 1;
    return (*a > *b) - (*a < *b);
}

static void write_object(const json_t *object, struct text *out) {
    /* jansson iterates over a const object only through a cast; nothing is changed */
    json_t *members = (json_t *)(uintptr_t)object;
    const size_t count = json_object_size(object);
    const char **keys = calloc(count + 1, sizeof *keys);
    size_t n = 0;
    const char *key;
    json_t *value;
    if (keys == NULL) {
        out->failed = true;
        return;
    }
    json_object_foreach(members, key, value) keys[n++] = key;
    qsort(keys, n, sizeof *keys, by_utf16);
    text_add(out, "{", 1);
    for (size_t i = 0; i < n; i++) {
        if (i > 0)
            text_add(out, ",", 1);
        write_string(keys[i], strlen(keys[i]), out);
        text_add(out, ":", 1);
        canonical_write(json_object_get(object, keys[i]), out);
    }
    text_add(out, "}", 1);
    free(keys);
}

static void write_number(double value, struct text *out) {
    char digits[CANONICAL_NUMBER_SIZE];
    canonical_number(value, digits);
    text_put(out, digits);
}

void canonical_write(const json_t *value, struct text *out) {
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        write_object(value, out);
        return;
    case JSON_ARRAY:
        text_add(out, "[", 1);
        for (size_t i = 0; i < json_array_size(value); i++) {
            if (i > 0)
                text_add(out, ",", 1);
            canonical_write(json_array_get(value, i), out);
        }
        text_add(out, "]", 1);
        return;
    case JSON_STRING:
        write_string(json_string_value(value), json_string_length(value), out);
        return;
    case JSON_INTEGER:
    case JSON_REAL:
        write_number(json_number_value(value), out);
        return;
    case JSON_TRUE:
        text_put(out, "true");
        return;
    case JSON_FALSE:
        text_put(out, "false");
        return;
    case JSON_NULL:
        text_put(out, "null");
        return;
    }
}

int canonical_rewrite(const char *json, size_t length, struct text *out, struct err *err) {
    json_error_t error;
    json_t *value = json_loadb(
        json, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY | JSON_DECODE_INT_AS_REAL, &error);
    if (value == NULL)
        return err_set(err, ERR_BAD_JSON, NULL, "line %d, column %d: %s", error.line, error.column,
                       error.text);
    canonical_write(value, out);
    json_decref(value);
    return out->failed ? err_set(err, ERR_INTERNAL, NULL, "out of memory") : 0;
}

void canonical_sha256(const void *bytes, size_t length, char out[CANONICAL_SHA256_SIZE]) {
    unsigned char hash[crypto_hash_sha256_BYTES];
    _Static_assert(CANONICAL_SHA256_SIZE == 2 * sizeof hash + 1, "hex of the hash and a NUL");
    crypto_hash_sha256(hash, bytes, length);
    sodium_bin2hex(out, CANONICAL_SHA256_SIZE, hash, sizeof hash);
}
