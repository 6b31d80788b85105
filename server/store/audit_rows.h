/* SPDX-License-Identifier: MIT */
/* audit_rows: lines of the audit log, appended and read back newest first. */
#ifndef NOONARC_AUDIT_ROWS_H
#define NOONARC_AUDIT_ROWS_H

#include "server/store/db.h"
#include "server/wire/audit.h"

struct audit_new {
    double at_utc_s;
    int64_t by;       /* credential, 0 none */
    const char *role; /* as in struct audit_record */
    const char *action, *subject, *detail;
};
int audit_rows_add(struct db *db, const struct audit_new *line, struct err *err)
    __attribute__((warn_unused_result));

/* Those with a number below before, newest first; at most limit (> 0). *out is to be
 * freed. */
int audit_rows_list(struct db *db, int64_t before, int64_t limit, struct audit_record **out,
                    size_t *count, struct err *err) __attribute__((warn_unused_result));

/* Those about a site, or about a run of it, or by its school and class, oldest first.
 * *out is to be freed. */
int audit_rows_about(struct db *db, int64_t site, const char *site_id, struct audit_record **out,
                     size_t *count, struct err *err) __attribute__((warn_unused_result));

#endif
