/* SPDX-License-Identifier: MIT */
#include "server/store/privacy_rows.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

#define TOKEN_MAX (ID_MAX + 16)

/* subject is an address, in which the site's identifier stands last. */
static int rename_in_audit(struct db *db, const char *old, const char *new, struct err *err) {
    char old_end[TOKEN_MAX], new_end[TOKEN_MAX];
    struct statement *statement;
    if (db_prepare(db,
                   "UPDATE audit SET subject = "
                   "substr(subject, 1, length(subject) - length($1)) || $2 "
                   "WHERE length(subject) >= length($1) "
                   "AND substr(subject, length(subject) - length($1) + 1) = $1 "
                   "AND (length(subject) = length($1) OR "
                   "substr(subject, length(subject) - length($1), 1) = '/')",
                   &statement, err))
        return -1;
    snprintf(old_end, sizeof old_end, "sites/%s", old);
    snprintf(new_end, sizeof new_end, "sites/%s", new);
    bind_text(statement, 1, old_end);
    bind_text(statement, 2, new_end);
    return statement_run(statement, err);
}

/* In an answer, JSON of ours, the identifier is a string of its own. */
static int rename_in_answers(struct db *db, int64_t site, const char *old, const char *new,
                             struct err *err) {
    char old_token[TOKEN_MAX], new_token[TOKEN_MAX], pattern[TOKEN_MAX];
    struct statement *statement;
    if (db_prepare(db,
                   "UPDATE run SET answer = replace(answer, $1, $2) WHERE answer LIKE $3 "
                   "AND day IN (SELECT day FROM run WHERE site = $4)",
                   &statement, err))
        return -1;
    snprintf(old_token, sizeof old_token, "\"%s\"", old);
    snprintf(new_token, sizeof new_token, "\"%s\"", new);
    snprintf(pattern, sizeof pattern, "%%\"%s\"%%", old);
    bind_text(statement, 1, old_token);
    bind_text(statement, 2, new_token);
    bind_text(statement, 3, pattern);
    bind_int(statement, 4, site);
    return statement_run(statement, err);
}

int privacy_rows_rename_site(struct db *db, int64_t site, const char *old, const char *new,
                             struct err *err) {
    struct statement *statement;
    if (db_prepare(db, "UPDATE site SET site = $1 WHERE id = $2", &statement, err))
        return -1;
    bind_text(statement, 1, new);
    bind_int(statement, 2, site);
    return statement_run(statement, err) || rename_in_audit(db, old, new, err) ||
                   rename_in_answers(db, site, old, new, err)
               ? -1
               : 0;
}

/* A statement with the site's number as its only parameter. */
static int run_about(struct db *db, const char *sql, int64_t id, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, sql, &statement, err))
        return -1;
    bind_int(statement, 1, id);
    return statement_run(statement, err);
}

int privacy_rows_erase_site(struct db *db, int64_t site, const struct site_record *record,
                            struct err *err) {
    struct statement *statement;
    if (run_about(db,
                  "DELETE FROM site_version WHERE site = $1 AND version < "
                  "(SELECT MAX(w.version) FROM site_version w WHERE w.site = $1)",
                  site, err) ||
        db_prepare(db,
                   "UPDATE site_version SET name = $1, lat_deg = $2, lon_deg = $3, elev_m = $4, "
                   "zone = $5, contact = $6, position_decimals = $7 WHERE site = $8",
                   &statement, err))
        return -1;
    bind_text(statement, 1, record->name);
    bind_real(statement, 2, record->exact.lat_deg);
    bind_real(statement, 3, record->exact.lon_deg);
    bind_real(statement, 4, record->exact.elevation_m);
    bind_text(statement, 5, record->zone);
    bind_text(statement, 6, record->contact);
    bind_id_or_null(statement, 7, record->position_decimals);
    bind_int(statement, 8, site);
    return statement_run(statement, err);
}

int privacy_rows_erase_words(struct db *db, int64_t site, struct err *err) {
    return run_about(db,
                     "UPDATE withdrawal SET reason = '' WHERE run IN "
                     "(SELECT id FROM run WHERE site = $1) AND withdrawn_by IN "
                     "(SELECT id FROM credential WHERE site = $1)",
                     site, err) ||
                   run_about(db,
                             "UPDATE review SET reason = '' WHERE run IN "
                             "(SELECT id FROM run WHERE site = $1) AND recorded_by IN "
                             "(SELECT id FROM credential WHERE site = $1)",
                             site, err) ||
                   run_about(db,
                             "UPDATE invitation SET name = 'Removed school', contact = '' "
                             "WHERE id IN "
                             "(SELECT invitation FROM invitation_use WHERE site = $1)",
                             site, err)
               ? -1
               : 0;
}

int privacy_rows_end_sessions(struct db *db, int64_t site, struct err *err) {
    return run_about(db,
                     "DELETE FROM session WHERE credential IN "
                     "(SELECT id FROM credential WHERE site = $1)",
                     site, err);
}

int privacy_rows_add_removal(struct db *db, int64_t site, const char *reason, int64_t by,
                             double now_utc_s, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO removal (site, removed_utc_s, removed_by, reason) "
                   "VALUES ($1, $2, $3, $4)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, site);
    bind_real(statement, 2, now_utc_s);
    bind_id_or_null(statement, 3, by);
    bind_text(statement, 4, reason);
    return statement_run(statement, err);
}

/* The numbers a statement answers; hands it back. */
static int read_numbers(struct statement *statement, int64_t **out, size_t *count,
                        struct err *err) {
    int64_t *items = NULL;
    size_t n = 0;
    enum step step;
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

int privacy_rows_days_without_run(struct db *db, int64_t site, int64_t **out, size_t *count,
                                  struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT p.day FROM participation p WHERE p.site = $1 AND p.event = 'join' "
                   "AND p.id = (SELECT MAX(q.id) FROM participation q "
                   "WHERE q.day = p.day AND q.site = p.site) "
                   "AND NOT EXISTS (SELECT 1 FROM run r WHERE r.day = p.day AND r.site = p.site) "
                   "ORDER BY p.day",
                   &statement, err))
        return -1;
    bind_int(statement, 1, site);
    return read_numbers(statement, out, count, err);
}

int privacy_rows_replace_body(struct db *db, int64_t run, const char *body, size_t length,
                              struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "UPDATE run SET body = $1, answer = '', idempotency_key = NULL WHERE id = $2",
                   &statement, err))
        return -1;
    bind_bytes(statement, 1, body, length);
    bind_int(statement, 2, run);
    return statement_run(statement, err);
}

int privacy_rows_forget_registration(struct db *db, int64_t site, struct err *err) {
    return run_about(db, "DELETE FROM registration WHERE site = $1", site, err);
}

int privacy_rows_forget_answer(struct db *db, int64_t run, struct err *err) {
    return run_about(db, "UPDATE run SET answer = '', idempotency_key = NULL WHERE id = $1", run,
                     err);
}

int privacy_rows_silent_sites(struct db *db, double since_utc_s, char (**out)[ID_MAX + 1],
                              size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT s.site FROM site s WHERE s.id NOT IN (SELECT site FROM removal) "
                   "AND s.id NOT IN (SELECT site FROM site_version WHERE recorded_utc_s >= $1) "
                   "AND s.id NOT IN (SELECT site FROM participation WHERE recorded_utc_s >= $1) "
                   "AND s.id NOT IN (SELECT site FROM run WHERE submitted_utc_s >= $1) "
                   "AND s.id NOT IN (SELECT site FROM sky_report WHERE reported_utc_s >= $1) "
                   "ORDER BY s.site",
                   &statement, err))
        return -1;
    bind_real(statement, 1, since_utc_s);
    char(*items)[ID_MAX + 1] = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        char(*grown)[ID_MAX + 1] = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        column_copy(statement, 0, items[n++], sizeof *items);
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

int privacy_rows_runs_with_words(struct db *db, double before_utc_s, int64_t **out, size_t *count,
                                 struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT id FROM run WHERE submitted_utc_s < $1 AND (body LIKE '%\"sky\"%' "
                   "OR body LIKE '%\"level\"%' OR body LIKE '%\"note\"%') ORDER BY id",
                   &statement, err))
        return -1;
    bind_real(statement, 1, before_utc_s);
    return read_numbers(statement, out, count, err);
}

int privacy_rows_runs_with_answers(struct db *db, double before_utc_s, int64_t **out, size_t *count,
                                   struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT id FROM run WHERE submitted_utc_s < $1 AND idempotency_key IS NOT NULL "
                   "ORDER BY id",
                   &statement, err))
        return -1;
    bind_real(statement, 1, before_utc_s);
    return read_numbers(statement, out, count, err);
}

#define CONTACT_OVER                                                                               \
    "contact <> '' AND recorded_utc_s < $1 AND version < "                                         \
    "(SELECT MAX(w.version) FROM site_version w WHERE w.site = site_version.site)"

int privacy_rows_over(struct db *db, enum privacy_kind kind, double before_utc_s, bool erase,
                      int64_t *count, struct err *err) {
    static const struct {
        const char *count, *erase;
    } sql[] = {
        [PRIVACY_AUDIT] = {"SELECT COUNT(*) FROM audit WHERE at_utc_s < $1",
                           "DELETE FROM audit WHERE at_utc_s < $1"},
        [PRIVACY_SESSION] = {"SELECT COUNT(*) FROM session WHERE expires_utc_s < $1",
                             "DELETE FROM session WHERE expires_utc_s < $1"},
        [PRIVACY_CONTACT] = {"SELECT COUNT(*) FROM site_version WHERE " CONTACT_OVER,
                             "UPDATE site_version SET contact = '' WHERE " CONTACT_OVER},
        [PRIVACY_REGISTRATION] = {"SELECT COUNT(*) FROM registration WHERE registered_utc_s < $1",
                                  "DELETE FROM registration WHERE registered_utc_s < $1"},
        [PRIVACY_INVITATION] = {"SELECT COUNT(*) FROM invitation WHERE contact <> '' "
                                "AND recorded_utc_s < $1",
                                "UPDATE invitation SET contact = '' WHERE contact <> '' "
                                "AND recorded_utc_s < $1"},
    };
    struct statement *statement;
    if (db_prepare(db, sql[kind].count, &statement, err))
        return -1;
    bind_real(statement, 1, before_utc_s);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        *count = column_int(statement, 0);
    statement_done(statement);
    if (step != STEP_ROW)
        return -1;
    if (!erase || *count == 0)
        return 0;
    if (db_prepare(db, sql[kind].erase, &statement, err))
        return -1;
    bind_real(statement, 1, before_utc_s);
    return statement_run(statement, err);
}
