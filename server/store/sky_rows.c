/* SPDX-License-Identifier: MIT */
/* sky_rows: questions about sky_report. */
#include "server/store/sky_rows.h"

#include <math.h>
#include <stdlib.h>

#include "server/store/array.h"
#include "server/store/next_id.h"
#include "server/store/site_rows.h"
#include "server/store/taking_part.h"

int sky_rows_add(struct db *db, int64_t day, int64_t site, enum sky sky, int64_t by,
                 double now_utc_s, struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("sky_report"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO sky_report (id, day, site, sky, reported_utc_s, reported_by) "
                   "VALUES ($1, $2, $3, $4, $5, $6)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, day);
    bind_int(statement, 3, site);
    bind_text(statement, 4, sky_name(sky));
    bind_real(statement, 5, now_utc_s);
    bind_id_or_null(statement, 6, by);
    return statement_run(statement, err);
}

enum found sky_rows_newest(struct db *db, int64_t day, int64_t site, enum sky *out,
                           double *reported_utc_s, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT sky, reported_utc_s FROM sky_report WHERE day = $1 AND site = $2 "
                   "ORDER BY id DESC LIMIT 1",
                   &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW) {
        sky_parse(column_text(statement, 0, NULL), out);
        *reported_utc_s = column_real(statement, 1);
    }
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

/* The newest report and the current run beside a site s with its version v; $1 is the
 * day. */
#define LINE_COLUMNS "s.site, v.name, k.sky, k.reported_utc_s, r.run, r.used + r.left_out "
#define LINE_JOINS                                                                                 \
    "LEFT JOIN sky_report k ON k.id = (SELECT MAX(l.id) FROM sky_report l "                        \
    "WHERE l.day = $1 AND l.site = s.id) "                                                         \
    "LEFT JOIN reduction r ON r.day = $1 AND r.site = s.id AND r.is_current = 1 "

#define TAKING_PART "FROM participation p JOIN site s ON s.id = p.site "
#define TAKES_PART "WHERE " NEWEST_JOIN "AND " SAID " = 1 "

static void read_line(struct statement *statement, struct sky_record *out) {
    *out = (struct sky_record){.sky = SKY_UNTOLD};
    column_copy(statement, 0, out->site, sizeof out->site);
    column_copy(statement, 1, out->name, sizeof out->name);
    sky_parse(column_text(statement, 2, NULL), &out->sky);
    out->reported_utc_s = column_real(statement, 3);
    out->run = column_int(statement, 4);
    out->readings = (int)column_int(statement, 5);
}

int sky_rows_board(struct db *db, int64_t day, const char *after, int64_t limit,
                   struct sky_record **out, size_t *count, struct err *err) {
    struct statement *statement;
    struct sky_record *items = NULL;
    size_t n = 0;
    enum step step;
    if (db_prepare(db,
                   "SELECT " LINE_COLUMNS TAKING_PART
                   "JOIN site_version v ON v.site = s.id " LINE_JOINS TAKES_PART
                   "AND s.site > $2 AND " SITE_NEWEST " ORDER BY s.site LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_text(statement, 2, after);
    bind_int(statement, 3, limit);
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct sky_record *grown = array_room(items, n, sizeof *items, err);
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

enum found sky_rows_line(struct db *db, int64_t day, int64_t site, struct sky_record *out,
                         struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT " LINE_COLUMNS
                   "FROM site s JOIN site_version v ON v.site = s.id " LINE_JOINS
                   "WHERE s.id = $2 AND " SITE_NEWEST,
                   &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        read_line(statement, out);
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

int sky_rows_counts(struct db *db, int64_t day, struct sky_counts *out, struct err *err) {
    struct statement *statement;
    struct sky_counts counts = {0};
    enum step step;
    if (db_prepare(db,
                   "SELECT k.sky, COUNT(*), COUNT(r.run), COALESCE(SUM(r.used + r.left_out), "
                   "0) " TAKING_PART LINE_JOINS TAKES_PART "GROUP BY k.sky",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        enum sky sky = SKY_UNTOLD;
        sky_parse(column_text(statement, 0, NULL), &sky);
        counts.sites[sky] += column_int(statement, 1);
        counts.runs += column_int(statement, 2);
        counts.readings += column_int(statement, 3);
    }
    statement_done(statement);
    if (step != STEP_DONE)
        return -1;
    *out = counts;
    return 0;
}
