/* SPDX-License-Identifier: MIT */
/* canonical: JSON in the one form that RFC 8785 leaves for it, so that equal
 * documents are equal bytes and can be named by a hash: no blanks, members in the
 * order of the UTF-16 units of their keys, the shortest escapes, numbers as
 * ECMAScript writes them. */
#ifndef NOONARC_CANONICAL_H
#define NOONARC_CANONICAL_H

#include <jansson.h>
#include <stddef.h>

#include "server/base/err.h"
#include "server/base/text.h"

#define CANONICAL_NUMBER_SIZE 48 /* with the NUL; roomy: the longest number has 25 characters */

/* A finite double: the fewest digits that give the same double again, of those the
 * nearest to it, laid out as ECMA-262 Number::toString does. -0 is "0". */
void canonical_number(double value, char out[CANONICAL_NUMBER_SIZE]);

/* Appends a value in canonical form. Whole numbers go through double, as they do in
 * every reader of JSON that has no other. Failure is the buffer's. */
void canonical_write(const json_t *value, struct text *out);

/* The same for JSON text: one value, no key twice. ERR_BAD_JSON otherwise. */
int canonical_rewrite(const char *json, size_t length, struct text *out, struct err *err)
    __attribute__((warn_unused_result));

#define CANONICAL_SHA256_SIZE 65 /* hex and the NUL */

/* SHA-256 (FIPS 180-4) as lower-case hex, as `sha256sum` prints it. */
void canonical_sha256(const void *bytes, size_t length, char out[CANONICAL_SHA256_SIZE]);

#endif
