/* SPDX-License-Identifier: MIT */
/* rebuild: every derived table anew from the recorded ones, to the same bytes;
 * and check, which makes them anew on the side and says whether they agree. */
#ifndef NOONARC_REBUILD_H
#define NOONARC_REBUILD_H

#include <stddef.h>

#include "server/rules/change.h"

struct rebuild_counts {
    size_t runs; /* reduced */
    size_t days; /* that they are of */
};

/* WRITE, alone in its transaction: inside change_alone. */
int rebuild_all(struct change *change, struct rebuild_counts *out, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE connection, no transaction open. Rebuilds inside a transaction, compares,
 * and rolls back. differences: derived rows that were missing, superfluous or
 * different; 0 in a sound store. Also has the database check its own pages. */
int rebuild_check(struct change *change, struct rebuild_counts *out, size_t *differences,
                  struct err *err) __attribute__((warn_unused_result));

#endif
