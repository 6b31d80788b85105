/* SPDX-License-Identifier: MIT */
/* own_data: everything that is kept of a school, for itself: its record and how that
 * came about, its runs whatever became of them, what was said about those, what else
 * happened, and the lines of the audit log that are about it. Secrets are not in it:
 * nobody has them. */
#ifndef NOONARC_RULES_OWN_DATA_H
#define NOONARC_RULES_OWN_DATA_H

#include "server/rules/audit.h"
#include "server/rules/caller.h"
#include "server/rules/runs.h"
#include "server/wire/own_data.h"
#include "server/wire/review.h"

struct own_data {
    struct site_record site;
    struct site_history *version; /* oldest first */
    size_t versions;
    struct run_view *run; /* by number, superseded and withdrawn ones too */
    size_t runs;
    struct review_record *review; /* oldest first */
    size_t reviews;
    struct happening *happening; /* in order of time */
    size_t happenings;
    struct audit_record *line; /* oldest first */
    size_t lines;
};
void own_data_release(struct own_data *data);

/* READ, school or organiser. ERR_NOT_FOUND. */
int own_data_gather(struct db *db, struct almanac *almanac, const struct caller *caller,
                    const char *site, struct own_data *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
