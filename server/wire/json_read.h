/* SPDX-License-Identifier: MIT */
/* json_read: a JSON body into a record through a field table. Refused: anything
 * that is not one JSON object (RFC 8259), a key twice, an unknown key, a wrong
 * type (a boolean or a string is never a number), a number out of range; NaN and
 * infinities cannot be written in JSON, and numbers too large for a double are
 * refused. Errors name the field by JSON pointer (RFC 6901). */
#ifndef NOONARC_JSON_READ_H
#define NOONARC_JSON_READ_H

#include <jansson.h>
#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/field.h"

/* Parses; the caller owns *out (json_decref). ERR_BAD_JSON with line and column,
 * ERR_WRONG_TYPE when it is not an object. */
int json_read_object(const char *bytes, size_t length, json_t **out, struct err *err)
    __attribute__((warn_unused_result));

/* Fills record, which holds the defaults already, from an object. pointer is the
 * JSON pointer of the object: "" for the body itself. null counts as absent for
 * a field that is not required. On failure record is partly filled: throw it away. */
int json_read_fields(const json_t *object, const struct field_table *table, const char *pointer,
                     void *record, struct err *err) __attribute__((warn_unused_result));

#endif
