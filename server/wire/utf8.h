/* SPDX-License-Identifier: MIT */
/* utf8: reading UTF-8 strictly (RFC 3629) and telling a few classes of
 * characters apart, the same on every machine whatever its locale. */
#ifndef NOONARC_UTF8_H
#define NOONARC_UTF8_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Reads one character of [*at, end) and moves on. False, unmoved, on anything
 * that is not the shortest form of a Unicode scalar value, or at the end. */
bool utf8_next(const char **at, const char *end, uint32_t *code);

/* Writes one character, a Unicode scalar value, in its 1 to 4 bytes; returns how many. */
size_t utf8_put(uint32_t code, char out[4]);

/* Characters with no place in a line of text: C0, DEL, C1, line and paragraph
 * separators, marks that turn the reading direction, byte order mark, tag
 * characters, noncharacters. */
bool utf8_is_control(uint32_t code);

bool utf8_is_blank(uint32_t code);

/* True for what a name may begin with: ASCII letters and digits, and beyond ASCII
 * everything but blanks, punctuation, symbols, combining marks and private
 * characters (by their Unicode blocks, so generous towards rare signs). */
bool utf8_is_wordlike(uint32_t code);

/* What may be shown of a stranger's text in an error: its whole characters that fit
 * into size bytes (at least 8), unreadable and control characters as question
 * marks, an ellipsis where it was cut. Always valid UTF-8 and terminated. */
void utf8_show(const char *text, char *out, size_t size);

/* Largest count of whole characters within the first maximum bytes of text. */
size_t utf8_cut(const char *text, size_t length, size_t maximum);

#endif
