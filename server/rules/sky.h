/* SPDX-License-Identifier: MIT */
/* sky: schools say how their sky is, and everyone sees it: the sky board. */
#ifndef NOONARC_RULES_SKY_H
#define NOONARC_RULES_SKY_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/wire/sky.h"

/* WRITE, class, school or organiser. The newest report counts. ERR_NOT_TAKING_PART.
 * out: the site's line of the board as it is then. */
int sky_report(struct change *change, const struct caller *caller, const char *day,
               const char *site, enum sky sky, double now_utc_s, struct sky_record *out,
               struct err *err) __attribute__((warn_unused_result));

struct sky_page {
    struct sky_counts counts; /* of the whole day */
    struct sky_record *items; /* those who take part, by site */
    size_t count;
    char next[ID_MAX + 1];
};
void sky_page_release(struct sky_page *page);

/* READ. limit as in list.h. */
int sky_board(struct db *db, const char *day, const char *after, size_t limit, struct sky_page *out,
              struct err *err) __attribute__((warn_unused_result));

#endif
