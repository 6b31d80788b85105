/* SPDX-License-Identifier: MIT */
/* derived_rows: all derived tables together: counted, emptied before a rebuild,
 * compared after one. */
#ifndef NOONARC_DERIVED_ROWS_H
#define NOONARC_DERIVED_ROWS_H

#include "server/base/text.h"
#include "server/store/db.h"

/* Runs of a day that no figure is made from: those that their school withdrew and sent no
 * other for, and current ones that do not count for whatever reason. */
int derived_rows_left_out(struct db *db, int64_t day, int *withdrawn, int *not_counting,
                          struct err *err) __attribute__((warn_unused_result));

/* Days that have or had a run, by number. *out is to be freed. */
int derived_rows_days(struct db *db, int64_t **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* Empties reduction and run_flag. */
int derived_rows_clear(struct db *db, struct err *err) __attribute__((warn_unused_result));

/* Inside one transaction: remembers the derived tables; later counts the rows that
 * are there on one side alone. A rollback forgets what was remembered. */
int derived_rows_remember(struct db *db, struct err *err) __attribute__((warn_unused_result));
int derived_rows_differences(struct db *db, size_t *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
