/* SPDX-License-Identifier: MIT */
/* edition_rows: questions about edition and edition_consent. */
#ifndef NOONARC_EDITION_ROWS_H
#define NOONARC_EDITION_ROWS_H

#include "server/base/text.h"
#include "server/store/db.h"
#include "server/wire/edition.h"

struct edition_row {
    int64_t number, replaced_by; /* 0: by none */
    char sha256[CANONICAL_SHA256_SIZE];
    char *head; /* JSON; owned: free() */
};
void edition_rows_release(struct edition_row *rows, size_t count);

/* Editions with a number below before, newest first; of one subject when kind is not NULL.
 * *out is to be released. */
int edition_rows_list(struct db *db, const char *kind, const char *subject, int64_t before,
                      int64_t limit, struct edition_row **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* out->head is to be freed. */
enum found edition_rows_get(struct db *db, int64_t number, struct edition_row *out,
                            struct err *err);

/* Appends the bundle, byte for byte as it was published. */
enum found edition_rows_bundle(struct db *db, int64_t number, struct text *out, struct err *err);

int edition_rows_next(struct db *db, int64_t *out, struct err *err)
    __attribute__((warn_unused_result));

struct edition_new {
    const struct edition_head *head;
    const char *sha256;
    const struct text *head_json, *bundle;
    int64_t by;
};
int edition_rows_add(struct db *db, const struct edition_new *edition, struct err *err)
    __attribute__((warn_unused_result));

/* What a school lets editions keep: by its newest word, KEEPS_NAMED without one. */
int edition_rows_keeps(struct db *db, int64_t site, enum edition_keeps *out, struct err *err)
    __attribute__((warn_unused_result));
int edition_rows_add_keeps(struct db *db, int64_t site, enum edition_keeps keeps, int64_t by,
                           double now_utc_s, struct err *err) __attribute__((warn_unused_result));

#endif
