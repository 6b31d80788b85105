/* SPDX-License-Identifier: MIT */
/* invitation_rows: questions about invitation and invitation_use. */
#include "server/store/invitation_rows.h"

#include <stdlib.h>
#include <string.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

#define INVITATION_SELECT                                                                          \
    "SELECT i.id, n.season, i.name, i.contact, i.recorded_utc_s, s.site, u.used_utc_s "            \
    "FROM invitation i JOIN season n ON n.id = i.season "                                          \
    "LEFT JOIN invitation_use u ON u.invitation = i.id LEFT JOIN site s ON s.id = u.site "

static void read_invitation(struct statement *statement, struct invitation_record *out) {
    out->id = column_int(statement, 0);
    column_copy(statement, 1, out->season, sizeof out->season);
    column_copy(statement, 2, out->name, sizeof out->name);
    column_copy(statement, 3, out->contact, sizeof out->contact);
    out->invited_utc_s = column_real(statement, 4);
    column_copy(statement, 5, out->site, sizeof out->site);
    out->used_utc_s = column_real(statement, 6);
}

enum found invitation_rows_find(struct db *db, const char *hash, struct invitation_record *out,
                                struct err *err) {
    struct statement *statement;
    if (db_prepare(db, INVITATION_SELECT "WHERE i.hash = $1", &statement, err))
        return FOUND_FAILED;
    bind_text(statement, 1, hash);
    enum step step = statement_step(statement, err);
    if (step == STEP_ROW)
        read_invitation(statement, out);
    statement_done(statement);
    return step == STEP_ROW ? FOUND_ONE : step == STEP_DONE ? FOUND_NONE : FOUND_FAILED;
}

int invitation_rows_list(struct db *db, int64_t season, int64_t after, int64_t limit,
                         struct invitation_record **out, size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, INVITATION_SELECT "WHERE i.season = $1 AND i.id > $2 ORDER BY i.id LIMIT $3",
                   &statement, err))
        return -1;
    bind_int(statement, 1, season);
    bind_int(statement, 2, after);
    bind_int(statement, 3, limit);
    struct invitation_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct invitation_record *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        read_invitation(statement, &items[n++]);
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

int invitation_rows_add(struct db *db, int64_t season, const char *hash, const char *name,
                        const char *contact, int64_t by, double now_utc_s, struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("invitation"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO invitation (id, season, hash, name, contact, recorded_utc_s, "
                   "recorded_by) VALUES ($1, $2, $3, $4, $5, $6, $7)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_int(statement, 2, season);
    bind_text(statement, 3, hash);
    bind_text(statement, 4, name);
    bind_text(statement, 5, contact);
    bind_real(statement, 6, now_utc_s);
    bind_id_or_null(statement, 7, by);
    return statement_run(statement, err);
}

int invitation_rows_use(struct db *db, int64_t invitation, int64_t site, int64_t by,
                        double now_utc_s, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "INSERT INTO invitation_use (invitation, site, used_utc_s, used_by) "
                   "VALUES ($1, $2, $3, $4)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, invitation);
    bind_int(statement, 2, site);
    bind_real(statement, 3, now_utc_s);
    bind_id_or_null(statement, 4, by);
    return statement_run(statement, err);
}

int invitation_rows_of_site(struct db *db, int64_t site, const char *season, bool *here,
                            bool *elsewhere, struct err *err) {
    struct statement *statement;
    if (db_prepare(db,
                   "SELECT DISTINCT n.season FROM invitation_use u JOIN invitation i "
                   "ON i.id = u.invitation JOIN season n ON n.id = i.season WHERE u.site = $1",
                   &statement, err))
        return -1;
    bind_int(statement, 1, site);
    bool to_this = false, to_other = false;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        bool same = strcmp(column_text(statement, 0, NULL), season) == 0;
        to_this |= same;
        to_other |= !same;
    }
    statement_done(statement);
    if (step == STEP_FAILED)
        return -1;
    *here = to_this;
    *elsewhere = to_other;
    return 0;
}
