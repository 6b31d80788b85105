/* SPDX-License-Identifier: MIT */
/* json_write: JSON text straight into a text buffer, without a tree. Inside an
 * object every call gives the key, inside an array and at the top key is NULL.
 * Real numbers have the fewest digits that give the same double again; NAN and
 * infinities become null. Failure is the buffer's: check text->failed once.
 *
 *     struct json_writer json;
 *     json_write_init(&json, &text);
 *     json_write_object(&json, NULL);
 *     record_write_site(&json, "site", &site);
 *     json_write_text(&json, "school_key", key);
 *     json_write_end(&json);
 */
#ifndef NOONARC_JSON_WRITE_H
#define NOONARC_JSON_WRITE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/text.h"

#define JSON_WRITE_DEPTH 24

struct json_writer {
    struct text *text; /* borrowed */
    int depth;
    bool is_array[JSON_WRITE_DEPTH];
    bool has_member[JSON_WRITE_DEPTH];
};

void json_write_init(struct json_writer *json, struct text *text);

/* Opens an object or an array; json_write_end closes the innermost. */
void json_write_object(struct json_writer *json, const char *key);
void json_write_array(struct json_writer *json, const char *key);
void json_write_end(struct json_writer *json);

void json_write_text(struct json_writer *json, const char *key, const char *utf8); /* NULL: null */
void json_write_text_or_null(struct json_writer *json, const char *key,
                             const char *utf8); /* "": null */
void json_write_real(struct json_writer *json, const char *key, double value);
void json_write_integer(struct json_writer *json, const char *key, int64_t value);
void json_write_bool(struct json_writer *json, const char *key, bool value);
void json_write_null(struct json_writer *json, const char *key);

/* RFC 3339 UTC with 0..6 decimals or INSTANT_SHORTEST; NAN: null. YYYY-MM-DD. */
void json_write_instant(struct json_writer *json, const char *key, double t_utc_s, int decimals);
void json_write_date(struct json_writer *json, const char *key, int32_t day_number);

/* A value that is JSON text already: a stored reduction, the body of a run. */
void json_write_raw(struct json_writer *json, const char *key, const char *text, size_t length);

#endif
