/* SPDX-License-Identifier: MIT */
/* derived_rows: questions about the derived tables as a whole. */
#include "server/store/derived_rows.h"

#include <stdlib.h>

#include "server/store/array.h"

static int count_of_day(struct db *db, const char *sql, int64_t day, int *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, sql, &statement, err))
        return -1;
    bind_int(statement, 1, day);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        *out = (int)column_int(statement, 0);
    statement_done(statement);
    return step == STEP_ROW ? 0 : -1;
}

int derived_rows_left_out(struct db *db, int64_t day, int *withdrawn, int *not_counting,
                          struct err *err) {
    /* CROSS: from the withdrawals, which are few, to their runs. */
    return count_of_day(db,
                        "SELECT COUNT(*) FROM withdrawal w CROSS JOIN run r "
                        "WHERE r.id = w.run AND r.day = $1 AND NOT EXISTS (SELECT 1 FROM run n "
                        "WHERE n.day = r.day AND n.site = r.site AND n.id > r.id)",
                        day, withdrawn, err) ||
                   count_of_day(db,
                                "SELECT COUNT(*) FROM reduction WHERE day = $1 AND counts = 0 "
                                "AND is_current = 1",
                                day, not_counting, err)
               ? -1
               : 0;
}

int derived_rows_days(struct db *db, int64_t **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT DISTINCT day FROM run ORDER BY day", &statement, err))
        return -1;
    int64_t *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        int64_t *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        items[n++] = column_int(statement, 0);
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

int derived_rows_clear(struct db *db, struct err *err) {
    return db_script(db, "DELETE FROM reduction; DELETE FROM run_flag", err);
}

static int count_of(struct db *db, const char *sql, size_t *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, sql, &statement, err))
        return -1;
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        *out = (size_t)column_int(statement, 0);
    statement_done(statement);
    return step == STEP_ROW ? 0 : -1;
}

int derived_rows_remember(struct db *db, struct err *err) {
    return db_script(db,
                     "CREATE TEMPORARY TABLE old_reduction AS SELECT * FROM reduction;"
                     "CREATE TEMPORARY TABLE old_run_flag AS SELECT * FROM run_flag",
                     err);
}

int derived_rows_differences(struct db *db, size_t *out, struct err *err) {
#define LEFT_OVER(one, other)                                                                      \
    "SELECT COUNT(*) FROM (SELECT * FROM " one " EXCEPT SELECT * FROM " other ") AS d"
    static const char *const questions[] = {
        LEFT_OVER("reduction", "old_reduction"), LEFT_OVER("old_reduction", "reduction"),
        LEFT_OVER("run_flag", "old_run_flag"), LEFT_OVER("old_run_flag", "run_flag")};
#undef LEFT_OVER
    size_t sum = 0;
    for (size_t i = 0; i < sizeof questions / sizeof *questions; i++) {
        size_t found;
        if (count_of(db, questions[i], &found, err))
            return -1;
        sum += found;
    }
    *out = sum;
    return 0;
}
