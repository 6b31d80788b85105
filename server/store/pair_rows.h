/* SPDX-License-Identifier: MIT */
/* pair_rows: pairs of a day. The site with the smaller identifier comes first. */
#ifndef NOONARC_PAIR_ROWS_H
#define NOONARC_PAIR_ROWS_H

#include "server/store/db.h"
#include "server/wire/records.h"

int pair_rows_add(struct db *db, int64_t day, int64_t site1, int64_t site2, const struct pair *pair,
                  struct err *err) __attribute__((warn_unused_result));

/* Forgets a site's pairs of a day. */
int pair_rows_forget(struct db *db, int64_t day, int64_t site, struct err *err)
    __attribute__((warn_unused_result));

/* Lists: *out is to be freed. */

/* By (site1, site2), those above (after1, after2). */
int pair_rows_list(struct db *db, int64_t day, const char *after1, const char *after2,
                   int64_t limit, struct pair_record **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* Of one site, most certain first (those without a sigma last). */
int pair_rows_of_site(struct db *db, int64_t day, int64_t site, int64_t limit,
                      struct pair_record **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* Pairs with status ok, smallest error first. */
int pair_rows_best(struct db *db, int64_t day, int64_t limit, struct pair_record **out,
                   size_t *count, struct err *err) __attribute__((warn_unused_result));

/* The two sites of every pair with status ok, in no order. */
struct pair_sites {
    int64_t site1, site2;
};
int pair_rows_that_count(struct db *db, int64_t day, struct pair_sites **out, size_t *count,
                         struct err *err) __attribute__((warn_unused_result));

#endif
