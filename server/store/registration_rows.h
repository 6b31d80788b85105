/* SPDX-License-Identifier: MIT */
/* registration_rows: questions about registration. */
#ifndef NOONARC_REGISTRATION_ROWS_H
#define NOONARC_REGISTRATION_ROWS_H

#include <stdint.h>

#include "server/store/db.h"
#include "server/store/hash.h"

struct registration_row {
    int64_t site;
    char key_hash[HASH_HEX_MAX], body_hash[HASH_HEX_MAX], salt[HASH_HEX_MAX];
    double registered_utc_s;
};

int registration_rows_add(struct db *db, const struct registration_row *row, struct err *err)
    __attribute__((warn_unused_result));

enum found registration_rows_find(struct db *db, const char *key_hash, struct registration_row *out,
                                  struct err *err);

#endif
