/* SPDX-License-Identifier: MIT */
/* migrate: compares the steps a store remembers with the steps we know, then
 * applies the missing ones. */
#include "server/store/migrate.h"

#include <stdio.h>
#include <string.h>

#include "server/base/log.h"
#include "server/store/hash.h"

/* This table is older than the first step, so it is the one thing made by asking
 * whether it exists. */
static const char create_sql[] = "CREATE TABLE IF NOT EXISTS migration ("
                                 "number BIGINT PRIMARY KEY, name TEXT NOT NULL,"
                                 "checksum TEXT NOT NULL, applied_utc_s DOUBLE PRECISION NOT NULL)";

static int refuse(struct err *err, const char *text, int number, const char *name) {
    err_set(err, ERR_STORAGE, NULL, text, number, name);
    log_line(NOONARC_LOG_ERROR, "store: migration %d %s refused", number, name);
    return -1;
}

/* How many steps the store has, all of them ours and unchanged. */
static int compare(struct db *db, const struct migration *steps, int count, int *known,
                   struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT number, name, checksum FROM migration ORDER BY number", &statement,
                   err))
        return -1;
    int result = -1, seen = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        int number = (int)column_int(statement, 0);
        char name[128], checksum[HASH_HEX_MAX];
        column_copy(statement, 1, name, sizeof name);
        if (seen == count) {
            refuse(err,
                   "The store is newer than this program: it has step %d (%s). "
                   "Start the newer program.",
                   number, name);
            goto cleanup;
        }
        if (number != steps[seen].number) {
            refuse(err, "The store lacks migration %d (%s) though it has a later one.",
                   steps[seen].number, steps[seen].name);
            goto cleanup;
        }
        hash_bytes(steps[seen].sql, strlen(steps[seen].sql), checksum);
        if (strcmp(checksum, column_text(statement, 2, NULL)) != 0) {
            refuse(err,
                   "Migration %d (%s) was applied to the store with another text. "
                   "An applied migration must not be changed.",
                   number, name);
            goto cleanup;
        }
        seen++;
    }
    if (step == STEP_DONE) {
        *known = seen;
        result = 0;
    }
cleanup:
    statement_done(statement);
    return result;
}

static int apply_one(struct db *db, const struct migration *step, double now_utc_s,
                     struct err *err) {
    char checksum[HASH_HEX_MAX];
    hash_bytes(step->sql, strlen(step->sql), checksum);
    if (db_begin(db, err))
        return -1;
    struct statement *statement;
    if (db_script(db, step->sql, NULL)) {
        err_set(err, ERR_STORAGE, NULL, "migration %d (%s) could not be applied", step->number,
                step->name);
        goto cleanup;
    }
    if (db_prepare(db,
                   "INSERT INTO migration (number, name, checksum, applied_utc_s) "
                   "VALUES ($1, $2, $3, $4)",
                   &statement, err))
        goto cleanup;
    bind_int(statement, 1, step->number);
    bind_text(statement, 2, step->name);
    bind_text(statement, 3, checksum);
    bind_real(statement, 4, now_utc_s);
    if (statement_run(statement, err) || db_references_sound(db, err))
        goto cleanup;
    return db_commit(db, err);
cleanup:
    db_rollback(db);
    return -1;
}

int migrate_apply(struct db *db, const struct migration *steps, int count, double now_utc_s,
                  int *applied, struct err *err) {
    int known = 0;
    if (db_script(db, create_sql, err) || compare(db, steps, count, &known, err))
        return -1;
    *applied = count - known;
    if (known == count)
        return 0;
    if (db_hold_references(db, false, err))
        return -1;
    int result = 0;
    for (int i = known; i < count && result == 0; i++)
        result = apply_one(db, &steps[i], now_utc_s, err);
    return db_hold_references(db, true, err) || result ? -1 : 0;
}

int migrate_known(struct db *db, const struct migration *steps, int count, int *known,
                  struct err *err) {
    struct statement *statement;
    int seen = 0;
    if (db_prepare(db, "SELECT COUNT(*) FROM migration", &statement, NULL))
        return err_set(err, ERR_STORAGE, NULL,
                       "this is not a noonarc store, or it was never migrated");
    statement_done(statement);
    if (compare(db, steps, count, &seen, err))
        return -1;
    if (seen == 0)
        return err_set(err, ERR_STORAGE, NULL, "the store is empty: it was never migrated");
    *known = seen;
    return 0;
}

int migrate_verify(struct db *db, const struct migration *steps, int count, struct err *err) {
    int known = 0;
    if (migrate_known(db, steps, count, &known, err))
        return -1;
    if (known < count)
        return refuse(err, "The store lacks migration %d (%s). Run `noonarcd migrate`.",
                      steps[known].number, steps[known].name);
    return 0;
}
