/* SPDX-License-Identifier: MIT */
/* run_rows: runs as they came, what supersedes what, and withdrawals. */
#ifndef NOONARC_RUN_ROWS_H
#define NOONARC_RUN_ROWS_H

#include <stdbool.h>

#include "server/base/text.h"
#include "server/store/db.h"
#include "server/wire/records.h"

/* What was sent, and where to. */
struct run_sent {
    const char *day, *site;
    const char *body;
    size_t body_length;
};

/* The answer first given to a credential's Idempotency-Key, appended to answer, and
 * whether it was given to just this. */
enum found run_rows_answered(struct db *db, int64_t credential, const char *idempotency_key,
                             const struct run_sent *sent, bool *is_same, struct text *answer,
                             struct err *err);

/* The run of a site on a day that counts: its newest, unless that was withdrawn. */
enum found run_rows_current(struct db *db, int64_t day, int64_t site, int64_t *run,
                            struct err *err);

struct run_row {
    int64_t id, day, site;
    char day_id[ID_MAX + 1], site_id[ID_MAX + 1];
    int64_t supersedes, superseded_by;       /* 0 none */
    double submitted_utc_s, withdrawn_utc_s; /* NAN: not withdrawn */
    char *body;                              /* owned: free(); NULL when not asked for */
    size_t body_length;
};

/* True for a run that counts on its day. */
bool run_row_is_current(const struct run_row *row);

enum found run_rows_get(struct db *db, int64_t id, struct run_row *out, struct err *err);

/* Runs with a number above after, of a site (0: of all), at most limit, by number.
 * Bodies included. Release each body, then the list. */
int run_rows_list(struct db *db, int64_t site, int64_t after, int64_t limit, struct run_row **out,
                  size_t *count, struct err *err) __attribute__((warn_unused_result));
void run_rows_release(struct run_row *rows, size_t count);

struct run_new {
    int64_t day, site, supersedes; /* supersedes 0: none */
    const char *body;
    size_t body_length;
    double submitted_utc_s;
    int64_t submitted_by;
    const char *idempotency_key; /* NULL none */
};
int run_rows_next_id(struct db *db, int64_t *out, struct err *err)
    __attribute__((warn_unused_result));

/* *is_answered: the credential has used the key before, and nothing was added. */
int run_rows_add(struct db *db, int64_t id, const struct run_new *run, const char *answer,
                 size_t answer_length, bool *is_answered, struct err *err)
    __attribute__((warn_unused_result));

int run_rows_withdraw(struct db *db, int64_t run, const char *reason, int64_t by, double now_utc_s,
                      struct err *err) __attribute__((warn_unused_result));

#endif
