/* SPDX-License-Identifier: MIT */
/* day_rows: questions about day, spare_date and participation. */
#include "server/store/day_rows.h"

#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"
#include "server/store/site_rows.h"

#define DAY_SELECT                                                                                 \
    "SELECT id, day, name, date, lon_tolerance_deg, min_separation_km, max_sigma_km FROM day "

static void read_day(struct statement *statement, struct day_row *out) {
    out->id = column_int(statement, 0);
    day_record_init(&out->record);
    column_copy(statement, 1, out->record.day, sizeof out->record.day);
    column_copy(statement, 2, out->record.name, sizeof out->record.name);
    out->record.date = (int32_t)column_int(statement, 3);
    out->record.lon_tolerance_deg = column_real(statement, 4);
    out->record.min_separation_km = column_real(statement, 5);
    out->record.max_sigma_km = column_real(statement, 6);
}

static int read_spares(struct db *db, int64_t day, struct day_record *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT date FROM spare_date WHERE day = $1 ORDER BY place", &statement,
                   err))
        return -1;
    bind_int(statement, 1, day);
    enum step step;
    out->spares = 0;
    while ((step = statement_step(statement, err)) == STEP_ROW && out->spares < DAY_SPARES_MAX)
        out->spare[out->spares++] = (int32_t)column_int(statement, 0);
    statement_done(statement);
    return step == STEP_FAILED ? -1 : 0;
}

static enum found read_one(struct db *db, struct statement *statement, struct day_row *out,
                           struct err *err) {
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        read_day(statement, out);
    statement_done(statement);
    if (step == STEP_ROW)
        return read_spares(db, out->id, &out->record, err) ? FOUND_FAILED : FOUND_ONE;
    return step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

enum found day_rows_find(struct db *db, const char *day, struct day_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, DAY_SELECT "WHERE day = $1", &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, day);
    return read_one(db, statement, out, err);
}

enum found day_rows_get(struct db *db, int64_t id, struct day_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, DAY_SELECT "WHERE id = $1", &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, id);
    return read_one(db, statement, out, err);
}

int day_rows_list(struct db *db, int32_t after_date, const char *after_day, int64_t limit,
                  struct day_record **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   DAY_SELECT "WHERE date > $1 OR (date = $1 AND day > $2) "
                              "ORDER BY date, day LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, after_date);
    bind_text(statement, 2, after_day);
    bind_int(statement, 3, limit);
    struct day_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct day_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        struct day_row row;
        read_day(statement, &row);
        if (read_spares(db, row.id, &row.record, err))
            break;
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

static int add_spare(struct db *db, int64_t day, int place, int32_t date, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "INSERT INTO spare_date (day, place, date) VALUES ($1, $2, $3)", &statement,
                   err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, place);
    bind_int(statement, 3, date);
    return statement_run(statement, err);
}

int day_rows_add(struct db *db, const struct day_record *record, int64_t by, double now_utc_s,
                 struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("day"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO day (id, day, name, date, lon_tolerance_deg, min_separation_km, "
                   "max_sigma_km, opened_utc_s, opened_by) "
                   "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_text(statement, 2, record->day);
    bind_text(statement, 3, record->name);
    bind_int(statement, 4, record->date);
    bind_real(statement, 5, record->lon_tolerance_deg);
    bind_real(statement, 6, record->min_separation_km);
    bind_real(statement, 7, record->max_sigma_km);
    bind_real(statement, 8, now_utc_s);
    bind_id_or_null(statement, 9, by);
    if (statement_run(statement, err))
        return -1;
    for (int i = 0; i < record->spares; i++)
        if (add_spare(db, id, i, record->spare[i], err))
            return -1;
    return 0;
}

int day_rows_takes_part(struct db *db, int64_t day, int64_t site, bool *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT event FROM participation WHERE day = $1 AND site = $2 "
                   "ORDER BY id DESC LIMIT 1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site);
    enum step step = statement_step(statement, err);
    bool joined = step == STEP_ROW && strcmp(column_text(statement, 0, NULL), "join") == 0;
    statement_done(statement);
    if (step == STEP_FAILED)
        return -1;
    *out = joined;
    return 0;
}

int day_rows_add_event(struct db *db, int64_t day, int64_t site, bool join, int64_t by,
                       double now_utc_s, struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("participation"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO participation (id, day, site, event, recorded_utc_s, recorded_by) "
                   "VALUES ($1, $2, $3, $4, $5, $6)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, day);
    bind_int(statement, 3, site);
    bind_text(statement, 4, join ? "join" : "leave");
    bind_real(statement, 5, now_utc_s);
    bind_id_or_null(statement, 6, by);
    return statement_run(statement, err);
}

int day_rows_participants(struct db *db, int64_t day, const char *after, int64_t limit,
                          struct participant **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT " SITE_COLUMNS ", r.run, r.gnomon_mm, r.edge FROM participation p "
                   "JOIN site s ON s.id = p.site "
                   "JOIN site_version v ON v.site = s.id "
                   "LEFT JOIN reduction r ON r.day = p.day AND r.site = p.site "
                   "AND r.is_current = 1 "
                   "WHERE p.day = $1 AND p.event = 'join' AND s.site > $2 AND NOT EXISTS "
                   "(SELECT 1 FROM participation q WHERE q.day = p.day AND q.site = p.site "
                   "AND q.id > p.id) AND " SITE_NEWEST " ORDER BY s.site LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_text(statement, 2, after);
    bind_int(statement, 3, limit);
    struct participant *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct participant *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        struct participant *row = &items[n++];
        site_rows_read(statement, 0, &row->site);
        row->run = column_int(statement, SITE_COLUMNS_COUNT);
        row->run_gnomon_mm = column_real(statement, SITE_COLUMNS_COUNT + 1);
        row->run_edge = row->site.edge;
        if (row->run)
            edge_parse(column_text(statement, SITE_COLUMNS_COUNT + 2, NULL), &row->run_edge);
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
