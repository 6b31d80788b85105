/* SPDX-License-Identifier: MIT */
/* credential_rows: where keys, codes and log-ins live, by the hash of the secret.
 * What is revoked or has expired is not found. */
#ifndef NOONARC_CREDENTIAL_ROWS_H
#define NOONARC_CREDENTIAL_ROWS_H

#include "server/store/db.h"
#include "server/wire/records.h"

struct credential_row {
    int64_t id;
    const char *role;              /* "class", "school", "organiser": a constant */
    int64_t site;                  /* 0 none */
    char site_id[ID_MAX + 1];      /* filled when found */
    char name[NAME_MAX_BYTES + 1]; /* of an organiser, else "" */
    double expires_utc_s;          /* NAN never */
};

enum found credential_rows_find(struct db *db, const char *hash, double now_utc_s,
                                struct credential_row *out, struct err *err);

/* The credential a session acts as; expires_utc_s is the session's. */
enum found credential_rows_find_session(struct db *db, const char *hash, double now_utc_s,
                                        struct credential_row *out, struct err *err);

struct credential_new {
    const char *hash;
    const char *role;
    int64_t site; /* 0 none */
    const char *name;
    double expires_utc_s; /* NAN never */
    int64_t by;           /* credential, 0 nobody */
    double now_utc_s;
};
/* id, which may be NULL, is given out. */
int credential_rows_add(struct db *db, const struct credential_new *row, int64_t *id,
                        struct err *err) __attribute__((warn_unused_result));

/* Revokes all of a site's credentials of a role that still work. */
int credential_rows_revoke(struct db *db, int64_t site, const char *role, int64_t by,
                           double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* Revokes one. */
int credential_rows_revoke_one(struct db *db, int64_t id, int64_t by, double now_utc_s,
                               struct err *err) __attribute__((warn_unused_result));

/* Sessions. Ending one that is not there is fine; ending all of a credential's spares
 * the one of the hash except ("" none). */
int credential_rows_start_session(struct db *db, const char *hash, int64_t credential,
                                  double now_utc_s, double expires_utc_s, struct err *err)
    __attribute__((warn_unused_result));
int credential_rows_end_session(struct db *db, const char *hash, struct err *err)
    __attribute__((warn_unused_result));
int credential_rows_end_sessions(struct db *db, int64_t credential, const char *except,
                                 struct err *err) __attribute__((warn_unused_result));

#endif
