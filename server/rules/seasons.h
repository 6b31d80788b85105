/* SPDX-License-Identifier: MIT */
/* seasons: programmes of days, and who is invited to them. */
#ifndef NOONARC_SEASONS_H
#define NOONARC_SEASONS_H

#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/rules/list.h"
#include "server/wire/records.h"

struct season_page {
    struct season_record *items; /* by identifier */
    size_t count;
    char next[ID_MAX + 1];
};
void season_page_release(struct season_page *page);

/* WRITE, organiser. season->season "" is made from the name. ERR_SEASON_EXISTS. */
int season_open(struct change *change, const struct caller *caller,
                const struct season_record *season, double now_utc_s, struct season_record *out,
                struct err *err) __attribute__((warn_unused_result));

/* WRITE, organiser. season->season names it. A version more, unless nothing changes. */
int season_revise(struct change *change, const struct caller *caller,
                  const struct season_record *season, double now_utc_s, struct season_record *out,
                  struct err *err) __attribute__((warn_unused_result));

/* READ. */
int season_get(struct db *db, const char *season, struct season_record *out, struct err *err)
    __attribute__((warn_unused_result));
int season_list(struct db *db, const char *after, size_t limit, struct season_page *out,
                struct err *err) __attribute__((warn_unused_result));

#endif
