/* SPDX-License-Identifier: MIT */
/* reduction_rows: questions about reduction. */
#include "server/store/reduction_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"

static int forget(struct db *db, int64_t run, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "DELETE FROM reduction WHERE run = $1", &statement, err))
        return -1;
    bind_int(statement, 1, run);
    return statement_run(statement, err);
}

int reduction_rows_put(struct db *db, const struct reduction_row *row, struct err *err) {
    struct statement *statement;
    if ((!row->is_new && forget(db, row->run, err)) ||
        db_prepare(db,
                   "INSERT INTO reduction (run, day, site, counts, is_current, status, lat_deg, "
                   "lon_deg, meridian_m, transit_utc_s, declination_deg, expected_deg, "
                   "noon_angle_deg, sigma_deg, habit_sigma_deg, edge, gnomon_mm, estimator, used, "
                   "left_out) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, "
                   "$13, $14, $15, $16, $17, $18, $19, $20)",
                   &statement, err))
        return -1;
    const struct reduction_record *record = row->record;
    const struct noon_result *noon = row->noon;
    bind_int(statement, 1, row->run);
    bind_int(statement, 2, row->day);
    bind_int(statement, 3, row->site);
    bind_int(statement, 4, row->is_current && !row->is_excluded && noon);
    bind_int(statement, 5, row->is_current);
    bind_text(statement, 6, reduce_status_name(record->status));
    bind_real(statement, 7, row->lat_deg);
    bind_real(statement, 8, row->lon_deg);
    bind_real(statement, 9, row->meridian_m);
    bind_real(statement, 10, record->transit_utc_s);
    bind_real(statement, 11, record->declination_deg);
    bind_real(statement, 12, row->expected_deg);
    bind_real(statement, 13, noon ? noon->noon_angle_deg : NAN);
    bind_real(statement, 14, noon ? noon->sigma_deg : NAN);
    bind_real(statement, 15, noon ? noon->habit_sigma_deg : NAN);
    bind_text(statement, 16, edge_name(row->edge));
    bind_real(statement, 17, row->gnomon_mm);
    bind_text(statement, 18, noon ? estimator_name(record->published) : "");
    bind_int(statement, 19, record->used);
    bind_int(statement, 20, record->left_outs);
    return statement_run(statement, err);
}

int reduction_rows_retire(struct db *db, int64_t run, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "UPDATE reduction SET is_current = 0, counts = 0 WHERE run = $1", &statement,
                   err))
        return -1;
    bind_int(statement, 1, run);
    return statement_run(statement, err);
}

int reduction_rows_let_count(struct db *db, int64_t run, bool counts, struct err *err) {
    struct statement *statement;
    const char *sql = counts ? "UPDATE reduction SET counts = is_current WHERE run = $1 "
                               "AND noon_angle_deg IS NOT NULL"
                             : "UPDATE reduction SET counts = 0 WHERE run = $1";
    if (db_prepare(db, sql, &statement, err))
        return -1;
    bind_int(statement, 1, run);
    return statement_run(statement, err);
}

#define NOON_SELECT                                                                                \
    "SELECT r.day, r.site, s.site, r.expected_deg, r.lat_deg, r.lon_deg, r.meridian_m, "           \
    "r.transit_utc_s, r.declination_deg, r.noon_angle_deg, r.sigma_deg, r.habit_sigma_deg, "       \
    "r.edge, r.left_out FROM reduction r JOIN site s ON s.id = r.site WHERE r.day = $1 AND "       \
    "r.counts = 1 "

static void read_noon(struct statement *statement, struct day_noon *out) {
    enum edge edge = EDGE_UMBRA;
    column_copy(statement, 2, out->site, sizeof out->site);
    out->expected_deg = column_real(statement, 3);
    out->noon = (struct noon_result){0}; /* one noon a site on a day: nothing to share out */
    out->noon.key = column_int(statement, 1);
    out->noon.lat_deg = column_real(statement, 4);
    out->noon.lon_deg = column_real(statement, 5);
    out->noon.meridian_m = column_real(statement, 6);
    out->noon.transit_utc_s = column_real(statement, 7);
    out->noon.declination_deg = column_real(statement, 8);
    out->noon.noon_angle_deg = column_real(statement, 9);
    out->noon.sigma_deg = column_real(statement, 10);
    out->noon.habit_sigma_deg = column_real(statement, 11);
    edge_parse(column_text(statement, 12, NULL), &edge);
    out->noon.edge = edge;
    out->readings_left_out = (int)column_int(statement, 13);
}

static int append_noons(struct statement *statement, struct day_noon **out, size_t *count,
                        struct err *err) {
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct day_noon *grown = array_room(*out, *count, sizeof **out, err);
        if (!grown)
            break;
        *out = grown;
        read_noon(statement, &(*out)[(*count)++]);
    }
    statement_done(statement);
    return step == STEP_DONE ? 0 : -1;
}

int reduction_rows_of_day(struct db *db, int64_t day, struct day_noon **out, size_t *count,
                          struct err *err) {
    struct statement *statement;
    struct day_noon *items = NULL;
    size_t n = 0;
    if (db_prepare(db, NOON_SELECT "ORDER BY s.site", &statement, err))
        return -1;
    bind_int(statement, 1, day);
    if (append_noons(statement, &items, &n, err)) {
        free(items);
        return -1;
    }
    *out = items;
    *count = n;
    return 0;
}

static void read_line(struct statement *statement, struct reduction_record *out) {
    *out = (struct reduction_record){.noon_angle_deg = NAN, .sigma_deg = NAN};
    out->run = column_int(statement, 0);
    column_copy(statement, 1, out->site, sizeof out->site);
    const char *status = column_text(statement, 2, NULL);
    for (int s = REDUCE_OK; s <= REDUCE_IMPLAUSIBLE; s++)
        if (strcmp(status, reduce_status_name((enum reduce_status)s)) == 0)
            out->status = (enum reduce_status)s;
    out->transit_utc_s = column_real(statement, 3);
    out->noon_angle_deg = column_real(statement, 4);
    out->sigma_deg = column_real(statement, 5);
    const char *estimator = column_text(statement, 6, NULL);
    for (int e = 0; e < ESTIMATOR_COUNT; e++)
        if (strcmp(estimator, estimator_name((enum estimator)e)) == 0)
            out->published = (enum estimator)e;
    out->used = (int)column_int(statement, 7);
    out->left_outs = (int)column_int(statement, 8);
    out->counts = column_int(statement, 9) != 0;
}

int reduction_rows_lines(struct db *db, int64_t day, struct reduction_record **out, size_t *count,
                         struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT r.run, s.site, r.status, r.transit_utc_s, r.noon_angle_deg, "
                   "r.sigma_deg, r.estimator, r.used, r.left_out, r.counts FROM reduction r "
                   "JOIN site s ON s.id = r.site WHERE r.day = $1 AND r.is_current = 1 "
                   "ORDER BY s.site",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    struct reduction_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct reduction_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        read_line(statement, &items[n++]);
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

int reduction_rows_current(struct db *db, int64_t day, const char *after, int64_t limit,
                           struct current_run **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT r.run, s.site FROM reduction r JOIN site s ON s.id = r.site "
                   "WHERE r.day = $1 AND r.is_current = 1 AND s.site > $2 "
                   "ORDER BY s.site LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_text(statement, 2, after);
    bind_int(statement, 3, limit);
    struct current_run *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct current_run *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        items[n].run = column_int(statement, 0);
        column_copy(statement, 1, items[n].site, sizeof items[n].site);
        n++;
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
