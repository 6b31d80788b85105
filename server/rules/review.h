/* SPDX-License-Identifier: MIT */
/* review: organisers look at flagged runs, ask the school, leave a run out or let it
 * count, always with a reason; schools answer. Nothing is deleted: an excluded run
 * stays recorded and shown, but no figure is made from it. */
#ifndef NOONARC_RULES_REVIEW_H
#define NOONARC_RULES_REVIEW_H

#include "server/rules/almanac.h"
#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/wire/review.h"

/* WRITE. ask, exclude, accept: organiser. answer: the run's school, and only to
 * what was asked (ERR_NOTHING_ASKED). A run that was corrected or withdrawn is no
 * longer looked at: ERR_RUN_NOT_CURRENT. In review run, verdict and reason are
 * given; out gets the rest. */
int review_record(struct change *change, const struct caller *caller,
                  const struct review_record *review, double now_utc_s, struct review_record *out,
                  struct err *err) __attribute__((warn_unused_result));

/* READ. What was said about a run, oldest first. Whoever is not its school or an
 * organiser is told of exclusions and acceptances alone. *out is to be freed. */
int review_list(struct db *db, const struct caller *caller, int64_t run, struct review_record **out,
                size_t *count, struct err *err) __attribute__((warn_unused_result));

struct review_page {
    struct review_item *items; /* by site */
    size_t count;
    char next[ID_MAX + 1];
};
void review_page_release(struct review_page *page);

/* READ, organiser. Current runs of a day with a flag, or of which something was
 * said. status NULL: all. limit as in list.h. */
int review_queue(struct db *db, struct almanac *almanac, const struct caller *caller,
                 const char *day, const enum review_status *status, const char *after, size_t limit,
                 struct review_page *out, struct err *err) __attribute__((warn_unused_result));

#endif
