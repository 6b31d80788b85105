/* SPDX-License-Identifier: MIT */
/* partner_rows: questions about partnering and partner_event. */
#include "server/store/partner_rows.h"

#include <math.h>
#include <stdlib.h>

#include "server/store/array.h"
#include "server/store/day_rows.h"
#include "server/store/next_id.h"
#include "server/store/run_rows.h"
#include "server/store/site_rows.h"
#include "server/store/sky_rows.h"
#include "server/store/taking_part.h"

int partner_rows_choose(struct db *db, int64_t day, const char *method, int64_t by,
                        double now_utc_s, int64_t *out, struct err *err) {
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("partnering"), out, err) ||
        db_prepare(db,
                   "INSERT INTO partnering (id, day, method, recorded_utc_s, recorded_by) "
                   "VALUES ($1, $2, $3, $4, $5)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, *out);
    bind_int(statement, 2, day);
    bind_text(statement, 3, method);
    bind_real(statement, 4, now_utc_s);
    bind_id_or_null(statement, 5, by);
    return statement_run(statement, err);
}

enum found partner_rows_chosen(struct db *db, int64_t day, int64_t *out, double *at_utc_s,
                               struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT id, recorded_utc_s FROM partnering WHERE day = $1 "
                   "ORDER BY id DESC LIMIT 1",
                   &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, day);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        *out = column_int(statement, 0);
        *at_utc_s = column_real(statement, 1);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

int partner_rows_next_id(struct db *db, int64_t *out, struct err *err) {
    return next_id(db, NEXT_ID_OF("partner_event"), out, err);
}

int partner_rows_add(struct db *db, int64_t id, int64_t day, const struct partner_row *row,
                     double now_utc_s, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO partner_event (id, day, site, partner, kind, partnering, because, "
                   "expected_sigma_km, recorded_utc_s) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, day);
    bind_int(statement, 3, row->site);
    bind_id_or_null(statement, 4, row->partner);
    bind_text(statement, 5, partner_kind_name(row->kind));
    bind_id_or_null(statement, 6, row->partnering);
    bind_id_or_null(statement, 7, row->because);
    bind_real(statement, 8, row->partner ? row->expected_sigma_km : NAN);
    bind_real(statement, 9, now_utc_s);
    return statement_run(statement, err);
}

int partner_rows_of_site(struct db *db, int64_t day, int64_t site,
                         struct partner_row out[PARTNER_ROWS_MAX], int *count, struct err *err) {
    struct statement *statement;
    enum step step;
    if (db_prepare(db,
                   "SELECT partner, kind, partnering, because, expected_sigma_km "
                   "FROM partner_event WHERE day = $1 AND site = $2 ORDER BY id DESC LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site);
    bind_int(statement, 3, PARTNER_ROWS_MAX);
    *count = 0;
    while ((step = statement_step(statement, err)) == STEP_ROW && *count < PARTNER_ROWS_MAX) {
        struct partner_row *row = &out[(*count)++];
        *row = (struct partner_row){
            .site = site,
            .partner = column_int(statement, 0),
            .partnering = column_int(statement, 2),
            .because = column_int(statement, 3),
            .expected_sigma_km = column_real(statement, 4),
        };
        partner_kind_parse(column_text(statement, 1, NULL), &row->kind);
    }
    statement_done(statement);
    return step == STEP_FAILED ? -1 : 0;
}

static int read_hands(struct statement *statement, struct hand **out, size_t *count,
                      struct err *err) {
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct hand *grown = array_room(*out, *count, sizeof **out, err);
        if (!grown)
            break;
        *out = grown;
        struct hand *hand = &(*out)[(*count)++];
        hand->site = column_int(statement, 0);
        site_rows_read(statement, 1, &hand->record);
    }
    statement_done(statement);
    return step == STEP_DONE ? 0 : -1;
}

int partner_rows_hands(struct db *db, int64_t day, double low_deg, double high_deg,
                       struct hand **out, size_t *count, struct err *err) {
    struct statement *statement;
    /* CROSS JOIN keeps SQLite at the order that the index of longitudes serves. */
    if (db_prepare(db,
                   "SELECT s.id, " SITE_COLUMNS " FROM site_version v CROSS JOIN site s "
                   "CROSS JOIN participation p WHERE v.lon_deg >= $2 AND v.lon_deg <= $3 "
                   "AND s.id = v.site AND p.site = v.site AND " NEWEST_JOIN "AND " SITE_NEWEST
                   " AND " SAID " = 1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_real(statement, 2, low_deg);
    bind_real(statement, 3, high_deg);
    return read_hands(statement, out, count, err);
}

int partner_rows_near(struct db *db, double low_deg, double high_deg, struct hand **out,
                      size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT s.id, " SITE_COLUMNS " FROM site_version v CROSS JOIN site s "
                   "WHERE v.lon_deg >= $1 AND v.lon_deg <= $2 AND s.id = v.site AND " SITE_NEWEST,
                   &statement, err))
        return -1;
    bind_real(statement, 1, low_deg);
    bind_real(statement, 2, high_deg);
    return read_hands(statement, out, count, err);
}

int partner_rows_is_up(struct db *db, int64_t day, int64_t site, bool *out, struct err *err) {
    struct standing standing;
    enum sky sky = SKY_UNTOLD;
    double reported_utc_s;
    int64_t run;
    if (day_rows_standing(db, day, site, &standing, err) ||
        sky_rows_newest(db, day, site, &sky, &reported_utc_s, err) == FOUND_FAILED)
        return -1;
    *out = standing.stand == STAND_TAKEN && sky_is_open(sky);
    if (*out || standing.stand != STAND_TAKEN)
        return 0;
    enum found found = run_rows_current(db, day, site, &run, err);
    *out = found == FOUND_ONE;
    return found == FOUND_FAILED ? -1 : 0;
}

int partner_rows_sites(struct db *db, int64_t day, const char *after, int64_t limit, int64_t **out,
                       size_t *count, struct err *err) {
    struct statement *statement;
    int64_t *items = NULL;
    size_t n = 0;
    enum step step;
    if (db_prepare(
            db,
            "SELECT s.id FROM participation p JOIN site s ON s.id = p.site WHERE " NEWEST_JOIN
            "AND " SAID " = 1 AND s.site > $2 ORDER BY s.site LIMIT $3",
            &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_text(statement, 2, after);
    bind_int(statement, 3, limit);
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
