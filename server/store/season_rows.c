/* SPDX-License-Identifier: MIT */
/* season_rows: questions about season, season_version and season_day. */
#include "server/store/season_rows.h"

#include <stdlib.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

#define SEASON_SELECT                                                                              \
    "SELECT s.id, v.version, s.season, v.name, v.approval FROM season s "                          \
    "JOIN season_version v ON v.season = s.id "                                                    \
    "WHERE v.version = (SELECT MAX(w.version) FROM season_version w WHERE w.season = s.id) AND "

static void read_season(struct statement *statement, struct season_row *out) {
    season_record_init(&out->record);
    out->id = column_int(statement, 0);
    out->version = column_int(statement, 1);
    column_copy(statement, 2, out->record.season, sizeof out->record.season);
    column_copy(statement, 3, out->record.name, sizeof out->record.name);
    out->record.approval = column_int(statement, 4) != 0;
}

enum found season_rows_find(struct db *db, const char *season, struct season_row *out,
                            struct err *err) {
    struct statement *statement;
    if (db_prepare(db, SEASON_SELECT "s.season = $1", &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, season);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        read_season(statement, out);
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

int season_rows_list(struct db *db, const char *after, int64_t limit, struct season_record **out,
                     size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, SEASON_SELECT "s.season > $1 ORDER BY s.season LIMIT $2", &statement, err))
        return -1;
    bind_text(statement, 1, after);
    bind_int(statement, 2, limit);
    struct season_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct season_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        struct season_row row;
        read_season(statement, &row);
        items[n++] = row.record;
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

int season_rows_add_version(struct db *db, int64_t id, int64_t version,
                            const struct season_record *record, int64_t by, double now_utc_s,
                            struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO season_version (season, version, name, approval, recorded_utc_s, "
                   "recorded_by) VALUES ($1, $2, $3, $4, $5, $6)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, version);
    bind_text(statement, 3, record->name);
    bind_int(statement, 4, record->approval);
    bind_real(statement, 5, now_utc_s);
    bind_id_or_null(statement, 6, by);
    return statement_run(statement, err);
}

int season_rows_add(struct db *db, const struct season_record *record, int64_t by, double now_utc_s,
                    struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("season"), &id, err) ||
        db_prepare(db, "INSERT INTO season (id, season, created_utc_s) VALUES ($1, $2, $3)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_text(statement, 2, record->season);
    bind_real(statement, 3, now_utc_s);
    return statement_run(statement, err) ||
                   season_rows_add_version(db, id, 1, record, by, now_utc_s, err)
               ? -1
               : 0;
}

int season_rows_add_day(struct db *db, int64_t season, int64_t day, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "INSERT INTO season_day (day, season) VALUES ($1, $2)", &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, season);
    return statement_run(statement, err);
}

int season_rows_elsewhere(struct db *db, int64_t site, const char *season, bool *out,
                          struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT 1 FROM season n JOIN season_day b ON b.season = n.id "
                   "JOIN participation p ON p.day = b.day AND p.site = $1 "
                   "WHERE n.season <> $2 AND p.event = 'join' AND NOT EXISTS "
                   "(SELECT 1 FROM participation q WHERE q.day = p.day AND q.site = p.site "
                   "AND q.id > p.id) LIMIT 1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, site);
    bind_text(statement, 2, season);
    enum step step = statement_step(statement, err);
    statement_done(statement);
    if (step == STEP_FAILED)
        return -1;
    *out = step == STEP_ROW;
    return 0;
}
