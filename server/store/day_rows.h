/* SPDX-License-Identifier: MIT */
/* day_rows: measurement days with their spare dates, and who takes part. */
#ifndef NOONARC_DAY_ROWS_H
#define NOONARC_DAY_ROWS_H

#include <stdbool.h>

#include "server/store/db.h"
#include "server/wire/records.h"

struct day_row {
    int64_t id;
    struct day_record record;
};

enum found day_rows_find(struct db *db, const char *day, struct day_row *out, struct err *err);
enum found day_rows_get(struct db *db, int64_t id, struct day_row *out, struct err *err);

/* By (date, identifier), those above (after_date, after_day). *out is to be freed. */
int day_rows_list(struct db *db, int32_t after_date, const char *after_day, int64_t limit,
                  struct day_record **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

int day_rows_add(struct db *db, const struct day_record *record, int64_t by, double now_utc_s,
                 struct err *err) __attribute__((warn_unused_result));

/* Whether a site's newest event on a day is a join. */
int day_rows_takes_part(struct db *db, int64_t day, int64_t site, bool *out, struct err *err)
    __attribute__((warn_unused_result));
int day_rows_add_event(struct db *db, int64_t day, int64_t site, bool join, int64_t by,
                       double now_utc_s, struct err *err) __attribute__((warn_unused_result));

struct participant {
    struct site_record site;
    int64_t run; /* current, 0 none */
    double run_gnomon_mm;
    enum edge run_edge;
};

/* Who takes part, by site identifier, those above after. *out is to be freed. */
int day_rows_participants(struct db *db, int64_t day, const char *after, int64_t limit,
                          struct participant **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

#endif
