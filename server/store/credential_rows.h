/* SPDX-License-Identifier: MIT */
/* credential_rows: where keys live, by the hash of the key. */
#ifndef NOONARC_CREDENTIAL_ROWS_H
#define NOONARC_CREDENTIAL_ROWS_H

#include "server/store/db.h"
#include "server/wire/records.h"

struct credential_row {
    int64_t id;
    const char *role;         /* "class", "school", "organiser" */
    int64_t site;             /* 0 none */
    char site_id[ID_MAX + 1]; /* filled when found */
};

/* Revoked ones are not found. out->role points to a constant. */
enum found credential_rows_find(struct db *db, const char *hash, struct credential_row *out,
                                struct err *err);

/* by: credential, 0 nobody. id is given out. */
int credential_rows_add(struct db *db, const char *hash, const char *role, int64_t site,
                        const char *name, int64_t by, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

/* Revokes all of a site's credentials of a role that still work. */
int credential_rows_revoke(struct db *db, int64_t site, const char *role, int64_t by,
                           double now_utc_s, struct err *err) __attribute__((warn_unused_result));

#endif
