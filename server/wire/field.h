/* SPDX-License-Identifier: MIT */
/* field: one declarative table per kind of record says what may come in: key,
 * type, need, range, unit and where it goes. JSON bodies (json_read.h) and
 * spreadsheet rows (spreadsheet.h) are both read through these tables, so a
 * limit stands in one place. Nothing here knows JSON or CSV. */
#ifndef NOONARC_FIELD_H
#define NOONARC_FIELD_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"

enum field_kind {
    FIELD_REAL,    /* double; min..max; stored as value / divisor */
    FIELD_RUN_ID,  /* int64_t; min..max */
    FIELD_TEXT,    /* char[size]: free text, may be empty */
    FIELD_NAME,    /* char[size]: text that begins with a letter or digit */
    FIELD_ID,      /* char[size]: identifier of a site or day */
    FIELD_ZONE,    /* char[size]: shape of a time zone name; existence is checked elsewhere */
    FIELD_DATE,    /* int32_t days since 1970-01-01 */
    FIELD_INSTANT, /* double seconds since 1970-01-01 UTC */
    FIELD_EDGE,    /* enum edge */
    FIELD_SKY,     /* enum sky */
    FIELD_STATE,   /* enum day_state */
    FIELD_BOOL,    /* bool, in JSON alone */
    FIELD_OBJECT,  /* inner table, destination at offset */
    FIELD_LIST,    /* min..max objects of the inner table, or single values when the inner
                      table has one row without a key; stride bytes apart from offset;
                      their number goes to the int at count_offset */
};

struct field {
    const char *key; /* NULL: a single value in a list */
    enum field_kind kind;
    bool required;
    size_t offset;    /* of the destination in the record */
    size_t size;      /* of a text's array */
    double min, max;  /* numbers: both included; lists: how many */
    double divisor;   /* numbers: 0 means 1 */
    const char *unit; /* for the error's sentence, "" when none */
    const struct field_table *inner;
    size_t stride, count_offset;
};

struct field_table {
    const char *what; /* "a site": for the error's sentence */
    const struct field *field;
    size_t fields;
};

#define FIELD_TABLE_MAX 16 /* rows in a table */
#define FIELD_TEXT_MAX 512 /* bytes of a text's array */

/* Puts a checked value into record. Return 0, or -1 with err set, but for the place of
 * the value, which the caller knows better (err_at), and record untouched. value needs no
 * NUL behind it; of one that is longer than a field holds, its first FIELD_TEXT_MAX bytes
 * are enough. */
int field_set_text(const struct field *field, const char *value, size_t length, void *record,
                   struct err *err) __attribute__((warn_unused_result));
int field_set_real(const struct field *field, double value, void *record, struct err *err)
    __attribute__((warn_unused_result));
void field_set_bool(const struct field *field, bool value, void *record);

/* True for the kinds that field_set_text takes. */
bool field_is_text(enum field_kind kind);

/* The row of a key of so many bytes, NULL when there is none. */
const struct field *field_find(const struct field_table *table, const char *key, size_t length);

/* Identifier by the rule of ID_MAX: for path segments and options too. */
bool field_is_id(const char *text);

/* True when text is UTF-8 (shortest form, no surrogates) without control
 * characters, line or paragraph separators or marks that turn the reading
 * direction; name: also begins with a letter or digit (which keeps spreadsheets
 * from taking it for a formula) and does not end in a blank. */
bool field_text_is_clean(const char *text, size_t length, bool name);

/* Tables of the records in records.h. */
extern const struct field_table site_fields;
extern const struct field_table day_fields;
extern const struct field_table run_fields;
extern const struct field_table season_fields;
extern const struct field_table invitation_fields, invitation_code_fields; /* invitation.h */
extern const struct field_table state_fields, move_fields, blind_fields, approval_fields;
extern const struct field_table reading_row_fields;
extern const struct field_table sky_fields;
extern const struct field_table review_fields; /* review.h */
/* Of published editions, see edition_records.h. */
extern const struct field_table edition_day_fields, edition_site_fields, edition_run_fields,
    edition_exclusion_fields, edition_keeps_fields, edition_ask_fields;

#endif
