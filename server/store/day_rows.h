/* SPDX-License-Identifier: MIT */
/* day_rows: measurement days as they stand now (date, spare dates, state, season), and
 * who takes part. A day that was moved has its first date among the spare ones. */
#ifndef NOONARC_DAY_ROWS_H
#define NOONARC_DAY_ROWS_H

#include <stdbool.h>

#include "server/store/db.h"
#include "server/wire/records.h"

struct day_row {
    int64_t id;
    struct day_record record;
    bool needs_approval; /* of who takes part, by its season */
};

enum found day_rows_find(struct db *db, const char *day, struct day_row *out, struct err *err);
enum found day_rows_get(struct db *db, int64_t id, struct day_row *out, struct err *err);

/* Which days a list has. */
struct day_filter {
    int32_t after_date; /* those above (after_date, after_day) */
    const char *after_day;
    const char *season; /* "" of all */
    bool planned;       /* those that only organisers see too */
};

/* By (date, identifier). *out is to be freed. */
int day_rows_list(struct db *db, const struct day_filter *filter, int64_t limit,
                  struct day_record **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* The day with its first dates and rules; season, state and blindness are told
 * elsewhere (season_rows.h, day_event_rows.h). */
int day_rows_add(struct db *db, const struct day_record *record, int64_t by, double now_utc_s,
                 int64_t *id, struct err *err) __attribute__((warn_unused_result));

/* How a site stands to a day, and the day's state, of this moment. joined: the site's
 * newest event is a join, whatever was said to it. */
struct standing {
    enum day_state state;
    enum stand stand;
    bool joined;
};
int day_rows_standing(struct db *db, int64_t day, int64_t site, struct standing *out,
                      struct err *err) __attribute__((warn_unused_result));

/* The same of a day that is at hand. */
int day_rows_stand(struct db *db, const struct day_row *day, int64_t site, enum stand *out,
                   struct err *err) __attribute__((warn_unused_result));
int day_rows_add_event(struct db *db, int64_t day, int64_t site, bool join, int64_t by,
                       double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* What an organiser said to a site. */
int day_rows_add_approval(struct db *db, int64_t day, int64_t site, bool approved,
                          const char *reason, int64_t by, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

struct participant {
    struct site_record site;
    enum stand stand;
    int64_t run; /* current, 0 none */
    double run_gnomon_mm;
    enum edge run_edge;
};

/* Who joined and stands to the day in this way, by site identifier, those above after.
 * *out is to be freed. */
int day_rows_with_standing(struct db *db, int64_t day, enum stand stand, const char *after,
                           int64_t limit, struct participant **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* Those that take part. */
int day_rows_participants(struct db *db, int64_t day, const char *after, int64_t limit,
                          struct participant **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* Those that take part whose exact longitude lies in [low, high], in no order, along an
 * index: as many as there are on the meridian, not as on the day. *out is to be freed. */
int day_rows_between(struct db *db, int64_t day, double low_deg, double high_deg,
                     struct participant **out, size_t *count, struct err *err)
    __attribute__((warn_unused_result));

/* Where on the globe the day is held, roughly: in each whole degree of longitude the
 * first one at which a site lies or lay that joined at any time, ascending. */
#define DAY_DEGREES_MAX 361
int day_rows_degrees(struct db *db, int64_t day, double out[DAY_DEGREES_MAX], size_t *count,
                     struct err *err) __attribute__((warn_unused_result));

#endif
