/* SPDX-License-Identifier: MIT */
/* schema: the part of JSON Schema 2020-12 that openapi.json uses: $ref within
 * the document, type (one or a list), required, properties, additionalProperties
 * false, items, enum, anyOf, minimum, maximum, exclusiveMinimum, minLength,
 * maxLength, minItems, maxItems. description, default, format and pattern are
 * passed over; any other keyword fails the check, so that nothing is believed
 * checked that is not. */
#ifndef NOONARC_SCHEMA_H
#define NOONARC_SCHEMA_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

/* Follows "#/a/b" within document; the schema itself when it has no $ref. NULL
 * when there is nothing at the end. */
const json_t *schema_resolve(const json_t *document, const json_t *schema);

/* True when value is as schema says; otherwise why tells where and what. */
bool schema_accepts(const json_t *document, const json_t *schema, const json_t *value, char *why,
                    size_t size);

#endif
