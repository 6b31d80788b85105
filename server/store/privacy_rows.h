/* SPDX-License-Identifier: MIT */
/* privacy_rows: erasing what is kept of people, the one place that changes recorded
 * rows. Numbers stay. The store overwrites what it erases (secure_delete); copies of
 * it made before are not reached. */
#ifndef NOONARC_PRIVACY_ROWS_H
#define NOONARC_PRIVACY_ROWS_H

#include "server/store/db.h"
#include "server/wire/records.h"

/* ---- one school ---- */

/* The site goes by another identifier. The audit log's lines, and answers kept for the
 * other sites of its days, name it by the new one. */
int privacy_rows_rename_site(struct db *db, int64_t site, const char *old, const char *new,
                             struct err *err) __attribute__((warn_unused_result));

/* Only the newest version stays, and of that only what record has (settled). */
int privacy_rows_erase_site(struct db *db, int64_t site, const struct site_record *record,
                            struct err *err) __attribute__((warn_unused_result));

/* The school's own reasons of withdrawals and its words in reviews, and whom an
 * invitation was for. */
int privacy_rows_erase_words(struct db *db, int64_t site, struct err *err)
    __attribute__((warn_unused_result));

/* How the site's registration came in, by which it is answered again. */
int privacy_rows_forget_registration(struct db *db, int64_t site, struct err *err)
    __attribute__((warn_unused_result));

/* All sessions of a site's credentials end. */
int privacy_rows_end_sessions(struct db *db, int64_t site, struct err *err)
    __attribute__((warn_unused_result));

int privacy_rows_add_removal(struct db *db, int64_t site, const char *reason, int64_t by,
                             double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* Numbers of the days in which the site takes part without a run. *out is to be freed. */
int privacy_rows_days_without_run(struct db *db, int64_t site, int64_t **out, size_t *count,
                                  struct err *err) __attribute__((warn_unused_result));

/* ---- one run ---- */

/* Another body in place of the one that was sent; the first answer is gone, and its
 * Idempotency-Key with it. */
int privacy_rows_replace_body(struct db *db, int64_t run, const char *body, size_t length,
                              struct err *err) __attribute__((warn_unused_result));

/* Only the answer and the key. */
int privacy_rows_forget_answer(struct db *db, int64_t run, struct err *err)
    __attribute__((warn_unused_result));

/* ---- what is over ---- */

/* Identifiers of schools not heard of since (no version, participation, run, sky
 * report), not removed before. *out is to be freed. */
int privacy_rows_silent_sites(struct db *db, double since_utc_s, char (**out)[ID_MAX + 1],
                              size_t *count, struct err *err) __attribute__((warn_unused_result));

/* Numbers of the runs submitted before that may hold words, or that hold an answer. *out
 * is to be freed. */
int privacy_rows_runs_with_words(struct db *db, double before_utc_s, int64_t **out, size_t *count,
                                 struct err *err) __attribute__((warn_unused_result));
int privacy_rows_runs_with_answers(struct db *db, double before_utc_s, int64_t **out, size_t *count,
                                   struct err *err) __attribute__((warn_unused_result));

/* Counts what is over before an instant, and with erase also ends it: audit lines;
 * sessions; contacts in versions of sites that are no longer the newest; contacts of
 * invitations; registrations that are answered again. */
enum privacy_kind {
    PRIVACY_AUDIT,
    PRIVACY_SESSION,
    PRIVACY_CONTACT,
    PRIVACY_INVITATION,
    PRIVACY_REGISTRATION
};
int privacy_rows_over(struct db *db, enum privacy_kind kind, double before_utc_s, bool erase,
                      int64_t *count, struct err *err) __attribute__((warn_unused_result));

#endif
