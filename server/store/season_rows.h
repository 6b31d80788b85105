/* SPDX-License-Identifier: MIT */
/* season_rows: seasons, their versions, and which days belong to one. */
#ifndef NOONARC_SEASON_ROWS_H
#define NOONARC_SEASON_ROWS_H

#include "server/store/db.h"
#include "server/wire/records.h"

struct season_row {
    int64_t id, version;
    struct season_record record;
};

enum found season_rows_find(struct db *db, const char *season, struct season_row *out,
                            struct err *err);

/* By identifier, those above after. *out is to be freed. */
int season_rows_list(struct db *db, const char *after, int64_t limit, struct season_record **out,
                     size_t *count, struct err *err) __attribute__((warn_unused_result));

/* A new season with its first version. */
int season_rows_add(struct db *db, const struct season_record *record, int64_t by, double now_utc_s,
                    struct err *err) __attribute__((warn_unused_result));
int season_rows_add_version(struct db *db, int64_t id, int64_t version,
                            const struct season_record *record, int64_t by, double now_utc_s,
                            struct err *err) __attribute__((warn_unused_result));

/* Whether a site joined a day of another season than this ("" none). */
int season_rows_elsewhere(struct db *db, int64_t site, const char *season, bool *out,
                          struct err *err) __attribute__((warn_unused_result));

/* For good. */
int season_rows_add_day(struct db *db, int64_t season, int64_t day, struct err *err)
    __attribute__((warn_unused_result));

#endif
