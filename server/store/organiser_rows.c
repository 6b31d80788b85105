/* SPDX-License-Identifier: MIT */
/* organiser_rows: questions about credential and password. */
#include "server/store/organiser_rows.h"

#include <stdlib.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

#define ORGANISER_WORKS                                                                            \
    "c.role = 'organiser' AND NOT EXISTS "                                                         \
    "(SELECT 1 FROM revocation r WHERE r.credential = c.id)"

int organiser_rows_list(struct db *db, struct organiser_row **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT c.id, c.name, p.credential, c.created_utc_s FROM credential c "
                   "LEFT JOIN password p ON p.credential = c.id WHERE " ORGANISER_WORKS
                   " ORDER BY c.name, c.id",
                   &statement, err))
        return -1;
    struct organiser_row *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct organiser_row *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        struct organiser_row *row = &items[n++];
        row->credential = column_int(statement, 0);
        column_copy(statement, 1, row->name, sizeof row->name);
        row->has_password = !column_null(statement, 2);
        row->since_utc_s = column_real(statement, 3);
    }
    statement_done(statement);
    if (step != STEP_DONE) {
        free(items);
        return -1;
    }
    *out = items;
    *count = n;
    return 0;
}

enum found organiser_rows_password(struct db *db, const char *name, int64_t *credential,
                                   char hash[ORGANISER_HASH_MAX], struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT c.id, p.hash FROM credential c JOIN password p ON p.credential = c.id "
                   "WHERE c.name = $1 AND " ORGANISER_WORKS,
                   &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, name);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        *credential = column_int(statement, 0);
        column_copy(statement, 1, hash, ORGANISER_HASH_MAX);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

static int forget(struct db *db, int64_t credential, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "DELETE FROM password WHERE credential = $1", &statement, err))
        return -1;
    bind_int(statement, 1, credential);
    return statement_run(statement, err);
}

int organiser_rows_set_password(struct db *db, int64_t credential, const char *hash, int64_t by,
                                double now_utc_s, struct err *err) {
    struct statement *statement;
    if (forget(db, credential, err) ||
        db_prepare(db,
                   "INSERT INTO password (credential, hash, set_utc_s, set_by) "
                   "VALUES ($1, $2, $3, $4)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, credential);
    bind_text(statement, 2, hash);
    bind_real(statement, 3, now_utc_s);
    bind_id_or_null(statement, 4, by);
    return statement_run(statement, err);
}
