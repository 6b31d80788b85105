/* SPDX-License-Identifier: MIT */
/* review_rows: questions about review and run_flag. */
#ifndef NOONARC_REVIEW_ROWS_H
#define NOONARC_REVIEW_ROWS_H

#include "server/store/db.h"
#include "server/wire/review.h"

/* Adds one and gives it its number. */
int review_rows_add(struct db *db, const struct review_record *review, int64_t by, int64_t *id,
                    struct err *err) __attribute__((warn_unused_result));

/* All about a run, oldest first. *out is to be freed. */
int review_rows_of_run(struct db *db, int64_t run, struct review_record **out, size_t *count,
                       struct err *err) __attribute__((warn_unused_result));

/* All about a site's runs, corrected and withdrawn ones too, oldest first. *out is to be
 * freed. */
int review_rows_of_runs_of(struct db *db, int64_t site, struct review_record **out, size_t *count,
                           struct err *err) __attribute__((warn_unused_result));

/* Whether the newest of exclude and accept is exclude. */
int review_rows_excluded(struct db *db, int64_t run, bool *out, struct err *err)
    __attribute__((warn_unused_result));

/* Current runs of a day that are left out by the newest verdict about them, by site.
 * *out is to be freed. */
int review_rows_exclusions(struct db *db, int64_t day, struct exclusion_record **out, size_t *count,
                           struct err *err) __attribute__((warn_unused_result));

/* A current run of a day with flags of its own or something said about it. */
struct review_row {
    int64_t run;
    char site[ID_MAX + 1];
    double noon_angle_deg, sigma_deg; /* NAN none */
    bool counts;
};
/* By site. *out is to be freed. */
int review_rows_queue(struct db *db, int64_t day, struct review_row **out, size_t *count,
                      struct err *err) __attribute__((warn_unused_result));

/* The same line of one site's current run on a day. */
enum found review_rows_of_site(struct db *db, int64_t day, const char *site, struct review_row *out,
                               struct err *err);

/* Puts a run's flags in place of those that are there; is_new: there are none as yet. */
int flag_rows_put(struct db *db, int64_t run, bool is_new, const struct flag_record *flags,
                  int count, struct err *err) __attribute__((warn_unused_result));

#endif
