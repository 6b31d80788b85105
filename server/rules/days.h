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
#include "server/wire/warning.h"

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
 * ones the Sun is known for, and differ from one another. It is opened planned or
 * announced. ERR_NOT_FOUND for an unknown season. */
int day_open(struct change *change, const struct caller *caller, const struct day_record *day,
             double now_utc_s, struct day_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* What is odd about a day, and yet possible: a date that has passed, a tolerance in
 * longitude so wide that pairs would lie more east and west than north and south. */
void day_warn(const struct day_record *day, double now_utc_s, struct warnings *warnings);

/* READ. Planned days are shown to organisers only. season "": of all. */
int day_get(struct db *db, const struct caller *caller, const char *day, struct day_record *out,
            struct err *err) __attribute__((warn_unused_result));
int day_list(struct db *db, const struct caller *caller, const char *season, const char *after,
             size_t limit, struct day_page *out, struct err *err)
    __attribute__((warn_unused_result));

/* WRITE, school or organiser; ERR_DAY_STATE unless the day is announced. Joining
 * twice, or leaving without having joined, changes nothing. A site with a current run
 * cannot leave: ERR_RUN_EXISTS. part: how the site then stands to the day. Who was
 * invited to the day's season, or is joined by an organiser, is approved at once; who
 * has to wait is told why. */
int day_join(struct change *change, const struct caller *caller, const char *day, const char *site,
             double now_utc_s, enum stand *part, struct warnings *warnings, struct err *err)
    __attribute__((warn_unused_result));
int day_leave(struct change *change, const struct caller *caller, const char *day, const char *site,
              double now_utc_s, struct err *err) __attribute__((warn_unused_result));

/* WRITE, organiser. What is said to a site that wants to take part; later words undo
 * earlier ones. ERR_NOT_TAKING_PART when it did not join; ERR_RUN_EXISTS when it is
 * refused although a run of it is in; a refusal needs a reason. */
int day_approve(struct change *change, const struct caller *caller, const char *day,
                const char *site, const struct decision_record *decision, double now_utc_s,
                enum stand *part, struct err *err) __attribute__((warn_unused_result));

/* READ. Those that joined and stand to the day in this way; those that take part. */
int day_standing_list(struct db *db, const char *day, enum stand part, const char *after,
                      size_t limit, struct participant_page *out, struct err *err)
    __attribute__((warn_unused_result));
int day_participants(struct db *db, const char *day, const char *after, size_t limit,
                     struct participant_page *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
