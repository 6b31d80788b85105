/* SPDX-License-Identifier: MIT */
/* migrate: brings a store to the form this program knows, one numbered step
 * after another, each in a transaction of its own and recorded with the BLAKE2b
 * checksum of its text. A step that was applied is never changed: a store whose
 * steps differ from ours, or that knows more of them, is refused. */
#ifndef NOONARC_MIGRATE_H
#define NOONARC_MIGRATE_H

#include "server/base/err.h"
#include "server/store/db.h"

struct migration {
    int number;       /* 1, 2, 3 ... without a gap */
    const char *name; /* words of the file's name */
    const char *sql;
};

/* Made from migrations/NNNN_words.sql when building, in order. */
extern const struct migration migrations[];
extern const int migrations_count;

/* Applies steps (count of them, in order) that are missing. applied: how many
 * were. now_utc_s is recorded. Returns 0, or -1 with err (ERR_STORAGE) saying
 * which step and why; what was applied before the failing one stays. */
int migrate_apply(struct db *db, const struct migration *steps, int count, double now_utc_s,
                  int *applied, struct err *err) __attribute__((warn_unused_result));

/* Only looks. known: how many of these steps, from the first on, the store has, at
 * least one. Refuses, with err, what is no store of ours, is newer than we are, or
 * had its steps changed. */
int migrate_known(struct db *db, const struct migration *steps, int count, int *known,
                  struct err *err) __attribute__((warn_unused_result));

/* Only looks: 0 when the store has exactly these steps, unchanged. */
int migrate_verify(struct db *db, const struct migration *steps, int count, struct err *err)
    __attribute__((warn_unused_result));

#endif
