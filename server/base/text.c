/* SPDX-License-Identifier: MIT */
/* text: growth by doubling up to the buffer's own maximum. */
#include "server/base/text.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char empty[1];

void text_init(struct text *text, size_t maximum) {
    assert(maximum < SIZE_MAX / 4); /* so that sums and doubling cannot wrap */
    *text = (struct text){.bytes = empty, .maximum = maximum};
}

void text_release(struct text *text) {
    if (text->capacity != 0)
        free(text->bytes);
    text_init(text, text->maximum);
}

static bool reserve(struct text *text, size_t more) {
    if (text->failed || more > text->maximum - text->length) {
        text->failed = true;
        return false;
    }
    const size_t wanted = text->length + more + 1;
    if (wanted <= text->capacity)
        return true;
    size_t capacity = text->capacity < 256 ? 256 : text->capacity;
    while (capacity < wanted)
        capacity *= 2;
    if (capacity > text->maximum + 1)
        capacity = text->maximum + 1;
    char *bytes = realloc(text->capacity != 0 ? text->bytes : NULL, capacity);
    if (bytes == NULL) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->capacity = capacity;
    return true;
}

void text_add(struct text *text, const void *bytes, size_t length) {
    if (!reserve(text, length))
        return;
    if (length > 0)
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

char *text_grow(struct text *text, size_t most) {
    return reserve(text, most) ? text->bytes + text->length : NULL;
}

#define INTEGER_DIGITS 20 /* with a sign */

void text_put_integer(struct text *text, int64_t value) {
    char digits[INTEGER_DIGITS];
    size_t at = sizeof digits;
    uint64_t rest = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
    do {
        digits[--at] = (char)('0' + rest % 10);
        rest /= 10;
    } while (rest > 0);
    if (value < 0)
        digits[--at] = '-';
    text_add(text, digits + at, sizeof digits - at);
}

void text_put(struct text *text, const char *string) {
    text_add(text, string, strlen(string));
}

void text_format(struct text *text, const char *format, ...) {
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length < 0)
        text->failed = true;
    else if (reserve(text, (size_t)length)) {
        vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
}

void text_number(double value, char out[TEXT_NUMBER_MAX]) {
    bool plain = value == floor(value) && fabs(value) < 1e16;
    snprintf(out, TEXT_NUMBER_MAX, plain ? "%.0f" : "%.15g", value);
}

char *text_take(struct text *text) {
    if (text->failed || !reserve(text, 0))
        return NULL;
    char *bytes = text->bytes;
    bytes[text->length] = '\0';
    text->capacity = 0;
    text_init(text, text->maximum);
    return bytes;
}
