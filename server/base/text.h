/* SPDX-License-Identifier: MIT */
/* text: a growing, always NUL-terminated byte buffer with a hard maximum, for
 * building answers and reading files. A buffer that hits its maximum or runs
 * out of memory turns failed and stays so: check once at the end. */
#ifndef NOONARC_TEXT_H
#define NOONARC_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct text {
    char *bytes;     /* never NULL after text_init; owned */
    size_t length;   /* bytes before the NUL */
    size_t capacity; /* bytes allocated, at most maximum + 1; 0 while bytes points at a
                        constant "" */
    size_t maximum;  /* length never exceeds this */
    bool failed;
};

/* An empty buffer that may grow to maximum bytes, which is below SIZE_MAX / 4. */
void text_init(struct text *text, size_t maximum);

/* Frees the bytes and leaves an empty buffer of the same maximum. */
void text_release(struct text *text);

/* Appends; on failure the buffer is marked failed and keeps what it had. */
void text_add(struct text *text, const void *bytes, size_t length);
void text_put(struct text *text, const char *string);
void text_put_integer(struct text *text, int64_t value);
void text_format(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Room for `most` bytes more, for a caller that writes there itself, at most so many,
 * and then says how many they were. NULL: the buffer has failed. */
char *text_grow(struct text *text, size_t most);
static inline char *text_room(struct text *text, size_t most) {
    return !text->failed && most < text->capacity - text->length ? text->bytes + text->length
                                                                 : text_grow(text, most);
}
static inline void text_wrote(struct text *text, size_t length) {
    text->length += length;
    text->bytes[text->length] = '\0';
}

/* A number as people write it: plain digits where it is whole and below 10^16, else
 * at most 15 significant ones. */
#define TEXT_NUMBER_MAX 32
void text_number(double value, char out[TEXT_NUMBER_MAX]);

/* Hands the bytes to the caller, who frees them with free(); the buffer is
 * empty afterwards. Returns NULL when the buffer has failed. */
char *text_take(struct text *text);

#endif
