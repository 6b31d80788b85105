/* SPDX-License-Identifier: MIT */
/* pair_rows: questions about pair. */
#include "server/store/pair_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"

int pair_rows_add(struct db *db, int64_t day, int64_t site1, int64_t site2, const struct pair *pair,
                  struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO pair (day, site1, site2, status, separation_km, angle_deg, "
                   "angle_sigma_deg, circumference_km, sigma_km, low_km, high_km, error_km) "
                   "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site1);
    bind_int(statement, 3, site2);
    bind_text(statement, 4, pair_status_name(pair->status));
    bind_real(statement, 5, pair->separation_km);
    bind_real(statement, 6, pair->angle_deg);
    bind_real(statement, 7, pair->angle_sigma_deg);
    bind_real(statement, 8, pair->circumference_km);
    bind_real(statement, 9, pair->sigma_km);
    bind_real(statement, 10, pair->low_km);
    bind_real(statement, 11, pair->high_km);
    bind_real(statement, 12,
              pair->status == PAIR_OK ? fabs(pair->circumference_km - MERIDIAN_CIRCUMFERENCE_KM)
                                      : NAN);
    return statement_run(statement, err);
}

/* Two statements, each along its own index. */
int pair_rows_forget(struct db *db, int64_t day, int64_t site, struct err *err) {
    static const char *const sql[] = {"DELETE FROM pair WHERE day = $1 AND site1 = $2",
                                      "DELETE FROM pair WHERE day = $1 AND site2 = $2"};
    for (int i = 0; i < 2; i++) {
        struct statement *statement;
        if (db_prepare(db, sql[i], &statement, err))
            return -1;
        bind_int(statement, 1, day);
        bind_int(statement, 2, site);
        if (statement_run(statement, err))
            return -1;
    }
    return 0;
}

#define PAIR_SELECT                                                                                \
    "SELECT a.site, b.site, p.status, p.separation_km, p.angle_deg, p.angle_sigma_deg, "           \
    "p.circumference_km, p.sigma_km, p.low_km, p.high_km FROM pair p "                             \
    "JOIN site a ON a.id = p.site1 JOIN site b ON b.id = p.site2 WHERE p.day = $1 "

static void read_pair(struct statement *statement, struct pair_record *out) {
    column_copy(statement, 0, out->site1, sizeof out->site1);
    column_copy(statement, 1, out->site2, sizeof out->site2);
    const char *status = column_text(statement, 2, NULL);
    out->pair.status = PAIR_ANGLE_UNSURE;
    for (int s = PAIR_OK; s <= PAIR_TOO_UNSURE; s++)
        if (strcmp(status, pair_status_name((enum pair_status)s)) == 0)
            out->pair.status = (enum pair_status)s;
    out->pair.separation_km = column_real(statement, 3);
    out->pair.angle_deg = column_real(statement, 4);
    out->pair.angle_sigma_deg = column_real(statement, 5);
    out->pair.circumference_km = column_real(statement, 6);
    out->pair.sigma_km = column_real(statement, 7);
    out->pair.low_km = column_real(statement, 8);
    out->pair.high_km = column_real(statement, 9);
}

static int read_list(struct statement *statement, struct pair_record **out, size_t *count,
                     struct err *err) {
    struct pair_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct pair_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        read_pair(statement, &items[n++]);
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

int pair_rows_list(struct db *db, int64_t day, const char *after1, const char *after2,
                   int64_t limit, struct pair_record **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   PAIR_SELECT "AND (a.site > $2 OR (a.site = $2 AND b.site > $3)) "
                               "ORDER BY a.site, b.site LIMIT $4",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_text(statement, 2, after1);
    bind_text(statement, 3, after2);
    bind_int(statement, 4, limit);
    return read_list(statement, out, count, err);
}

int pair_rows_of_site(struct db *db, int64_t day, int64_t site, int64_t limit,
                      struct pair_record **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   PAIR_SELECT "AND (p.site1 = $2 OR p.site2 = $2) "
                               "ORDER BY p.sigma_km IS NULL, p.sigma_km, a.site, b.site LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site);
    bind_int(statement, 3, limit);
    return read_list(statement, out, count, err);
}

int pair_rows_best(struct db *db, int64_t day, int64_t limit, struct pair_record **out,
                   size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   PAIR_SELECT "AND p.error_km >= 0 ORDER BY p.error_km, a.site, b.site LIMIT $2",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, limit);
    return read_list(statement, out, count, err);
}

int pair_rows_that_count(struct db *db, int64_t day, struct pair_sites **out, size_t *count,
                         struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT site1, site2 FROM pair WHERE day = $1 AND error_km >= 0", &statement,
                   err))
        return -1;
    bind_int(statement, 1, day);
    struct pair_sites *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct pair_sites *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        items[n++] = (struct pair_sites){column_int(statement, 0), column_int(statement, 1)};
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
