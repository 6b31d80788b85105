/* SPDX-License-Identifier: MIT */
/* days: shared measurement days are opened, joined and left. Joining and leaving
 * are recorded as events; the newest counts. */
#ifndef NOONARC_DAYS_H
#define NOONARC_DAYS_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/sites.h"
#include "server/store/day_rows.h"
#include "server/wire/records.h"

struct day_page {
    struct day_record *items; /* by date, then identifier */
    size_t count;
    char next[ID_MAX + 12]; /* opaque */
};
void day_page_release(struct day_page *page);

struct participant_page {
    struct participant *items; /* by site; see day_rows.h */
    size_t count;
    char next[ID_MAX + 1];
};
void participant_page_release(struct participant_page *page);

/* WRITE, organiser. day->day "" becomes the date; ERR_DAY_EXISTS. Dates must be
 * ones the Sun is known for, and differ from one another. */
int day_open(struct change *change, const struct caller *caller, const struct day_record *day,
             double now_utc_s, struct day_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* READ. */
int day_get(struct db *db, const char *day, struct day_record *out, struct err *err)
    __attribute__((warn_unused_result));
int day_list(struct db *db, const char *after, size_t limit, struct day_page *out, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE, school or organiser. Joining twice, or leaving without having joined,
 * changes nothing. A site with a current run cannot leave: ERR_RUN_EXISTS. */
int day_join(struct change *change, const struct caller *caller, const char *day, const char *site,
             double now_utc_s, struct err *err) __attribute__((warn_unused_result));
int day_leave(struct change *change, const struct caller *caller, const char *day, const char *site,
              double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* READ. */
int day_participants(struct db *db, const char *day, const char *after, size_t limit,
                     struct participant_page *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
