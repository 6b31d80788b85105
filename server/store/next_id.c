/* SPDX-License-Identifier: MIT */
/* next_id: one question, asked of several tables. */
#include "server/store/next_id.h"

int next_number(struct db *db, const char *sql, int64_t *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, sql, &statement, err))
        return -1;
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        *out = column_int(statement, 0);
    statement_done(statement);
    return step == STEP_ROW ? 0 : -1;
}

int next_id(struct db *db, const char *next_id_of, int64_t *out, struct err *err) {
    int64_t *last = db_kept_number(db, next_id_of);
    if (*last == 0 && next_number(db, next_id_of, out, err))
        return -1;
    *last = *last == 0 ? *out : *last + 1;
    *out = *last;
    return 0;
}
