/* SPDX-License-Identifier: MIT */
/* audit_rows: who it was is looked up when a line is read, so that a school that was
 * taken out is named as it is now. */
#include "server/store/audit_rows.h"

#include <stdio.h>
#include <stdlib.h>

#include "server/store/array.h"
#include "server/store/next_id.h"

int audit_rows_add(struct db *db, const struct audit_new *line, struct err *err) {
    int64_t id;
    struct statement *statement;
    if (next_id(db, NEXT_ID_OF("audit"), &id, err) ||
        db_prepare(db,
                   "INSERT INTO audit (id, at_utc_s, by_credential, by_role, action, subject, "
                   "detail) VALUES ($1, $2, $3, $4, $5, $6, $7)",
                   &statement, err))
        return -1;
    bind_int(statement, 1, id);
    bind_real(statement, 2, line->at_utc_s);
    bind_id_or_null(statement, 3, line->by);
    bind_text(statement, 4, line->role);
    bind_text(statement, 5, line->action);
    bind_text(statement, 6, line->subject);
    bind_text(statement, 7, line->detail);
    return statement_run(statement, err);
}

static void read_line(struct statement *statement, struct audit_record *out) {
    out->number = column_int(statement, 0);
    out->at_utc_s = column_real(statement, 1);
    column_copy(statement, 2, out->role, sizeof out->role);
    column_copy(statement, 3, out->by, sizeof out->by);
    column_copy(statement, 4, out->action, sizeof out->action);
    column_copy(statement, 5, out->subject, sizeof out->subject);
    column_copy(statement, 6, out->detail, sizeof out->detail);
}

#define AUDIT_SELECT                                                                               \
    "SELECT a.id, a.at_utc_s, a.by_role, COALESCE(s.site, c.name, ''), a.action, "                 \
    "a.subject, a.detail FROM audit a "                                                            \
    "LEFT JOIN credential c ON c.id = a.by_credential LEFT JOIN site s ON s.id = c.site "

/* The lines of a statement with its parameters bound; hands it back. */
static int read_lines(struct statement *statement, struct audit_record **out, size_t *count,
                      struct err *err) {
    struct audit_record *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct audit_record *grown = array_room(items, n, sizeof *items, err);
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

int audit_rows_list(struct db *db, int64_t before, int64_t limit, struct audit_record **out,
                    size_t *count, struct err *err) {
    struct statement *statement;
    if (db_prepare(db, AUDIT_SELECT "WHERE a.id < $1 ORDER BY a.id DESC LIMIT $2", &statement, err))
        return -1;
    bind_int(statement, 1, before);
    bind_int(statement, 2, limit);
    return read_lines(statement, out, count, err);
}

int audit_rows_about(struct db *db, int64_t site, const char *site_id, struct audit_record **out,
                     size_t *count, struct err *err) {
    char address[AUDIT_SUBJECT_MAX + 1];
    struct statement *statement;
    if (db_prepare(db,
                   AUDIT_SELECT
                   "WHERE c.site = $1 OR a.subject = $2 OR a.subject IN "
                   "(SELECT 'days/' || d.day || '/' || $2 FROM day d) OR a.subject IN "
                   "(SELECT 'runs/' || CAST(r.id AS TEXT) FROM run r WHERE r.site = $1) "
                   "ORDER BY a.id",
                   &statement, err))
        return -1;
    snprintf(address, sizeof address, "sites/%s", site_id);
    bind_int(statement, 1, site);
    bind_text(statement, 2, address);
    return read_lines(statement, out, count, err);
}
