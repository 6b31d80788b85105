/* SPDX-License-Identifier: MIT */
/* edition_rows: what is published is added and read, never changed. */
#include "server/store/edition_rows.h"

#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

void edition_rows_release(struct edition_row *rows, size_t count) {
    for (size_t i = 0; i < count; i++)
        free(rows[i].head);
    free(rows);
}

#define EDITION_SELECT                                                                             \
    "SELECT e.number, n.number, e.sha256, e.head FROM edition e "                                  \
    "LEFT JOIN edition n ON n.replaces = e.number WHERE "

static int read_edition(struct statement *statement, struct edition_row *out, struct err *err) {
    *out = (struct edition_row){.number = column_int(statement, 0),
                                .replaced_by = column_int(statement, 1),
                                .head = strdup(column_text(statement, 3, NULL))};
    column_copy(statement, 2, out->sha256, sizeof out->sha256);
    return out->head ? 0 : err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

int edition_rows_list(struct db *db, const char *kind, const char *subject, int64_t before,
                      int64_t limit, struct edition_row **out, size_t *count, struct err *err) {
    struct statement *statement;
    const char *sql = kind ? EDITION_SELECT "e.number < $1 AND e.kind = $3 AND e.subject = $4 "
                                            "ORDER BY e.number DESC LIMIT $2"
                           : EDITION_SELECT "e.number < $1 ORDER BY e.number DESC LIMIT $2";
    if (db_prepare(db, sql, &statement, err))
        return -1;
    bind_int(statement, 1, before);
    bind_int(statement, 2, limit);
    if (kind) {
        bind_text(statement, 3, kind);
        bind_text(statement, 4, subject);
    }
    struct edition_row *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct edition_row *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        if (read_edition(statement, &items[n], err))
            break;
        n++;
    }
    statement_done(statement);
    if (step != STEP_DONE) {
        edition_rows_release(items, n);
        return -1;
    }
    *out = items;
    *count = n;
    return 0;
}

enum found edition_rows_get(struct db *db, int64_t number, struct edition_row *out,
                            struct err *err) {
    struct statement *statement;
    if (db_prepare(db, EDITION_SELECT "e.number = $1", &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, number);
    enum step step = statement_step(statement, err);
    int result = step == STEP_ROW ? read_edition(statement, out, err) : 0;
    statement_done(statement);
    if (result || step == STEP_FAILED)
        return FOUND_FAILED;
    return step == STEP_ROW ? FOUND_ONE : FOUND_NONE;
}

enum found edition_rows_bundle(struct db *db, int64_t number, struct text *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT bundle FROM edition WHERE number = $1", &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, number);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        size_t length;
        const char *bundle = column_text(statement, 0, &length);
        text_add(out, bundle, length);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

int edition_rows_next(struct db *db, int64_t *out, struct err *err) {
    return next_number(db, "SELECT COALESCE(MAX(number), 0) + 1 FROM edition", out, err);
}

int edition_rows_add(struct db *db, const struct edition_new *edition, struct err *err) {
    struct statement *statement;
    const struct edition_head *head = edition->head;
    if (db_prepare(db,
                   "INSERT INTO edition (number, kind, subject, replaces, method, sha256, head, "
                   "bundle, published_utc_s, published_by) "
                   "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, head->edition);
    bind_text(statement, 2, edition_kind_name(head->kind));
    bind_text(statement, 3, head->subject);
    bind_id_or_null(statement, 4, head->replaces);
    bind_text(statement, 5, REDUCE_METHOD);
    bind_text(statement, 6, edition->sha256);
    bind_bytes(statement, 7, edition->head_json->bytes, edition->head_json->length);
    bind_bytes(statement, 8, edition->bundle->bytes, edition->bundle->length);
    bind_real(statement, 9, head->published_utc_s);
    bind_id_or_null(statement, 10, edition->by);
    return statement_run(statement, err);
}

int edition_rows_keeps(struct db *db, int64_t site, enum edition_keeps *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT keeps FROM edition_consent WHERE site = $1 ORDER BY id DESC LIMIT 1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, site);
    enum edition_keeps keeps = KEEPS_NAMED;
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        edition_keeps_parse(column_text(statement, 0, NULL), &keeps);
    statement_done(statement);
    if (step == STEP_FAILED)
        return -1;
    *out = keeps;
    return 0;
}

int edition_rows_add_keeps(struct db *db, int64_t site, enum edition_keeps keeps, int64_t by,
                           double now_utc_s, struct err *err) {
    struct statement *statement;
    int64_t id;
    if (next_id(db, NEXT_ID_OF("edition_consent"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO edition_consent (id, site, keeps, recorded_utc_s, recorded_by) "
                   "VALUES ($1, $2, $3, $4, $5)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, site);
    bind_text(statement, 3, edition_keeps_name(keeps));
    bind_real(statement, 4, now_utc_s);
    bind_id_or_null(statement, 5, by);
    return statement_run(statement, err);
}
