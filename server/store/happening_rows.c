/* SPDX-License-Identifier: MIT */
#include "server/store/happening_rows.h"

#include <stdlib.h>

#include "server/store/array.h"

/* Each part: when, what, day, how it is put, reason. */
static const char story[] =
    "SELECT p.recorded_utc_s AS at, 'participation' AS what, d.day AS day, p.event AS said, "
    "'' AS reason FROM participation p JOIN day d ON d.id = p.day WHERE p.site = $1 "
    "UNION ALL SELECT k.reported_utc_s, 'sky', d.day, k.sky, '' FROM sky_report k "
    "JOIN day d ON d.id = k.day WHERE k.site = $1 "
    "UNION ALL SELECT a.recorded_utc_s, 'approval', d.day, "
    "CASE a.approved WHEN 1 THEN 'approved' ELSE 'not approved' END, a.reason FROM approval a "
    "JOIN day d ON d.id = a.day WHERE a.site = $1 "
    "UNION ALL SELECT w.withdrawn_utc_s, 'withdrawal', d.day, CAST(r.id AS TEXT), w.reason "
    "FROM withdrawal w JOIN run r ON r.id = w.run JOIN day d ON d.id = r.day WHERE r.site = $1 "
    "UNION ALL SELECT e.recorded_utc_s, 'partner', d.day, e.kind, COALESCE(s.site, '') "
    "FROM partner_event e JOIN day d ON d.id = e.day LEFT JOIN site s ON s.id = e.partner "
    "WHERE e.site = $1 "
    "UNION ALL SELECT c.created_utc_s, 'secret', '', "
    "CASE c.role WHEN 'school' THEN 'school key made' ELSE 'class code made' END, '' "
    "FROM credential c WHERE c.site = $1 "
    "UNION ALL SELECT x.revoked_utc_s, 'secret', '', "
    "CASE c.role WHEN 'school' THEN 'school key revoked' ELSE 'class code revoked' END, '' "
    "FROM revocation x JOIN credential c ON c.id = x.credential WHERE c.site = $1 "
    "UNION ALL SELECT n.recorded_utc_s, 'edition_consent', '', n.keeps, '' "
    "FROM edition_consent n WHERE n.site = $1 "
    "UNION ALL SELECT u.used_utc_s, 'invitation', '', z.season, i.name FROM invitation_use u "
    "JOIN invitation i ON i.id = u.invitation JOIN season z ON z.id = i.season "
    "WHERE u.site = $1 "
    "ORDER BY 1, 2, 3, 4";

int happening_rows_list(struct db *db, int64_t site, struct happening **out, size_t *count,
                        struct err *err) {
    struct statement *statement;
    if (db_prepare(db, story, &statement, err))
        return -1;
    bind_int(statement, 1, site);
    struct happening *items = NULL;
    size_t n = 0;
    enum step step;
    while ((step = statement_step(statement, err)) == STEP_ROW) {
        struct happening *grown = array_room(items, n, sizeof *items, err);
        if (!grown)
            break;
        items = grown;
        struct happening *row = &items[n++];
        row->at_utc_s = column_real(statement, 0);
        column_copy(statement, 1, row->what, sizeof row->what);
        column_copy(statement, 2, row->day, sizeof row->day);
        column_copy(statement, 3, row->said, sizeof row->said);
        column_copy(statement, 4, row->reason, sizeof row->reason);
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
