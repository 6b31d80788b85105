/* SPDX-License-Identifier: MIT */
/* json_read: a JSON body into a record through a field table, straight from the text.
 * Refused: anything that is not one JSON object (RFC 8259; json_text.h), a known key
 * twice, an unknown key, a wrong type (a boolean or a string is never a number), a number
 * out of range; NaN and infinities cannot be written in JSON, and numbers too large for a
 * double are refused. Errors name the field by JSON pointer (RFC 6901). */
#ifndef NOONARC_JSON_READ_H
#define NOONARC_JSON_READ_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/field.h"

/* How a key stands in a body: not at all, with null, with a value. */
enum json_said { JSON_UNSAID = 0, JSON_SAID_NULL, JSON_SAID };

/* Fills record, which holds the defaults already; elements of lists have none, so that
 * their reals are NAN where they are left out. null counts as absent for a field that is
 * not required. said, unless NULL, tells of every row of the table how its key stood
 * there. Of several errors the first is told, and what is wrong with the JSON before what
 * is wrong with a field: ERR_BAD_JSON with line and column. On failure record is partly
 * filled: throw it away. */
int json_read_record(const char *bytes, size_t length, const struct field_table *table,
                     void *record, enum json_said said[FIELD_TABLE_MAX], struct err *err)
    __attribute__((warn_unused_result));

#endif
