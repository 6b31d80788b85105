/* SPDX-License-Identifier: MIT */
/* reduction_rows: reduced runs, found by day, by site and by longitude. */
#ifndef NOONARC_REDUCTION_ROWS_H
#define NOONARC_REDUCTION_ROWS_H

#include <stdbool.h>

#include "server/store/db.h"
#include "server/wire/records.h"

struct reduction_row {
    int64_t run, day, site;
    bool is_new; /* there is none of the run as yet */
    bool is_current;
    bool is_excluded;        /* by an organiser: does not count */
    double lat_deg, lon_deg; /* of the site as it was reduced */
    double meridian_m;
    double gnomon_mm;
    enum edge edge;
    const struct reduction_record *record; /* borrowed */
    const struct noon_result *noon;        /* borrowed; NULL unless record->status is REDUCE_OK */
    double expected_deg;                   /* noon angle by position and date */
};

/* Writes a run's reduction, in place of one that is there. */
int reduction_rows_put(struct db *db, const struct reduction_row *row, struct err *err)
    __attribute__((warn_unused_result));

/* The run is no longer current. */
int reduction_rows_retire(struct db *db, int64_t run, struct err *err)
    __attribute__((warn_unused_result));

/* Whether figures are made from the run: what is not current or has no noon angle
 * never counts. */
int reduction_rows_let_count(struct db *db, int64_t run, bool counts, struct err *err)
    __attribute__((warn_unused_result));

/* All noons that count of a day, by site identifier. *out is to be freed. */
int reduction_rows_of_day(struct db *db, int64_t day, struct day_noon **out, size_t *count,
                          struct err *err) __attribute__((warn_unused_result));

/* Current runs of a day with their columns for the spreadsheet, by site. */
int reduction_rows_lines(struct db *db, int64_t day, struct reduction_record **out, size_t *count,
                         struct err *err) __attribute__((warn_unused_result));

/* Numbers of the current runs of a day by site identifier, of sites above after. */
struct current_run {
    int64_t run;
    char site[ID_MAX + 1];
};
int reduction_rows_current(struct db *db, int64_t day, const char *after, int64_t limit,
                           struct current_run **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

#endif
