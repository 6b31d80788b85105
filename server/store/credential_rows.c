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

enum found credential_rows_find(struct db *db, const char *hash, struct credential_row *out,
                                struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT c.id, c.role, c.site, s.site FROM credential c "
                   "LEFT JOIN site s ON s.id = c.site WHERE c.hash = $1 AND NOT EXISTS "
                   "(SELECT 1 FROM revocation r WHERE r.credential = c.id)",
                   &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, hash);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        out->id = column_int(statement, 0);
        out->role = constant_role(column_text(statement, 1, NULL));
        out->site = column_int(statement, 2);
        column_copy(statement, 3, out->site_id, sizeof out->site_id);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

int credential_rows_add(struct db *db, const char *hash, const char *role, int64_t site,
                        const char *name, int64_t by, double now_utc_s, struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("credential"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO credential (id, hash, role, site, name, created_utc_s, created_by) "
                   "VALUES ($1, $2, $3, $4, $5, $6, $7)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_text(statement, 2, hash);
    bind_text(statement, 3, role);
    bind_id_or_null(statement, 4, site);
    bind_text(statement, 5, name);
    bind_real(statement, 6, now_utc_s);
    bind_id_or_null(statement, 7, by);
    return statement_run(statement, err);
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
