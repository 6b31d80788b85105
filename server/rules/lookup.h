/* SPDX-License-Identifier: MIT */
/* lookup: a day, a site or a run by its name, or ERR_NOT_FOUND in words. READ. */
#ifndef NOONARC_LOOKUP_H
#define NOONARC_LOOKUP_H

#include "server/rules/caller.h"
#include "server/store/day_rows.h"
#include "server/store/run_rows.h"
#include "server/store/season_rows.h"
#include "server/store/site_rows.h"

/* A day that everyone sees: one that is only planned is not found. */
int lookup_day(struct db *db, const char *day, struct day_row *out, struct err *err)
    __attribute__((warn_unused_result));

/* Planned ones too: for rules that only organisers get to, or for whoever asks. */
int lookup_any_day(struct db *db, const char *day, struct day_row *out, struct err *err)
    __attribute__((warn_unused_result));
int lookup_day_as(struct db *db, const struct caller *caller, const char *day, struct day_row *out,
                  struct err *err) __attribute__((warn_unused_result));

int lookup_season(struct db *db, const char *season, struct season_row *out, struct err *err)
    __attribute__((warn_unused_result));
int lookup_site(struct db *db, const char *site, struct site_row *out, struct err *err)
    __attribute__((warn_unused_result));

/* out->body is to be freed. */
int lookup_run(struct db *db, int64_t run, struct run_row *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
