/* SPDX-License-Identifier: MIT */
/* field: checks of single values against their row, and what a clean text is. */
#include "server/wire/field.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/base/text.h"
#include "server/science/gnomon.h"
#include "server/wire/records.h"
#include "server/wire/sky.h"
#include "server/wire/utf8.h"
#include "server/wire/zone.h"

static void *destination(const struct field *field, void *record) {
    return (char *)record + field->offset;
}

bool field_is_text(enum field_kind kind) {
    switch (kind) {
    case FIELD_TEXT:
    case FIELD_NAME:
    case FIELD_ID:
    case FIELD_ZONE:
    case FIELD_DATE:
    case FIELD_INSTANT:
    case FIELD_EDGE:
    case FIELD_SKY:
    case FIELD_STATE:
        return true;
    case FIELD_REAL:
    case FIELD_RUN_ID:
    case FIELD_BOOL:
    case FIELD_OBJECT:
    case FIELD_LIST:
        break;
    }
    return false;
}

const struct field *field_find(const struct field_table *table, const char *key) {
    for (size_t i = 0; i < table->fields; i++)
        if (table->field[i].key != NULL && strcmp(table->field[i].key, key) == 0)
            return &table->field[i];
    return NULL;
}

static bool is_digit_or_letter(char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

bool field_is_id(const char *text) {
    if (!is_digit_or_letter(text[0]))
        return false;
    size_t length = 1;
    for (; text[length] != '\0'; length++)
        if (length == ID_MAX || !(is_digit_or_letter(text[length]) || strchr("._-", text[length])))
            return false;
    return true;
}

bool field_text_is_clean(const char *text, size_t length, bool name) {
    const char *at = text, *end = text + length;
    uint32_t code, last = 0;
    while (at < end) {
        bool first = at == text;
        if (!utf8_next(&at, end, &code) || utf8_is_control(code))
            return false;
        if (name && first && !utf8_is_wordlike(code))
            return false;
        last = code;
    }
    return !name || (length > 0 && !utf8_is_blank(last));
}

static int set_string(const struct field *field, const char *value, size_t length, void *record,
                      const char *place, struct err *err) {
    if (length >= field->size)
        return err_set(err, ERR_OUT_OF_RANGE, place, "at most %zu bytes fit here, this has %zu",
                       field->size - 1, length);
    memcpy(destination(field, record), value, length + 1);
    return 0;
}

static int set_instant(const struct field *field, const char *value, void *record,
                       const char *place, struct err *err) {
    struct err why = {.code = ERR_NONE};
    double t_utc_s;
    if (instant_parse(value, &t_utc_s, NULL, &why) < 0)
        return err_set(err, why.code, place, "%s", why.text);
    memcpy(destination(field, record), &t_utc_s, sizeof t_utc_s);
    return 0;
}

int field_set_text(const struct field *field, const char *value, size_t length, void *record,
                   const char *place, struct err *err) {
    assert(field_is_text(field->kind));
    if (memchr(value, '\0', length) != NULL)
        return err_set(err, ERR_BAD_TEXT, place, "a text has no NUL characters");
    switch (field->kind) {
    case FIELD_TEXT:
        if (!field_text_is_clean(value, length, false))
            return err_set(err, ERR_BAD_TEXT, place,
                           "a text is UTF-8 on one line, without control characters");
        return set_string(field, value, length, record, place, err);
    case FIELD_NAME:
        if (!field_text_is_clean(value, length, true))
            return err_set(err, ERR_BAD_TEXT, place,
                           "a name begins with a letter or digit, does not end in a blank, and is "
                           "UTF-8 on one line without control characters");
        return set_string(field, value, length, record, place, err);
    case FIELD_ID:
        if (!field_is_id(value))
            return err_set(err, ERR_BAD_TEXT, place,
                           "an identifier has 1 to %d of A-Z a-z 0-9 . _ - and begins with a "
                           "letter or digit",
                           ID_MAX);
        return set_string(field, value, length, record, place, err);
    case FIELD_ZONE:
        if (length > 0 && !zone_name_is_valid(value))
            return err_set(err, ERR_UNKNOWN_ZONE, place,
                           "a time zone is named as in the IANA list, such as Africa/Nairobi");
        return set_string(field, value, length, record, place, err);
    case FIELD_DATE: {
        int32_t day_number;
        if (!date_parse(value, &day_number))
            return err_set(err, ERR_BAD_DATE, place,
                           "a date is YYYY-MM-DD and exists, as 2027-03-21 does");
        memcpy(destination(field, record), &day_number, sizeof day_number);
        return 0;
    }
    case FIELD_INSTANT:
        return set_instant(field, value, record, place, err);
    case FIELD_EDGE: {
        enum edge edge;
        if (!edge_parse(value, &edge))
            return err_set(err, ERR_OUT_OF_RANGE, place,
                           "the edge is umbra (end of full shadow), penumbra (last trace) or "
                           "centre");
        memcpy(destination(field, record), &edge, sizeof edge);
        return 0;
    }
    case FIELD_SKY: {
        enum sky sky;
        if (!sky_parse(value, &sky))
            return err_set(err, ERR_OUT_OF_RANGE, place,
                           "the sky is clear, broken, overcast or gone_home");
        memcpy(destination(field, record), &sky, sizeof sky);
        return 0;
    }
    case FIELD_STATE: {
        enum day_state state;
        if (!day_state_parse(value, &state))
            return err_set(err, ERR_OUT_OF_RANGE, place,
                           "the state is planned, announced, closed or cancelled");
        memcpy(destination(field, record), &state, sizeof state);
        return 0;
    }
    case FIELD_REAL:
    case FIELD_RUN_ID:
    case FIELD_BOOL:
    case FIELD_OBJECT:
    case FIELD_LIST:
        break;
    }
    return err_set(err, ERR_INTERNAL, place, "the field table does not know this kind");
}

void field_set_bool(const struct field *field, bool value, void *record) {
    assert(field->kind == FIELD_BOOL);
    memcpy(destination(field, record), &value, sizeof value);
}

int field_set_real(const struct field *field, double value, void *record, const char *place,
                   struct err *err) {
    assert(field->kind == FIELD_REAL || field->kind == FIELD_RUN_ID);
    const char *blank = field->unit != NULL && field->unit[0] != '\0' ? " " : "";
    const char *unit = field->unit != NULL ? field->unit : "";
    if (!(isfinite(value) && value >= field->min && value <= field->max)) {
        char least[TEXT_NUMBER_MAX], most[TEXT_NUMBER_MAX], given[TEXT_NUMBER_MAX];
        text_number(field->min, least);
        text_number(field->max, most);
        text_number(value, given);
        return err_set(err, ERR_OUT_OF_RANGE, place, "it is at least %s and at most %s%s%s, not %s",
                       least, most, blank, unit, given);
    }
    if (field->kind == FIELD_RUN_ID) {
        if (value != floor(value))
            return err_set(err, ERR_WRONG_TYPE, place, "it is a whole number");
        int64_t whole = (int64_t)value;
        memcpy(destination(field, record), &whole, sizeof whole);
        return 0;
    }
    double stored = field->divisor != 0.0 ? value / field->divisor : value;
    memcpy(destination(field, record), &stored, sizeof stored);
    return 0;
}
