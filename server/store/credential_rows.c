/* SPDX-License-Identifier: MIT */
/* credential_rows: questions about credential and revocation. */
#include "server/store/credential_rows.h"

#include <math.h>
#include <string.h>

#include "server/store/next_id.h"

static const char *constant_role(const char *role) {
    static const char *const roles[] = {"class", "school", "organiser"};
    for (size_t i = 0; i < sizeof roles / sizeof *roles; i++)
        if (strcmp(role, roles[i]) == 0)
            return roles[i];
    return "";
}

#define CREDENTIAL_COLUMNS "SELECT c.id, c.role, c.site, s.site, c.name, "
#define CREDENTIAL_WORKS                                                                           \
    "(c.expires_utc_s IS NULL OR c.expires_utc_s > $2) AND NOT EXISTS "                            \
    "(SELECT 1 FROM revocation r WHERE r.credential = c.id)"

static enum found find(struct statement *statement, const char *hash, double now_utc_s,
                       struct credential_row *out, struct err *err) {
    bind_text(statement, 1, hash);
    bind_real(statement, 2, now_utc_s);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        out->id = column_int(statement, 0);
        out->role = constant_role(column_text(statement, 1, NULL));
        out->site = column_int(statement, 2);
        column_copy(statement, 3, out->site_id, sizeof out->site_id);
        column_copy(statement, 4, out->name, sizeof out->name);
        out->expires_utc_s = column_real(statement, 5);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

enum found credential_rows_find(struct db *db, const char *hash, double now_utc_s,
                                struct credential_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   CREDENTIAL_COLUMNS "c.expires_utc_s FROM credential c "
                                      "LEFT JOIN site s ON s.id = c.site "
                                      "WHERE c.hash = $1 AND " CREDENTIAL_WORKS,
                   &statement, err))
        return FOUND_FAILED;
    return find(statement, hash, now_utc_s, out, err);
}

enum found credential_rows_find_session(struct db *db, const char *hash, double now_utc_s,
                                        struct credential_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   CREDENTIAL_COLUMNS "t.expires_utc_s FROM session t "
                                      "JOIN credential c ON c.id = t.credential "
                                      "LEFT JOIN site s ON s.id = c.site "
                                      "WHERE t.hash = $1 AND t.expires_utc_s > $2 "
                                      "AND " CREDENTIAL_WORKS,
                   &statement, err))
        return FOUND_FAILED;
    return find(statement, hash, now_utc_s, out, err);
}

int credential_rows_add(struct db *db, const struct credential_new *row, int64_t *id,
                        struct err *err) {
    int64_t next;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("credential"), &next, err) ||
        db_prepare(db,
                   "INSERT INTO credential (id, hash, role, site, name, created_utc_s, created_by, "
                   "expires_utc_s) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, next);
    bind_text(statement, 2, row->hash);
    bind_text(statement, 3, row->role);
    bind_id_or_null(statement, 4, row->site);
    bind_text(statement, 5, row->name);
    bind_real(statement, 6, row->now_utc_s);
    bind_id_or_null(statement, 7, row->by);
    bind_real(statement, 8, row->expires_utc_s);
    if (statement_run(statement, err))
        return -1;
    if (id)
        *id = next;
    return 0;
}

int credential_rows_revoke(struct db *db, int64_t site, const char *role, int64_t by,
                           double now_utc_s, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO revocation (credential, revoked_utc_s, revoked_by) "
                   "SELECT c.id, $1, $2 FROM credential c WHERE c.site = $3 AND c.role = $4 "
                   "AND NOT EXISTS (SELECT 1 FROM revocation r WHERE r.credential = c.id)",
                   &statement, err))
        return -1;
    bind_real(statement, 1, now_utc_s);
    bind_id_or_null(statement, 2, by);
    bind_int(statement, 3, site);
    bind_text(statement, 4, role);
    return statement_run(statement, err);
}

int credential_rows_revoke_one(struct db *db, int64_t id, int64_t by, double now_utc_s,
                               struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO revocation (credential, revoked_utc_s, revoked_by) "
                   "VALUES ($1, $2, $3)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_real(statement, 2, now_utc_s);
    bind_id_or_null(statement, 3, by);
    return statement_run(statement, err);
}

int credential_rows_start_session(struct db *db, const char *hash, int64_t credential,
                                  double now_utc_s, double expires_utc_s, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO session (hash, credential, started_utc_s, expires_utc_s) "
                   "VALUES ($1, $2, $3, $4)",
                   &statement, err))
        return -1;
    bind_text(statement, 1, hash);
    bind_int(statement, 2, credential);
    bind_real(statement, 3, now_utc_s);
    bind_real(statement, 4, expires_utc_s);
    return statement_run(statement, err);
}

int credential_rows_end_session(struct db *db, const char *hash, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "DELETE FROM session WHERE hash = $1", &statement, err))
        return -1;
    bind_text(statement, 1, hash);
    return statement_run(statement, err);
}

int credential_rows_end_sessions(struct db *db, int64_t credential, const char *except,
                                 struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "DELETE FROM session WHERE credential = $1 AND hash <> $2", &statement, err))
        return -1;
    bind_int(statement, 1, credential);
    bind_text(statement, 2, except);
    return statement_run(statement, err);
}
