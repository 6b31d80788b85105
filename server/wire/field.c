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

static bool is_key(const char *key, const char *text, size_t length) {
    size_t same = 0;
    while (same < length && key[same] != '\0' && key[same] == text[same])
        same++;
    return same == length && key[same] == '\0';
}

const struct field *field_find(const struct field_table *table, const char *key, size_t length) {
    for (size_t i = 0; i < table->fields; i++)
        if (table->field[i].key != NULL && is_key(table->field[i].key, key, length))
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
    uint32_t code = 0;
    while (at < end) {
        const bool first = at == text;
        if (*at >= ' ' && *at <= '~')
            code = (unsigned char)*at++;
        else if (!utf8_next(&at, end, &code) || utf8_is_control(code))
            return false;
        if (name && first && !utf8_is_wordlike(code))
            return false;
    }
    return !name || (length > 0 && !utf8_is_blank(code));
}

static int set_string(const struct field *field, const char *value, size_t length, void *record,
                      struct err *err) {
    if (length >= field->size)
        return err_set(err, ERR_OUT_OF_RANGE, NULL, "at most %zu bytes fit here, this has %zu",
                       field->size - 1, length);
    char *out = destination(field, record);
    memcpy(out, value, length);
    out[length] = '\0';
    return 0;
}

/* What is too long is not looked at. */
static int set_free_text(const struct field *field, const char *value, size_t length, void *record,
                         struct err *err) {
    const bool name = field->kind == FIELD_NAME;
    if (length < field->size && !field_text_is_clean(value, length, name))
        return err_set(err, ERR_BAD_TEXT, NULL,
                       name ? "a name begins with a letter or digit, does not end in a blank, and "
                              "is UTF-8 on one line without control characters"
                            : "a text is UTF-8 on one line, without control characters");
    return set_string(field, value, length, record, err);
}

/* A word is no free text: it has one of a few forms, none of them longer than this. */
#define WORD_MAX ZONE_MAX

static int set_word(const struct field *field, const char *word, void *record, struct err *err) {
    int32_t day_number;
    double t_utc_s;
    enum edge edge;
    enum sky sky;
    enum day_state state;
    switch (field->kind) {
    case FIELD_ID:
        if (!field_is_id(word))
            return err_set(err, ERR_BAD_TEXT, NULL,
                           "an identifier has 1 to %d of A-Z a-z 0-9 . _ - and begins with a "
                           "letter or digit",
                           ID_MAX);
        return set_string(field, word, strlen(word), record, err);
    case FIELD_ZONE:
        if (word[0] != '\0' && !zone_name_is_valid(word))
            return err_set(err, ERR_UNKNOWN_ZONE, NULL,
                           "a time zone is named as in the IANA list, such as Africa/Nairobi");
        return set_string(field, word, strlen(word), record, err);
    case FIELD_DATE:
        if (!date_parse(word, &day_number))
            return err_set(err, ERR_BAD_DATE, NULL,
                           "a date is YYYY-MM-DD and exists, as 2027-03-21 does");
        memcpy(destination(field, record), &day_number, sizeof day_number);
        return 0;
    case FIELD_INSTANT:
        if (instant_parse(word, &t_utc_s, NULL, err) < 0)
            return -1;
        memcpy(destination(field, record), &t_utc_s, sizeof t_utc_s);
        return 0;
    case FIELD_EDGE:
        if (!edge_parse(word, &edge))
            return err_set(err, ERR_OUT_OF_RANGE, NULL,
                           "the edge is umbra (end of full shadow), penumbra (last trace) or "
                           "centre");
        memcpy(destination(field, record), &edge, sizeof edge);
        return 0;
    case FIELD_SKY:
        if (!sky_parse(word, &sky))
            return err_set(err, ERR_OUT_OF_RANGE, NULL,
                           "the sky is clear, broken, overcast or gone_home");
        memcpy(destination(field, record), &sky, sizeof sky);
        return 0;
    case FIELD_STATE:
        if (!day_state_parse(word, &state))
            return err_set(err, ERR_OUT_OF_RANGE, NULL,
                           "the state is planned, announced, closed or cancelled");
        memcpy(destination(field, record), &state, sizeof state);
        return 0;
    case FIELD_REAL:
    case FIELD_RUN_ID:
    case FIELD_TEXT:
    case FIELD_NAME:
    case FIELD_BOOL:
    case FIELD_OBJECT:
    case FIELD_LIST:
        break;
    }
    return err_set(err, ERR_INTERNAL, NULL, "the field table does not know this kind");
}

int field_set_text(const struct field *field, const char *value, size_t length, void *record,
                   struct err *err) {
    assert(field_is_text(field->kind) && field->size <= FIELD_TEXT_MAX);
    if (field->kind == FIELD_TEXT || field->kind == FIELD_NAME)
        return set_free_text(field, value, length, record, err);
    char word[WORD_MAX + 2]; /* what is too long stays so */
    const size_t kept = length <= WORD_MAX ? length : WORD_MAX + 1;
    if (memchr(value, '\0', kept) != NULL)
        return err_set(err, ERR_BAD_TEXT, NULL, "a text has no NUL characters");
    memcpy(word, value, kept);
    word[kept] = '\0';
    return set_word(field, word, record, err);
}

void field_set_bool(const struct field *field, bool value, void *record) {
    assert(field->kind == FIELD_BOOL);
    memcpy(destination(field, record), &value, sizeof value);
}

static int refuse_range(const struct field *field, double value, struct err *err) {
    const char *unit = field->unit != NULL ? field->unit : "";
    char least[TEXT_NUMBER_MAX], most[TEXT_NUMBER_MAX], given[TEXT_NUMBER_MAX];
    text_number(field->min, least);
    text_number(field->max, most);
    text_number(value, given);
    return err_set(err, ERR_OUT_OF_RANGE, NULL, "it is at least %s and at most %s%s%s, not %s",
                   least, most, unit[0] != '\0' ? " " : "", unit, given);
}

int field_set_real(const struct field *field, double value, void *record, struct err *err) {
    assert(field->kind == FIELD_REAL || field->kind == FIELD_RUN_ID);
    if (!(isfinite(value) && value >= field->min && value <= field->max))
        return refuse_range(field, value, err);
    if (field->kind == FIELD_RUN_ID) {
        if (value != floor(value))
            return err_set(err, ERR_WRONG_TYPE, NULL, "it is a whole number");
        int64_t whole = (int64_t)value;
        memcpy(destination(field, record), &whole, sizeof whole);
        return 0;
    }
    double stored = field->divisor != 0.0 ? value / field->divisor : value;
    memcpy(destination(field, record), &stored, sizeof stored);
    return 0;
}
