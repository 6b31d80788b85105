/* SPDX-License-Identifier: MIT */
/* json_read: the scanner walks, the field table decides. After the first field that is
 * refused the walk goes on, for the rest of the text may be no JSON. */
#include "server/wire/json_read.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "server/wire/json_text.h"
#include "server/wire/utf8.h"

#define POINTER_MAX 96 /* as err.field */
#define KEY_SHOWN_MAX 40

_Static_assert(JSON_TEXT_KEPT >= FIELD_TEXT_MAX, "a text that fits its field is whole");

struct reader {
    struct json_text text;
    struct err err; /* of the first field that was refused */
};

/* A step on the way from the body to a value: a pointer is made of them when an error
 * needs one. */
struct step {
    const struct step *above; /* NULL: the body */
    const char *key;          /* NULL: an element of a list */
    size_t index;
};

static size_t put_pointer(const struct step *step, char out[POINTER_MAX]) {
    if (step == NULL) {
        out[0] = '\0';
        return 0;
    }
    const size_t length = put_pointer(step->above, out), room = POINTER_MAX - length;
    const int added = step->key != NULL ? snprintf(out + length, room, "/%s", step->key)
                                        : snprintf(out + length, room, "/%zu", step->index);
    assert(added >= 0 && (size_t)added < room); /* our keys are short, nest little */
    return length + (size_t)added;
}

/* The place of the error that was just set, unless it is a later one. */
static void set_place(struct reader *reader, const struct step *at) {
    char pointer[POINTER_MAX];
    if (reader->err.field[0] != '\0')
        return;
    put_pointer(at, pointer);
    err_at(&reader->err, pointer);
}

/* The pointer of a stranger's key: cut at a character, escaped (RFC 6901 sec. 3),
 * control characters shown as a question mark. */
static void refuse_key(struct reader *reader, const struct field_table *table,
                       const struct step *object) {
    const char *key = reader->text.string;
    const char *at = key, *end = key + utf8_cut(key, reader->text.length, KEY_SHOWN_MAX);
    char pointer[POINTER_MAX];
    uint32_t code;
    size_t length = put_pointer(object, pointer);
    pointer[length++] = '/';
    for (const char *from = at; utf8_next(&at, end, &code) && length + 6 < POINTER_MAX; from = at) {
        const char *piece = code == '~'             ? "~0"
                            : code == '/'           ? "~1"
                            : utf8_is_control(code) ? "?"
                                                    : from;
        size_t bytes = piece == from ? (size_t)(at - from) : strlen(piece);
        memcpy(pointer + length, piece, bytes);
        length += bytes;
    }
    pointer[length] = '\0';
    err_set(&reader->err, ERR_UNKNOWN_FIELD, pointer, "%s has no such field", table->what);
}

static void refuse_type(struct reader *reader, enum json_kind kind, const char *wanted,
                        const struct step *at) {
    static const char *const names[] = {
        [JSON_KIND_OBJECT] = "an object",   [JSON_KIND_LIST] = "a list",
        [JSON_KIND_TEXT] = "a text",        [JSON_KIND_NUMBER] = "a number",
        [JSON_KIND_TRUE] = "true or false", [JSON_KIND_FALSE] = "true or false",
        [JSON_KIND_NULL] = "null",
    };
    if (kind == JSON_KIND_WRONG)
        return;
    err_set(&reader->err, ERR_WRONG_TYPE, NULL, "%s belongs here, not %s", wanted, names[kind]);
    set_place(reader, at);
    json_text_skip(&reader->text, kind);
}

static void read_object(struct reader *reader, const struct field_table *table,
                        const struct step *at, void *record, enum json_said said[FIELD_TABLE_MAX]);
static void read_list(struct reader *reader, const struct field *field, const struct step *at,
                      void *record);

/* What was begun with a kind. */
static void read_value(struct reader *reader, enum json_kind kind, const struct field *field,
                       const struct step *at, void *record) {
    const struct json_text *text = &reader->text;
    enum json_said said[FIELD_TABLE_MAX];
    int outcome = 0;
    switch (field->kind) {
    case FIELD_REAL:
        if (kind != JSON_KIND_NUMBER)
            refuse_type(reader, kind, "a number", at);
        else
            outcome = field_set_real(field, text->number.real, record, &reader->err);
        break;
    case FIELD_RUN_ID:
        if (kind != JSON_KIND_NUMBER || !text->number.is_whole)
            refuse_type(reader, kind, "a whole number", at);
        else
            outcome = field_set_real(field, text->number.real, record, &reader->err);
        break;
    case FIELD_BOOL:
        if (kind != JSON_KIND_TRUE && kind != JSON_KIND_FALSE)
            refuse_type(reader, kind, "true or false", at);
        else
            field_set_bool(field, kind == JSON_KIND_TRUE, record);
        break;
    case FIELD_OBJECT:
        if (kind != JSON_KIND_OBJECT)
            refuse_type(reader, kind, "an object", at);
        else
            read_object(reader, field->inner, at, (char *)record + field->offset, said);
        break;
    case FIELD_LIST:
        if (kind != JSON_KIND_LIST)
            refuse_type(reader, kind, "a list", at);
        else
            read_list(reader, field, at, record);
        break;
    default:
        if (kind != JSON_KIND_TEXT)
            refuse_type(reader, kind, "a text", at);
        else
            outcome = field_set_text(field, text->string, text->length, record, &reader->err);
        break;
    }
    if (outcome != 0)
        set_place(reader, at);
}

/* An object of a list: it has no defaults. */
static void read_element(struct reader *reader, enum json_kind kind,
                         const struct field_table *table, const struct step *at, void *element) {
    enum json_said said[FIELD_TABLE_MAX];
    const double absent = NAN;
    if (kind != JSON_KIND_OBJECT) {
        refuse_type(reader, kind, "an object", at);
        return;
    }
    read_object(reader, table, at, element, said);
    for (size_t i = 0; i < table->fields; i++)
        if (said[i] != JSON_SAID && table->field[i].kind == FIELD_REAL)
            memcpy((char *)element + table->field[i].offset, &absent, sizeof absent);
}

static void read_list(struct reader *reader, const struct field *field, const struct step *at,
                      void *record) {
    const struct field_table *inner = field->inner;
    const bool is_values = inner->fields == 1 && inner->field[0].key == NULL;
    const size_t most = (size_t)field->max;
    const bool first = reader->err.code == ERR_NONE;
    size_t count = 0;
    for (; json_text_element(&reader->text, count); count++) {
        const struct step step = {.above = at, .index = count};
        const enum json_kind kind = json_text_value(&reader->text);
        /* those too many fall on the last: the list is refused anyway */
        const size_t slot = count < most ? count : most - 1;
        void *element = (char *)record + field->offset + slot * field->stride;
        if (is_values)
            read_value(reader, kind, &inner->field[0], &step, element);
        else
            read_element(reader, kind, inner, &step, element);
    }
    if ((double)count < field->min || count > most) {
        if (first) /* how many there are counts before what they are */
            err_clear(&reader->err);
        err_set(&reader->err, ERR_OUT_OF_RANGE, NULL, "%.0f to %.0f belong in this list, not %zu",
                field->min, field->max, count);
        set_place(reader, at);
        return;
    }
    const int filled = (int)count;
    memcpy((char *)record + field->count_offset, &filled, sizeof filled);
}

static void read_object(struct reader *reader, const struct field_table *table,
                        const struct step *at, void *record, enum json_said said[FIELD_TABLE_MAX]) {
    struct json_text *text = &reader->text;
    assert(table->fields <= FIELD_TABLE_MAX);
    memset(said, JSON_UNSAID, FIELD_TABLE_MAX * sizeof *said);
    for (size_t n = 0; json_text_member(text, n); n++) {
        const struct field *field = field_find(table, text->string, text->length);
        if (field == NULL) {
            refuse_key(reader, table, at);
            json_text_skip(text, json_text_value(text));
            continue;
        }
        enum json_said *how = &said[field - table->field];
        if (*how != JSON_UNSAID) {
            json_text_refuse_twice(text);
            return;
        }
        const struct step step = {.above = at, .key = field->key};
        const enum json_kind kind = json_text_value(text);
        *how = kind == JSON_KIND_NULL ? JSON_SAID_NULL : JSON_SAID;
        if (kind != JSON_KIND_NULL || field->required)
            read_value(reader, kind, field, &step, record);
    }
    for (size_t i = 0; i < table->fields; i++)
        if (table->field[i].required && said[i] == JSON_UNSAID) {
            const struct step step = {.above = at, .key = table->field[i].key};
            err_set(&reader->err, ERR_MISSING_FIELD, NULL, "%s needs it", table->what);
            set_place(reader, &step);
        }
}

int json_read_record(const char *bytes, size_t length, const struct field_table *table,
                     void *record, enum json_said said[FIELD_TABLE_MAX], struct err *err) {
    struct reader reader;
    enum json_said here[FIELD_TABLE_MAX];
    json_text_init(&reader.text, bytes, length);
    reader.err.code = ERR_NONE;
    reader.err.field[0] = '\0';
    const enum json_kind kind = json_text_value(&reader.text);
    if (kind == JSON_KIND_OBJECT) {
        read_object(&reader, table, NULL, record, said != NULL ? said : here);
    } else {
        err_set(&reader.err, ERR_WRONG_TYPE, NULL, "the body is one JSON object, in braces");
        json_text_skip(&reader.text, kind);
    }
    if (json_text_finish(&reader.text, err) != 0)
        return -1;
    return reader.err.code == ERR_NONE
               ? 0
               : err_set(err, reader.err.code, reader.err.field, "%s", reader.err.text);
}
