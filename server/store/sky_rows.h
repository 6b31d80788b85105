/* SPDX-License-Identifier: MIT */
/* sky_rows: reports of the sky, and the board that follows from them. */
#ifndef NOONARC_SKY_ROWS_H
#define NOONARC_SKY_ROWS_H

#include "server/store/db.h"
#include "server/wire/sky.h"

int sky_rows_add(struct db *db, int64_t day, int64_t site, enum sky sky, int64_t by,
                 double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* The newest report of a site on a day. FOUND_NONE: it said nothing. */
enum found sky_rows_newest(struct db *db, int64_t day, int64_t site, enum sky *out,
                           double *reported_utc_s, struct err *err);

/* Lines of those who take part, by site, of sites above after. *out is to be freed. */
int sky_rows_board(struct db *db, int64_t day, const char *after, int64_t limit,
                   struct sky_record **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* One line of it, whether the site takes part or not. */
enum found sky_rows_line(struct db *db, int64_t day, int64_t site, struct sky_record *out,
                         struct err *err);

/* All of them in numbers. */
int sky_rows_counts(struct db *db, int64_t day, struct sky_counts *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
