/* SPDX-License-Identifier: MIT */
/* json_write: commas, escapes and numbers. */
#include "server/wire/json_write.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/wire/real.h"

void json_write_init(struct json_writer *json, struct text *text) {
    *json = (struct json_writer){.text = text};
}

/* Whether each byte stands for itself in a string. */
static const bool stands_for_itself[256] = {
    [0x20] = true,          [0x21] = true,          [0x23 ... 0x5B] = true,
    [0x5D ... 0x7E] = true, [0x80 ... 0xFF] = true,
};

/* Up to the first byte that needs an escape, or the end. */
static size_t plain_length(const char *utf8) {
    size_t length = 0;
    while (stands_for_itself[(unsigned char)utf8[length]])
        length++;
    return length;
}

/* Most texts need no escape. */
static void put_plain(struct text *text, const char *utf8, size_t length) {
    char *out = text_room(text, length + 2);
    if (out == NULL)
        return;
    out[0] = '"';
    memcpy(out + 1, utf8, length);
    out[length + 1] = '"';
    text_wrote(text, length + 2);
}

static void put_string(struct text *text, const char *utf8) {
    static const char hex[] = "0123456789abcdef";
    const char *from = utf8, *at = utf8 + plain_length(utf8);
    if (*at == '\0') {
        put_plain(text, utf8, (size_t)(at - utf8));
        return;
    }
    text_add(text, "\"", 1);
    for (; *at != '\0'; at++) {
        unsigned char c = (unsigned char)*at;
        if (stands_for_itself[c])
            continue;
        text_add(text, from, (size_t)(at - from));
        from = at + 1;
        char escape[6] = {'\\', 'u', '0', '0', hex[c >> 4], hex[c & 15]};
        if (c == '"' || c == '\\')
            text_add(text, (char[]){'\\', (char)c}, 2);
        else
            text_add(text, escape, sizeof escape);
    }
    text_add(text, from, (size_t)(at - from));
    text_add(text, "\"", 1);
}

static char *put_bytes(char *out, const char *bytes, size_t length) {
    memcpy(out, bytes, length);
    return out + length;
}

/* What stands before any value: a comma where one is due, and the key. */
static void begin_value(struct json_writer *json, const char *key) {
    bool comma = false;
    if (json->depth > 0) {
        int level = json->depth - 1;
        assert((key == NULL) == json->is_array[level]);
        comma = json->has_member[level];
        json->has_member[level] = true;
    }
    const size_t length = key != NULL ? plain_length(key) : 0;
    char *const begin = text_room(json->text, length + 4), *out = begin;
    if (out == NULL)
        return;
    if (comma)
        *out++ = ',';
    if (key != NULL && key[length] == '\0') {
        *out++ = '"';
        out = put_bytes(out, key, length);
        *out++ = '"';
        *out++ = ':';
    }
    text_wrote(json->text, (size_t)(out - begin));
    if (key != NULL && key[length] != '\0') {
        put_string(json->text, key);
        text_add(json->text, ":", 1);
    }
}

static void open_level(struct json_writer *json, const char *key, bool is_array) {
    assert(json->depth < JSON_WRITE_DEPTH);
    begin_value(json, key);
    text_add(json->text, is_array ? "[" : "{", 1);
    json->is_array[json->depth] = is_array;
    json->has_member[json->depth] = false;
    json->depth++;
}

void json_write_object(struct json_writer *json, const char *key) {
    open_level(json, key, false);
}

void json_write_array(struct json_writer *json, const char *key) {
    open_level(json, key, true);
}

void json_write_end(struct json_writer *json) {
    assert(json->depth > 0);
    json->depth--;
    text_add(json->text, json->is_array[json->depth] ? "]" : "}", 1);
}

void json_write_text(struct json_writer *json, const char *key, const char *utf8) {
    begin_value(json, key);
    if (utf8 != NULL)
        put_string(json->text, utf8);
    else
        text_put(json->text, "null");
}

void json_write_text_or_null(struct json_writer *json, const char *key, const char *utf8) {
    json_write_text(json, key, utf8[0] != '\0' ? utf8 : NULL);
}

void json_write_real(struct json_writer *json, const char *key, double value) {
    begin_value(json, key);
    if (!isfinite(value)) {
        text_put(json->text, "null");
        return;
    }
    char *out = text_room(json->text, REAL_TEXT);
    if (out != NULL)
        text_wrote(json->text, real_format(value, out, REAL_TEXT));
}

void json_write_integer(struct json_writer *json, const char *key, int64_t value) {
    begin_value(json, key);
    text_put_integer(json->text, value);
}

void json_write_bool(struct json_writer *json, const char *key, bool value) {
    begin_value(json, key);
    text_put(json->text, value ? "true" : "false");
}

void json_write_null(struct json_writer *json, const char *key) {
    json_write_text(json, key, NULL);
}

void json_write_instant(struct json_writer *json, const char *key, double t_utc_s, int decimals) {
    char out[INSTANT_TEXT];
    instant_format(t_utc_s, decimals, out, sizeof out);
    json_write_text_or_null(json, key, out);
}

void json_write_date(struct json_writer *json, const char *key, int32_t day_number) {
    char out[DATE_TEXT];
    date_format(day_number, out);
    json_write_text(json, key, out);
}

void json_write_raw(struct json_writer *json, const char *key, const char *text, size_t length) {
    begin_value(json, key);
    text_add(json->text, text, length);
}
