/* SPDX-License-Identifier: MIT */
/* json_text: JSON as it is written (RFC 8259), read once from front to back, value after
 * value, without a tree of it and without memory. Strict: UTF-8 in its shortest form, no lone
 * surrogate, no NUL character in a text or key, no byte order mark, nothing after the one value,
 * numbers that int64_t or double can hold. The text needs no NUL behind it.
 *
 *     struct json_text text;
 *     json_text_init(&text, bytes, length);
 *     enum json_kind kind = json_text_value(&text);
 *     if (kind == JSON_KIND_OBJECT)
 *         for (size_t n = 0; json_text_member(&text, n); n++)
 *             ... text.string is the key; json_text_value reads what belongs to it
 *     else
 *         json_text_skip(&text, kind);
 *     int outcome = json_text_finish(&text, err);
 *
 * Whoever begins an object or a list reads to its end. From the first mistake on there is
 * nothing more to read, so that only the end asks about it. */
#ifndef NOONARC_JSON_TEXT_H
#define NOONARC_JSON_TEXT_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/json_number.h"

/* Objects and lists within one another; the deepest that anybody means has five. */
#define JSON_TEXT_DEPTH_MAX 64
/* No field holds so many bytes: of a text with escapes that is longer no more are kept. */
#define JSON_TEXT_KEPT 512

enum json_kind {
    JSON_KIND_WRONG, /* there is none: json_text_finish tells why */
    JSON_KIND_OBJECT,
    JSON_KIND_LIST,
    JSON_KIND_TEXT,
    JSON_KIND_NUMBER,
    JSON_KIND_TRUE,
    JSON_KIND_FALSE,
    JSON_KIND_NULL,
};

struct json_text {
    /* What was read last. */
    const char *string; /* of a text or key: no NUL behind it; until the next is read */
    size_t length;      /* of the text, in bytes; string has JSON_TEXT_KEPT of them at least */
    struct json_number number;
    /* Private from here on. */
    const char *begin, *at, *end;
    int depth;
    const char *token; /* where the value or key read last begins */
    const char *wrong; /* what is wrong; NULL: nothing so far */
    const char *wrong_at;
    char decoded[JSON_TEXT_KEPT];
};

/* bytes are borrowed until json_text_finish. */
void json_text_init(struct json_text *text, const char *bytes, size_t length);

/* Reads a text, number or word, or the beginning of an object or list. */
enum json_kind json_text_value(struct json_text *text);

/* Reads the key of the next member of an object that is open, after so many already.
 * False: the object ends. */
bool json_text_member(struct json_text *text, size_t already);

/* True when another element of the list that is open follows, after so many already.
 * False: the list ends. */
bool json_text_element(struct json_text *text, size_t already);

/* Reads to the end of a value of which json_text_value told the kind. */
void json_text_skip(struct json_text *text, enum json_kind kind);

/* The key just read stands in its object already: a mistake like any other. */
void json_text_refuse_twice(struct json_text *text);

/* -1 unless all of it was one value of JSON: ERR_BAD_JSON with line and column, both from 1,
 * of the first character that is wrong; of the last one when the text ends too early. */
int json_text_finish(struct json_text *text, struct err *err) __attribute__((warn_unused_result));

#endif
