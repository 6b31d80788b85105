/* SPDX-License-Identifier: MIT */
/* site_rows: questions about site and site_version. */
#include "server/store/site_rows.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

void site_rows_read(struct statement *statement, int first, struct site_record *out) {
    site_record_init(out);
    column_copy(statement, first + 0, out->site, sizeof out->site);
    column_copy(statement, first + 1, out->name, sizeof out->name);
    out->place.lat_deg = column_real(statement, first + 2);
    out->place.lon_deg = column_real(statement, first + 3);
    out->place.elevation_m = column_real(statement, first + 4);
    column_copy(statement, first + 5, out->zone, sizeof out->zone);
    out->gnomon_mm = column_real(statement, first + 6);
    edge_parse(column_text(statement, first + 7, NULL), &out->edge);
    column_copy(statement, first + 8, out->contact, sizeof out->contact);
    out->position_decimals = column_int(statement, first + 9); /* NULL: 0, POSITION_EXACT */
    site_record_settle(out);
}

static enum found read_one(struct statement *statement, struct site_row *out, struct err *err) {
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        out->id = column_int(statement, 0);
        out->version = column_int(statement, 1);
        site_rows_read(statement, 2, &out->record);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

#define SITE_FROM                                                                                  \
    "SELECT s.id, v.version, " SITE_COLUMNS " FROM site s JOIN site_version v ON v.site = s.id "   \
    "WHERE "
#define SITE_SELECT SITE_FROM SITE_NEWEST " AND "

/* Of one site: found at once at the end of its versions. */
#define ONE_SITE(which) SITE_FROM which " ORDER BY v.version DESC LIMIT 1"

enum found site_rows_find(struct db *db, const char *site, struct site_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, ONE_SITE("s.site = $1"), &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, site);
    return read_one(statement, out, err);
}

enum found site_rows_get(struct db *db, int64_t id, struct site_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, ONE_SITE("s.id = $1"), &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, id);
    return read_one(statement, out, err);
}

/* Behind the count that are there, which stay the caller's also when it fails. */
static int read_more(struct statement *statement, struct site_record **out, size_t *count,
                     struct err *err) {
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct site_record *grown = array_room(*out, *count, sizeof *grown, err);
        if (!grown)
            break;
        *out = grown;
        site_rows_read(statement, 2, &grown[(*count)++]);
    }
    statement_done(statement);
    return step == STEP_DONE ? 0 : -1;
}

static int read_all(struct statement *statement, struct site_record **out, size_t *count,
                    struct err *err) {
    struct site_record *items = NULL;
    size_t n = 0;
    if (read_more(statement, &items, &n, err)) {
        free(items);
        return -1;
    }
    *out = items;
    *count = n;
    return 0;
}

int site_rows_versions(struct db *db, int64_t id, struct site_history **out, size_t *count,
                       struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT v.recorded_utc_s, " SITE_COLUMNS " FROM site s "
                   "JOIN site_version v ON v.site = s.id WHERE s.id = $1 ORDER BY v.version",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    struct site_history *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct site_history *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        items[n].recorded_utc_s = column_real(statement, 0);
        site_rows_read(statement, 1, &items[n++].record);
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

/* Rows of latitude, as migrations/0011_neighbours.sql has them: whether a store's whole
 * numbers are cut or rounded, these four hold a belt no higher than SITE_BELT_DEG. */
#define ROWS_PER_DEG 5.0

static int add_about(struct db *db, const struct site_belt *belt, double turned_deg,
                     struct site_record **out, size_t *count, struct err *err) {
    const double low_deg = fmax(-180.0, belt->low_lon_deg + turned_deg);
    const double high_deg = fmin(180.0, belt->high_lon_deg + turned_deg);
    const int64_t row = (int64_t)floor(belt->low_lat_deg * ROWS_PER_DEG);
    struct statement *statement;
    if (low_deg > high_deg)
        return 0;
    if (db_prepare(db,
                   SITE_SELECT "CAST(v.lat_deg * 5 AS INTEGER) IN ($1, $2, $3, $4) "
                               "AND v.lat_deg BETWEEN $5 AND $6 AND v.lon_deg BETWEEN $7 AND $8",
                   &statement, err))
        return -1;
    for (int i = 0; i < 4; i++)
        bind_int(statement, 1 + i, row + i);
    bind_real(statement, 5, belt->low_lat_deg);
    bind_real(statement, 6, belt->high_lat_deg);
    bind_real(statement, 7, low_deg);
    bind_real(statement, 8, high_deg);
    return read_more(statement, out, count, err);
}

int site_rows_about(struct db *db, const struct site_belt *belt, struct site_record **out,
                    size_t *count, struct err *err) {
    struct site_record *items = NULL;
    size_t n = 0;
    assert(belt->high_lat_deg - belt->low_lat_deg <= SITE_BELT_DEG);
    if (add_about(db, belt, 0.0, &items, &n, err) || add_about(db, belt, 360.0, &items, &n, err) ||
        add_about(db, belt, -360.0, &items, &n, err)) {
        free(items);
        return -1;
    }
    *out = items;
    *count = n;
    return 0;
}

int site_rows_list(struct db *db, const char *after, int64_t limit, struct site_record **out,
                   size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, SITE_SELECT "s.site > $1 ORDER BY s.site LIMIT $2", &statement, err))
        return -1;
    bind_text(statement, 1, after);
    bind_int(statement, 2, limit);
    return read_all(statement, out, count, err);
}

int site_rows_add(struct db *db, const char *site, double now_utc_s, int64_t *id, struct err *err) {
    int64_t next;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("site"), &next, err) ||
        db_prepare(db, "INSERT INTO site (id, site, created_utc_s) VALUES ($1, $2, $3)", &statement,
                   err))
        return -1;
    bind_int(statement, 1, next);
    bind_text(statement, 2, site);
    bind_real(statement, 3, now_utc_s);
    if (statement_run(statement, err))
        return -1;
    *id = next;
    return 0;
}

int site_rows_add_version(struct db *db, int64_t id, int64_t version,
                          const struct site_record *record, int64_t by, double now_utc_s,
                          struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO site_version (site, version, name, lat_deg, lon_deg, elev_m, zone, "
                   "gnomon_mm, edge, contact, recorded_utc_s, recorded_by, position_decimals) "
                   "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, version);
    bind_text(statement, 3, record->name);
    bind_real(statement, 4, record->exact.lat_deg);
    bind_real(statement, 5, record->exact.lon_deg);
    bind_real(statement, 6, record->exact.elevation_m);
    bind_text(statement, 7, record->zone);
    bind_real(statement, 8, record->gnomon_mm);
    bind_text(statement, 9, edge_name(record->edge));
    bind_text(statement, 10, record->contact);
    bind_real(statement, 11, now_utc_s);
    bind_id_or_null(statement, 12, by);
    bind_id_or_null(statement, 13, record->position_decimals);
    return statement_run(statement, err);
}
