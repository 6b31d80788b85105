/* SPDX-License-Identifier: MIT */
/* review_rows: what was said about runs, and what gives reason to. */
#include "server/store/review_rows.h"

#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

int review_rows_add(struct db *db, const struct review_record *review, int64_t by, int64_t *id,
                    struct err *err) {
    struct statement *statement;
    int64_t next;
    if (next_id(db, NEXT_ID_OF("review"), &next, err) ||
        db_prepare(db,
                   "INSERT INTO review (id, run, verdict, reason, recorded_utc_s, recorded_by) "
                   "VALUES ($1, $2, $3, $4, $5, $6)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, next);
    bind_int(statement, 2, review->run);
    bind_text(statement, 3, review_verdict_name(review->verdict));
    bind_text(statement, 4, review->reason);
    bind_real(statement, 5, review->recorded_utc_s);
    bind_id_or_null(statement, 6, by);
    if (statement_run(statement, err))
        return -1;
    *id = next;
    return 0;
}

static void read_review(struct statement *statement, struct review_record *out) {
    *out = (struct review_record){.id = column_int(statement, 0), .run = column_int(statement, 1)};
    review_verdict_parse(column_text(statement, 2, NULL), &out->verdict);
    column_copy(statement, 3, out->reason, sizeof out->reason);
    out->recorded_utc_s = column_real(statement, 4);
    column_copy(statement, 5, out->by, sizeof out->by);
}

static int list_reviews(struct db *db, const char *sql, int64_t about, struct review_record **out,
                        size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, sql, &statement, err))
        return -1;
    bind_int(statement, 1, about);
    struct review_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct review_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        read_review(statement, &items[n++]);
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

#define REVIEWS                                                                                    \
    "SELECT v.id, v.run, v.verdict, v.reason, v.recorded_utc_s, c.role FROM review v "             \
    "LEFT JOIN credential c ON c.id = v.recorded_by "

int review_rows_of_run(struct db *db, int64_t run, struct review_record **out, size_t *count,
                       struct err *err) {
    return list_reviews(db, REVIEWS "WHERE v.run = $1 ORDER BY v.id", run, out, count, err);
}

int review_rows_of_runs_of(struct db *db, int64_t site, struct review_record **out, size_t *count,
                           struct err *err) {
    return list_reviews(db, REVIEWS "JOIN run r ON r.id = v.run WHERE r.site = $1 ORDER BY v.id",
                        site, out, count, err);
}

int review_rows_excluded(struct db *db, int64_t run, bool *out, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT verdict FROM review WHERE run = $1 AND verdict IN ('exclude', 'accept') "
                   "ORDER BY id DESC LIMIT 1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, run);
    enum step step = statement_step(statement, err);
    bool excluded = step == STEP_ROW && strcmp(column_text(statement, 0, NULL), "exclude") == 0;
    statement_done(statement);
    if (step == STEP_FAILED)
        return -1;
    *out = excluded;
    return 0;
}

int review_rows_exclusions(struct db *db, int64_t day, struct exclusion_record **out, size_t *count,
                           struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT r.run, s.site, v.reason, v.recorded_utc_s FROM reduction r "
                   "JOIN review v ON v.run = r.run JOIN site s ON s.id = r.site "
                   "WHERE r.day = $1 AND r.counts = 0 AND r.is_current = 1 "
                   "AND v.verdict = 'exclude' AND NOT EXISTS (SELECT 1 FROM review w "
                   "WHERE w.run = v.run AND w.id > v.id AND w.verdict IN ('exclude', 'accept')) "
                   "ORDER BY s.site",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    struct exclusion_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct exclusion_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        items[n].run = column_int(statement, 0);
        column_copy(statement, 1, items[n].site, sizeof items[n].site);
        column_copy(statement, 2, items[n].reason, sizeof items[n].reason);
        items[n].excluded_utc_s = column_real(statement, 3);
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

#define QUEUE_SELECT                                                                               \
    "SELECT r.run, s.site, r.noon_angle_deg, r.sigma_deg, r.counts FROM reduction r "              \
    "JOIN site s ON s.id = r.site WHERE r.day = $1 AND r.is_current = 1 AND "

static void read_queue(struct statement *statement, struct review_row *out) {
    out->run = column_int(statement, 0);
    column_copy(statement, 1, out->site, sizeof out->site);
    out->noon_angle_deg = column_real(statement, 2);
    out->sigma_deg = column_real(statement, 3);
    out->counts = column_int(statement, 4) != 0;
}

int review_rows_queue(struct db *db, int64_t day, struct review_row **out, size_t *count,
                      struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   QUEUE_SELECT "(EXISTS (SELECT 1 FROM run_flag f WHERE f.run = r.run) "
                                "OR EXISTS (SELECT 1 FROM review v WHERE v.run = r.run)) "
                                "ORDER BY s.site",
                   &statement, err))
        return -1;
    bind_int(statement, 1, day);
    struct review_row *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct review_row *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        read_queue(statement, &items[n++]);
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

enum found review_rows_of_site(struct db *db, int64_t day, const char *site, struct review_row *out,
                               struct err *err) {
    struct statement *statement;
    if (db_prepare(db, QUEUE_SELECT "s.site = $2", &statement, err))
        return FOUND_FAILED;
    bind_int(statement, 1, day);
    bind_text(statement, 2, site);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        read_queue(statement, out);
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

static int forget_flags(struct db *db, int64_t run, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "DELETE FROM run_flag WHERE run = $1", &statement, err))
        return -1;
    bind_int(statement, 1, run);
    return statement_run(statement, err);
}

int flag_rows_put(struct db *db, int64_t run, bool is_new, const struct flag_record *flags,
                  int count, struct err *err) {
    struct statement *statement;
    if (!is_new && forget_flags(db, run, err))
        return -1;
    for (int i = 0; i < count; i++) {
        if (db_prepare(db, "INSERT INTO run_flag (run, flag) VALUES ($1, $2)", &statement, err))
            return -1;
        bind_int(statement, 1, run);
        bind_text(statement, 2, flag_name(flags[i].flag));
        if (statement_run(statement, err))
            return -1;
    }
    return 0;
}
