/* SPDX-License-Identifier: MIT */
/* organiser_rows: those who organise, and the passwords of those who have one. */
#ifndef NOONARC_ORGANISER_ROWS_H
#define NOONARC_ORGANISER_ROWS_H

#include <stdbool.h>

#include "server/store/db.h"
#include "server/wire/records.h"

#define ORGANISER_HASH_MAX 128 /* of a password's hash with its NUL */

/* A credential of an organiser that still works: a key, or a name with a password. */
struct organiser_row {
    int64_t credential;
    char name[NAME_MAX_BYTES + 1];
    bool has_password;
    double since_utc_s;
};

/* By name, then age. *out is to be freed. */
int organiser_rows_list(struct db *db, struct organiser_row **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* The password of a name. */
enum found organiser_rows_password(struct db *db, const char *name, int64_t *credential,
                                   char hash[ORGANISER_HASH_MAX], struct err *err);

/* In place of one that is there. */
int organiser_rows_set_password(struct db *db, int64_t credential, const char *hash, int64_t by,
                                double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

#endif
