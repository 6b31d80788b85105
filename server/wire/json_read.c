/* SPDX-License-Identifier: MIT */
/* json_read: jansson parses, the field table decides. */
#include "server/wire/json_read.h"

#include <assert.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/json_room.h"
#include "server/wire/utf8.h"

#define POINTER_MAX 96 /* as err.field */
#define KEY_SHOWN_MAX 40

static const char *describe(const json_error_t *error) {
    switch (json_error_code(error)) {
    case json_error_duplicate_key:
        return "a key stands there twice";
    case json_error_numeric_overflow:
        return "a number there is too large";
    case json_error_invalid_utf8:
        return "the text there is not UTF-8";
    case json_error_null_character:
    case json_error_null_byte_in_key:
        return "a text there holds a NUL character";
    case json_error_premature_end_of_input:
        return "the text ends too early";
    case json_error_end_of_input_expected:
        return "something follows after the end";
    case json_error_stack_overflow:
        return "the nesting is too deep";
    default:
        return "the syntax is wrong there";
    }
}

int json_read_object(const char *bytes, size_t length, json_t **out, struct err *err) {
    json_error_t error;
    json_room_begin();
    json_t *root = json_loadb(bytes, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    if (json_room_was_short()) {
        json_decref(root);
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    }
    if (root == NULL)
        return err_set(err, ERR_BAD_JSON, NULL, "line %d, column %d: %s", error.line, error.column,
                       describe(&error));
    if (!json_is_object(root)) {
        json_decref(root);
        return err_set(err, ERR_WRONG_TYPE, NULL, "the body is one JSON object, in braces");
    }
    *out = root;
    return 0;
}

static void join_key(const char *pointer, const char *key, char out[POINTER_MAX]) {
    assert(strlen(pointer) + 1 + strlen(key) < POINTER_MAX); /* our keys are short, nest little */
    char *at = stpcpy(out, pointer);
    *at++ = '/';
    stpcpy(at, key);
}

static void join_index(const char *pointer, size_t index, char out[POINTER_MAX]) {
    char digits[24];
    size_t at = sizeof digits - 1;
    digits[at] = '\0';
    do {
        digits[--at] = (char)('0' + index % 10);
        index /= 10;
    } while (index > 0);
    join_key(pointer, digits + at, out);
}

/* The pointer of a stranger's key: cut at a character, escaped (RFC 6901 sec. 3),
 * control characters shown as a question mark. */
static void join_strange_key(const char *pointer, const char *key, char out[POINTER_MAX]) {
    const char *at = key, *end = key + utf8_cut(key, strlen(key), KEY_SHOWN_MAX);
    size_t length = (size_t)snprintf(out, POINTER_MAX, "%s/", pointer);
    uint32_t code;
    for (const char *from = at; utf8_next(&at, end, &code) && length + 6 < POINTER_MAX; from = at) {
        const char *piece = code == '~'             ? "~0"
                            : code == '/'           ? "~1"
                            : utf8_is_control(code) ? "?"
                                                    : from;
        size_t bytes = piece == from ? (size_t)(at - from) : strlen(piece);
        memcpy(out + length, piece, bytes);
        length += bytes;
    }
    out[length] = '\0';
}

static const char *type_name(const json_t *value) {
    switch (json_typeof(value)) {
    case JSON_OBJECT:
        return "an object";
    case JSON_ARRAY:
        return "a list";
    case JSON_STRING:
        return "a text";
    case JSON_INTEGER:
    case JSON_REAL:
        return "a number";
    case JSON_TRUE:
    case JSON_FALSE:
        return "true or false";
    case JSON_NULL:
        break;
    }
    return "null";
}

static int refuse_type(const json_t *value, const char *wanted, const char *pointer,
                       struct err *err) {
    return err_set(err, ERR_WRONG_TYPE, pointer, "%s belongs here, not %s", wanted,
                   type_name(value));
}

static int read_list(const json_t *list, const struct field *field, const char *pointer,
                     void *record, struct err *err);

static int read_value(const json_t *value, const struct field *field, const char *pointer,
                      void *record, struct err *err) {
    if (field_is_text(field->kind)) {
        if (!json_is_string(value))
            return refuse_type(value, "a text", pointer, err);
        return field_set_text(field, json_string_value(value), json_string_length(value), record,
                              pointer, err);
    }
    switch (field->kind) {
    case FIELD_REAL:
        if (!json_is_number(value))
            return refuse_type(value, "a number", pointer, err);
        return field_set_real(field, json_number_value(value), record, pointer, err);
    case FIELD_RUN_ID:
        if (!json_is_integer(value))
            return refuse_type(value, "a whole number", pointer, err);
        return field_set_real(field, (double)json_integer_value(value), record, pointer, err);
    case FIELD_BOOL:
        if (!json_is_boolean(value))
            return refuse_type(value, "true or false", pointer, err);
        field_set_bool(field, json_is_true(value), record);
        return 0;
    case FIELD_OBJECT:
        if (!json_is_object(value))
            return refuse_type(value, "an object", pointer, err);
        return json_read_fields(value, field->inner, pointer, (char *)record + field->offset, err);
    case FIELD_LIST:
        if (!json_is_array(value))
            return refuse_type(value, "a list", pointer, err);
        return read_list(value, field, pointer, record, err);
    default:
        return err_set(err, ERR_INTERNAL, pointer, "the field table does not know this kind");
    }
}

static int read_list(const json_t *list, const struct field *field, const char *pointer,
                     void *record, struct err *err) {
    size_t count = json_array_size(list);
    if ((double)count < field->min || (double)count > field->max)
        return err_set(err, ERR_OUT_OF_RANGE, pointer, "%.0f to %.0f belong in this list, not %zu",
                       field->min, field->max, count);
    const struct field_table *inner = field->inner;
    bool is_values = inner->fields == 1 && inner->field[0].key == NULL;
    for (size_t i = 0; i < count; i++) {
        char place[POINTER_MAX];
        join_index(pointer, i, place);
        void *element = (char *)record + field->offset + i * field->stride;
        const json_t *value = json_array_get(list, i);
        if (is_values) {
            if (read_value(value, &inner->field[0], place, element, err) < 0)
                return -1;
        } else if (!json_is_object(value)) {
            return refuse_type(value, "an object", place, err);
        } else if (json_read_fields(value, inner, place, element, err) < 0) {
            return -1;
        }
    }
    int filled = (int)count;
    memcpy((char *)record + field->count_offset, &filled, sizeof filled);
    return 0;
}

int json_read_fields(const json_t *object, const struct field_table *table, const char *pointer,
                     void *record, struct err *err) {
    assert(table->fields <= FIELD_TABLE_MAX);
    bool seen[FIELD_TABLE_MAX] = {false};
    char place[POINTER_MAX];
    /* jansson iterates over a const object only through a cast; nothing is changed */
    json_t *members = (json_t *)(uintptr_t)object;
    const char *key;
    json_t *value;
    json_object_foreach(members, key, value) {
        const struct field *field = field_find(table, key);
        if (field == NULL) {
            join_strange_key(pointer, key, place);
            return err_set(err, ERR_UNKNOWN_FIELD, place, "%s has no such field", table->what);
        }
        if (json_is_null(value) && !field->required)
            continue;
        join_key(pointer, key, place);
        if (read_value(value, field, place, record, err) < 0)
            return -1;
        seen[field - table->field] = true;
    }
    for (size_t i = 0; i < table->fields; i++)
        if (table->field[i].required && !seen[i]) {
            join_key(pointer, table->field[i].key, place);
            return err_set(err, ERR_MISSING_FIELD, place, "%s needs it", table->what);
        }
    return 0;
}
