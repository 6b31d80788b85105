/* SPDX-License-Identifier: MIT */
/* accept_record: a run that has passed every check is recorded with its answer,
 * reduced and paired, for a single submission and a spreadsheet alike. */
#ifndef NOONARC_ACCEPT_RECORD_H
#define NOONARC_ACCEPT_RECORD_H

#include "server/rules/accept.h"
#include "server/rules/change.h"
#include "server/rules/derive.h"

struct accept_record {
    const struct day_row *day;
    const struct site_row *site;
    const struct run_record *sent; /* with supersedes */
    const struct reduction *reduction;
    const char *body;
    size_t body_length;
    const char *idempotency_key; /* NULL none */
    const struct caller *caller;
    double now_utc_s;
};

/* WRITE. write_answer NULL: the answer recorded is "". run and reduction_json (free
 * it) may be NULL when not wanted. *is_answered: the caller has used the key before, and
 * nothing was recorded; answer and the others are worth nothing then. */
int accept_record(struct change *change, const struct accept_record *record,
                  accept_answer write_answer, struct text *answer, int64_t *run,
                  char **reduction_json, bool *is_answered, struct err *err)
    __attribute__((warn_unused_result));

#endif
