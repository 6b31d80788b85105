/* SPDX-License-Identifier: MIT */
/* purge: the rule of how long what people told us is kept, carried out.
 *
 * Counted back from now, by default PURGE_KEEP_DAYS (three years):
 *   a school of which nothing was heard since    is removed (removal.h); its numbers stay
 *   what classes wrote beside their readings     is erased, the readings stay
 *   lines of the audit log                       are erased
 *   contacts of invitations                      are erased
 * Always: what a request sent again is answered by, after PURGE_ANSWER_DAYS;
 * sessions that are over; contacts of sites that were replaced by others.
 * Each portion is a transaction of its own, so a server may be at work beside it. */
#ifndef NOONARC_PURGE_H
#define NOONARC_PURGE_H

#include <stdint.h>

#include "server/base/text.h"
#include "server/rules/change.h"

#define PURGE_KEEP_DAYS 1095
#define PURGE_ANSWER_DAYS 90

struct purge_counts {
    int64_t schools;
    int64_t words; /* runs */
    int64_t audit;
    int64_t invitations;
    int64_t answers;       /* to runs */
    int64_t registrations; /* answered again until then */
    int64_t sessions;
    int64_t contacts;
};

/* READ. What would be done. names (may be NULL) gets a line for each school. */
int purge_count(struct db *db, int keep_days, double now_utc_s, struct purge_counts *out,
                struct text *names, struct err *err) __attribute__((warn_unused_result));

/* Does it, in transactions of its own, and notes it in the audit log. *out counts what
 * was done, also when it ends early. */
int purge_do(struct change *change, int keep_days, double now_utc_s, struct purge_counts *out,
             struct err *err) __attribute__((warn_unused_result));

#endif
