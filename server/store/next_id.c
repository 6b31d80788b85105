/* SPDX-License-Identifier: MIT */
/* next_id: one question, asked of several tables. */
#include "server/store/next_id.h"

int next_id(struct db *db, const char *next_id_of, int64_t *out, struct err *err) {
    struct statement *statement;
    int64_t *last = db_kept_number(db, next_id_of);
    if (*last > 0) {
        *out = ++*last;
        return 0;
    }
    if (db_prepare(db, next_id_of, &statement, err))
        return -1;
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        *out = *last = column_int(statement, 0);
    statement_done(statement);
    return step == STEP_ROW ? 0 : -1;
}
