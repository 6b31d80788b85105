/* SPDX-License-Identifier: MIT */
/* warning: what was taken, and yet looks odd. A warning never refuses; it is told in
 * the answer as "warnings": [{"code", "field", "detail"}]. Codes are stable: add,
 * never rename. */
#ifndef NOONARC_WARNING_H
#define NOONARC_WARNING_H

#include "server/wire/json_write.h"

#define WARNING_CODES(X)                                                                           \
    X(WARNING_POSITION_ZERO, "position_zero")   /* latitude and longitude are both 0 */            \
    X(WARNING_POSITION_SEA, "position_sea")     /* the site seems to lie in the sea */             \
    X(WARNING_NEIGHBOUR, "neighbour")           /* another school within 50 m */                   \
    X(WARNING_DATE_PASSED, "date_passed")       /* the day lies in the past */                     \
    X(WARNING_TOLERANCE_WIDE, "tolerance_wide") /* pairs would lie more east than north */         \
    X(WARNING_NOT_INVITED, "not_invited")       /* waits for an organiser to approve */            \
    X(WARNING_OTHER_SEASON, "other_season")     /* invited, but to another season */               \
    X(WARNING_RUNS_MOVED, "runs_of_other_date") /* runs were in before the day was moved */        \
    X(WARNING_PERSONAL, "personal_text")        /* looks like somebody's address or number */

enum warning_code {
#define WARNING_ENUM(code, name) code,
    WARNING_CODES(WARNING_ENUM)
#undef WARNING_ENUM
        WARNING_CODE_COUNT
};

#define WARNINGS_MAX 8

struct warnings {
    struct warning {
        enum warning_code code;
        char field[64];   /* JSON pointer, "" when it is about the whole */
        char detail[320]; /* one or two plain sentences */
    } item[WARNINGS_MAX];
    int count;
};

const char *warning_name(enum warning_code code);

/* Adds one; beyond WARNINGS_MAX nothing more is said. field may be NULL. */
void warning_add(struct warnings *warnings, enum warning_code code, const char *field,
                 const char *format, ...) __attribute__((format(printf, 4, 5)));

/* The member "warnings", a list that may be empty. */
void warning_write(struct json_writer *json, const struct warnings *warnings);

#endif
