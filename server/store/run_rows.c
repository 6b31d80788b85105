/* SPDX-License-Identifier: MIT */
/* run_rows: questions about run and withdrawal. */
#include "server/store/run_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

static bool column_is(struct statement *statement, int place, const char *bytes, size_t length) {
    size_t has;
    const char *value = column_text(statement, place, &has);
    return has == length && memcmp(value, bytes, length) == 0;
}

enum found run_rows_answered(struct db *db, int64_t credential, const char *idempotency_key,
                             const struct run_sent *sent, bool *is_same, struct text *answer,
                             struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT d.day, s.site, r.body, r.answer FROM run r JOIN day d ON d.id = r.day "
                   "JOIN site s ON s.id = r.site "
                   "WHERE r.submitted_by = $1 AND r.idempotency_key = $2",
                   &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, credential);
    bind_text(statement, 2, idempotency_key);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        *is_same = column_is(statement, 0, sent->day, strlen(sent->day)) &&
                   column_is(statement, 1, sent->site, strlen(sent->site)) &&
                   column_is(statement, 2, sent->body, sent->body_length);
        size_t length;
        const char *bytes = column_text(statement, 3, &length);
        text_add(answer, bytes, length);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

enum found run_rows_current(struct db *db, int64_t day, int64_t site, int64_t *run,
                            struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT r.id, w.run FROM run r LEFT JOIN withdrawal w ON w.run = r.id "
                   "WHERE r.day = $1 AND r.site = $2 ORDER BY r.id DESC LIMIT 1",
                   &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site);
    enum step step = statement_step(statement, err);
    bool counts = step == STEP_ROW && column_null(statement, 1);
    if (counts)
        *run = column_int(statement, 0);
    statement_done(statement);
    return counts ? FOUND_ONE : step == STEP_FAILED ? FOUND_FAILED : FOUND_NONE;
}

bool run_row_is_current(const struct run_row *row) {
    return row->superseded_by == 0 && isnan(row->withdrawn_utc_s);
}

#define RUN_SELECT                                                                                 \
    "SELECT r.id, r.day, r.site, d.day, s.site, r.supersedes, n.id, r.submitted_utc_s, "           \
    "w.withdrawn_utc_s, r.body FROM run r JOIN day d ON d.id = r.day "                             \
    "JOIN site s ON s.id = r.site LEFT JOIN run n ON n.supersedes = r.id "                         \
    "LEFT JOIN withdrawal w ON w.run = r.id WHERE "

static int read_run(struct statement *statement, struct run_row *out, struct err *err) {
    size_t length;
    const char *body = column_text(statement, 9, &length);
    char *copy = malloc(length + 1);
    if (!copy) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        return -1;
    }
    memmove(copy, body, length);
    copy[length] = '\0';
    out->id = column_int(statement, 0);
    out->day = column_int(statement, 1);
    out->site = column_int(statement, 2);
    column_copy(statement, 3, out->day_id, sizeof out->day_id);
    column_copy(statement, 4, out->site_id, sizeof out->site_id);
    out->supersedes = column_int(statement, 5);
    out->superseded_by = column_int(statement, 6);
    out->submitted_utc_s = column_real(statement, 7);
    out->withdrawn_utc_s = column_real(statement, 8);
    out->body = copy;
    out->body_length = length;
    return 0;
}

enum found run_rows_get(struct db *db, int64_t id, struct run_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, RUN_SELECT "r.id = $1", &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, id);
    enum step step = statement_step(statement, err);
    int result = step == STEP_ROW ? read_run(statement, out, err) : 0;
    statement_done(statement);
    if (result || step == STEP_FAILED)
        return FOUND_FAILED;
    return step == STEP_ROW ? FOUND_ONE : FOUND_NONE;
}

void run_rows_release(struct run_row *rows, size_t count) {
    for (size_t i = 0; i < count; i++)
        free(rows[i].body);
    free(rows);
}

int run_rows_list(struct db *db, int64_t site, int64_t after, int64_t limit, struct run_row **out,
                  size_t *count, struct err *err) {
    struct statement *statement;
    const char *sql = site ? RUN_SELECT "r.site = $3 AND r.id > $1 ORDER BY r.id LIMIT $2"
                           : RUN_SELECT "r.id > $1 ORDER BY r.id LIMIT $2";
    if (db_prepare(db, sql, &statement, err))
        return -1;
    bind_int(statement, 1, after);
    bind_int(statement, 2, limit);
    if (site)
        bind_int(statement, 3, site);
    struct run_row *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct run_row *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        if (read_run(statement, &items[n], err))
            break;
        n++;
    }
    statement_done(statement);
    if (step != STEP_DONE) {
        run_rows_release(items, n);
        return -1;
    }
    *out = items;
    *count = n;
    return 0;
}

int run_rows_next_id(struct db *db, int64_t *out, struct err *err) {
    return next_id(db, NEXT_ID_OF("run"), out, err);
}

int run_rows_add(struct db *db, int64_t id, const struct run_new *run, const char *answer,
                 size_t answer_length, bool *is_answered, struct err *err) {
    struct statement *statement;
    const int64_t changes = db_changes(db);
    if (db_prepare(db,
                   "INSERT INTO run (id, day, site, supersedes, body, submitted_utc_s, "
                   "submitted_by, idempotency_key, answer) "
                   "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) "
                   "ON CONFLICT (submitted_by, idempotency_key) WHERE idempotency_key IS NOT NULL "
                   "DO NOTHING",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, run->day);
    bind_int(statement, 3, run->site);
    bind_id_or_null(statement, 4, run->supersedes);
    bind_bytes(statement, 5, run->body, run->body_length);
    bind_real(statement, 6, run->submitted_utc_s);
    bind_int(statement, 7, run->submitted_by);
    bind_text(statement, 8, run->idempotency_key);
    bind_bytes(statement, 9, answer, answer_length);
    if (statement_run(statement, err))
        return -1;
    *is_answered = db_changes(db) == changes;
    return 0;
}

int run_rows_withdraw(struct db *db, int64_t run, const char *reason, int64_t by, double now_utc_s,
                      struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO withdrawal (run, reason, withdrawn_utc_s, withdrawn_by) "
                   "VALUES ($1, $2, $3, $4)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, run);
    bind_text(statement, 2, reason);
    bind_real(statement, 3, now_utc_s);
    bind_id_or_null(statement, 4, by);
    return statement_run(statement, err);
}
