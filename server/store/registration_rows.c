/* SPDX-License-Identifier: MIT */
#include "server/store/registration_rows.h"

int registration_rows_add(struct db *db, const struct registration_row *row, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO registration (site, key_hash, body_hash, salt, registered_utc_s) "
                   "VALUES ($1, $2, $3, $4, $5)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, row->site);
    bind_text(statement, 2, row->key_hash);
    bind_text(statement, 3, row->body_hash);
    bind_text(statement, 4, row->salt);
    bind_real(statement, 5, row->registered_utc_s);
    return statement_run(statement, err);
}

enum found registration_rows_find(struct db *db, const char *key_hash, struct registration_row *out,
                                  struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT site, key_hash, body_hash, salt, registered_utc_s FROM registration "
                   "WHERE key_hash = $1",
                   &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, key_hash);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        out->site = column_int(statement, 0);
        column_copy(statement, 1, out->key_hash, sizeof out->key_hash);
        column_copy(statement, 2, out->body_hash, sizeof out->body_hash);
        column_copy(statement, 3, out->salt, sizeof out->salt);
        out->registered_utc_s = column_real(statement, 4);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}
