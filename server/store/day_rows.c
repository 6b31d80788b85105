/* SPDX-License-Identifier: MIT */
/* day_rows: questions about day, spare_date and participation. */
#include "server/store/day_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"
#include "server/store/site_rows.h"
#include "server/store/taking_part.h"

/* The newest value of a kind of event, or what stands for none. */
#define NEWEST(column, event, otherwise)                                                           \
    "COALESCE((SELECT e." column " FROM day_event e WHERE e.day = d.id AND e.event = '" event      \
    "' ORDER BY e.id DESC LIMIT 1), " otherwise ")"
#define DATE_NOW NEWEST("date", "move", "d.date")
#define STATE_NOW NEWEST("state", "state", "'announced'")
#define BLIND_NOW NEWEST("blind", "blind", "1")
#define SEASON_NOW                                                                                 \
    "(SELECT n.season FROM season_day b JOIN season n ON n.id = b.season WHERE b.day = d.id)"
#define DAY_COLUMNS                                                                                \
    "d.id, d.day, d.name, d.date AS first_date, d.lon_tolerance_deg, d.min_separation_km, "        \
    "d.max_sigma_km, d.clock_bound_s, d.clock_rule"
#define DAY_FROM " FROM day d "
/* clang-format off */
#define DAY_SELECT                                                                                 \
    "SELECT " DAY_COLUMNS ", " DATE_NOW " AS date_now, " STATE_NOW " AS state_now, "               \
    BLIND_NOW ", " SEASON_NOW " AS season_now, " APPROVAL_OF("d.id") DAY_FROM
/* clang-format on */

/* What day.clock_rule says. */
#define CLOCK_KEEP "keep"
#define CLOCK_CORRECT "correct"

static void read_day(struct statement *statement, struct day_row *out) {
    out->id = column_int(statement, 0);
    day_record_init(&out->record);
    column_copy(statement, 1, out->record.day, sizeof out->record.day);
    column_copy(statement, 2, out->record.name, sizeof out->record.name);
    out->record.spares = 1; /* the first date, until read_spares puts all in their places */
    out->record.spare[0] = (int32_t)column_int(statement, 3);
    out->record.lon_tolerance_deg = column_real(statement, 4);
    out->record.min_separation_km = column_real(statement, 5);
    out->record.max_sigma_km = column_real(statement, 6);
    out->record.clock_bound_s = column_real(statement, 7);
    out->record.clock_correct = strcmp(column_text(statement, 8, NULL), CLOCK_CORRECT) == 0;
    out->record.date = (int32_t)column_int(statement, 9);
    day_state_parse(column_text(statement, 10, NULL), &out->record.state);
    out->record.blind = column_int(statement, 11) != 0;
    column_copy(statement, 12, out->record.season, sizeof out->record.season);
    out->needs_approval = column_int(statement, 13) != 0;
}

static int ascending(const void *one, const void *two) {
    const int32_t a = *(const int32_t *)one, b = *(const int32_t *)two;
    return (a > b) - (a < b);
}

/* All dates of a day but the one it is on now. */
static int read_spares(struct db *db, int64_t day, struct day_record *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT date FROM spare_date WHERE day = $1 ORDER BY place", &statement,
                   err))
        return -1;
    bind_int(statement, 1, day);
    enum step step;
    int32_t first = out->spare[0];
    out->spares = 0;
    if (first != out->date)
        out->spare[out->spares++] = first;
    while ((step = statement_step(statement, err)) == STEP_ROW && out->spares < DAY_SPARES_MAX) {
        int32_t date = (int32_t)column_int(statement, 0);
        if (date != out->date)
            out->spare[out->spares++] = date;
    }
    statement_done(statement);
    qsort(out->spare, (size_t)out->spares, sizeof out->spare[0], ascending);
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
    if (db_prepare(db, DAY_SELECT "WHERE d.day = $1", &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, day);
    return read_one(db, statement, out, err);
}

enum found day_rows_get(struct db *db, int64_t id, struct day_row *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, DAY_SELECT "WHERE d.id = $1", &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, id);
    return read_one(db, statement, out, err);
}

int day_rows_list(struct db *db, const struct day_filter *filter, int64_t limit,
                  struct day_record **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT * FROM (" DAY_SELECT ") AS a "
                   "WHERE (a.date_now > $1 OR (a.date_now = $1 AND a.day > $2)) "
                   "AND ($4 = '' OR a.season_now = $4) AND ($5 = 1 OR a.state_now <> 'planned') "
                   "ORDER BY a.date_now, a.day LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, filter->after_date);
    bind_text(statement, 2, filter->after_day);
    bind_int(statement, 3, limit);
    bind_text(statement, 4, filter->season);
    bind_int(statement, 5, filter->planned);
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
                 int64_t *out, struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("day"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO day (id, day, name, date, lon_tolerance_deg, min_separation_km, "
                   "max_sigma_km, opened_utc_s, opened_by, clock_bound_s, clock_rule) "
                   "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
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
    bind_real(statement, 10, record->clock_bound_s);
    bind_text(statement, 11, record->clock_correct ? CLOCK_CORRECT : CLOCK_KEEP);
    if (statement_run(statement, err))
        return -1;
    for (int i = 0; i < record->spares; i++)
        if (add_spare(db, id, i, record->spare[i], err))
            return -1;
    *out = id;
    return 0;
}

/* approved: 1, 0, or NULL for nothing said. */
static enum stand part_of(bool joined, bool said, int64_t approved, bool needs_approval) {
    if (!joined)
        return STAND_NONE;
    if (said)
        return approved ? STAND_TAKEN : STAND_REFUSED;
    return needs_approval ? STAND_WAITING : STAND_TAKEN;
}

#define EVENT_NOW                                                                                  \
    "(SELECT p.event FROM participation p WHERE p.day = $1 AND p.site = $2 "                       \
    "ORDER BY p.id DESC LIMIT 1)"
#define APPROVED_NOW                                                                               \
    "(SELECT a.approved FROM approval a WHERE a.day = $1 AND a.site = $2 "                         \
    "ORDER BY a.id DESC LIMIT 1)"

int day_rows_standing(struct db *db, int64_t day, int64_t site, struct standing *out,
                      struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT " STATE_NOW ", " EVENT_NOW ", " APPROVED_NOW ", " APPROVAL_OF("d.id")
                       DAY_FROM "WHERE d.id = $1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_int(statement, 2, site);
    enum step step = statement_step(statement, err);
    struct standing standing = {.state = DAY_ANNOUNCED};
    if (step == STEP_ROW) {
        day_state_parse(column_text(statement, 0, NULL), &standing.state);
        standing.joined = strcmp(column_text(statement, 1, NULL), "join") == 0;
        standing.stand = part_of(standing.joined, !column_null(statement, 2),
                                 column_int(statement, 2), column_int(statement, 3) != 0);
    }
    statement_done(statement);
    if (step == STEP_FAILED)
        return -1;
    *out = standing;
    return 0;
}

int day_rows_stand(struct db *db, const struct day_row *day, int64_t site, enum stand *out,
                   struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "SELECT " EVENT_NOW ", " APPROVED_NOW, &statement, err))
        return -1;
    bind_int(statement, 1, day->id);
    bind_int(statement, 2, site);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        *out = part_of(strcmp(column_text(statement, 0, NULL), "join") == 0,
                       !column_null(statement, 1), column_int(statement, 1), day->needs_approval);
    statement_done(statement);
    return step == STEP_ROW ? 0 : -1;
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

int day_rows_add_approval(struct db *db, int64_t day, int64_t site, bool approved,
                          const char *reason, int64_t by, double now_utc_s, struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("approval"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO approval (id, day, site, approved, reason, recorded_utc_s, "
                   "recorded_by) VALUES ($1, $2, $3, $4, $5, $6, $7)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, day);
    bind_int(statement, 3, site);
    bind_int(statement, 4, approved);
    bind_text(statement, 5, reason);
    bind_real(statement, 6, now_utc_s);
    bind_id_or_null(statement, 7, by);
    return statement_run(statement, err);
}

#define PARTICIPANT_SELECT "SELECT " SITE_COLUMNS ", r.run, r.gnomon_mm, r.edge FROM "
#define REDUCTION_OF                                                                               \
    "LEFT JOIN reduction r ON r.day = p.day AND r.site = p.site AND r.is_current = 1 "

static int read_participants(struct statement *statement, enum stand stand,
                             struct participant **out, size_t *count, struct err *err) {
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
        row->stand = stand;
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

int day_rows_with_standing(struct db *db, int64_t day, enum stand stand, const char *after,
                           int64_t limit, struct participant **out, size_t *count,
                           struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   PARTICIPANT_SELECT "participation p JOIN site s ON s.id = p.site "
                                      "JOIN site_version v ON v.site = s.id " REDUCTION_OF
                                      "WHERE " NEWEST_JOIN "AND s.site > $2 AND " SITE_NEWEST
                                      " AND " SAID " = $4 ORDER BY s.site LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_text(statement, 2, after);
    bind_int(statement, 3, limit);
    bind_int(statement, 4, stand == STAND_TAKEN ? 1 : stand == STAND_REFUSED ? 0 : -1);
    return read_participants(statement, stand, out, count, err);
}

int day_rows_participants(struct db *db, int64_t day, const char *after, int64_t limit,
                          struct participant **out, size_t *count, struct err *err) {
    return day_rows_with_standing(db, day, STAND_TAKEN, after, limit, out, count, err);
}

/* CROSS JOIN has the database begin at the index of longitudes. */
int day_rows_between(struct db *db, int64_t day, double low_deg, double high_deg,
                     struct participant **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   PARTICIPANT_SELECT
                   "site_version v CROSS JOIN site s CROSS JOIN participation p " REDUCTION_OF
                   "WHERE v.lon_deg >= $2 AND v.lon_deg <= $3 "
                   "AND s.id = v.site AND p.site = v.site AND " NEWEST_JOIN "AND " SITE_NEWEST
                   " AND " SAID " = 1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    bind_real(statement, 2, low_deg);
    bind_real(statement, 3, high_deg);
    return read_participants(statement, STAND_TAKEN, out, count, err);
}

/* The first longitude from one on at which a site lies that joined the day. */
static enum found next_longitude(struct db *db, int64_t day, double from_deg, double *out,
                                 struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT v.lon_deg FROM site_version v WHERE v.lon_deg >= $2 AND EXISTS "
                   "(SELECT 1 FROM participation p WHERE p.day = $1 AND p.site = v.site) "
                   "ORDER BY v.lon_deg LIMIT 1",
                   &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, day);
    bind_real(statement, 2, from_deg);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        *out = column_real(statement, 0);
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

int day_rows_degrees(struct db *db, int64_t day, double out[DAY_DEGREES_MAX], size_t *count,
                     struct err *err) {
    double from_deg = -180.0, lon_deg = 0.0;
    size_t n = 0;
    enum found found = FOUND_ONE;
    while (n < DAY_DEGREES_MAX &&
           (found = next_longitude(db, day, from_deg, &lon_deg, err)) == FOUND_ONE) {
        out[n++] = lon_deg;
        from_deg = floor(lon_deg) + 1.0;
    }
    if (found == FOUND_FAILED)
        return -1;
    *count = n;
    return 0;
}
