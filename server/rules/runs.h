/* SPDX-License-Identifier: MIT */
/* runs: runs and their reductions, looked at. A reduction's full text is made from the
 * run when it is asked for, some 50 us each. All READ. */
#ifndef NOONARC_RUNS_H
#define NOONARC_RUNS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/rules/almanac.h"
#include "server/store/db.h"
#include "server/wire/records.h"

/* A run as it came, with what became of it. */
struct run_view {
    int64_t run;
    char site[ID_MAX + 1], day[ID_MAX + 1];
    double submitted_utc_s;
    int64_t supersedes;     /* 0 none */
    int64_t superseded_by;  /* 0 not */
    double withdrawn_utc_s; /* NAN not */
    int32_t noon_date;      /* by the site's meridian */
    bool of_date;           /* of the date the day is on now; else of a spare one */
    char *body;             /* JSON as sent, NUL-terminated; owned */
    size_t body_length;
    char *reduction_json; /* owned; NULL when not asked for */
};
void run_view_release(struct run_view *view);

int run_get(struct db *db, struct almanac *almanac, int64_t run, struct run_view *out,
            struct err *err) __attribute__((warn_unused_result));

/* The current run of a site on a day; ERR_NOT_FOUND where there is none. */
int run_of_site(struct db *db, struct almanac *almanac, const char *day, const char *site,
                struct run_view *out, struct err *err) __attribute__((warn_unused_result));

struct run_page {
    struct run_view *items; /* current runs of a day, by site */
    size_t count;
    char next[ID_MAX + 1];
};
void run_page_release(struct run_page *page);

/* almanac NULL: without reductions and dates. limit as in sites.h. */
int run_list(struct db *db, struct almanac *almanac, const char *day, const char *after,
             size_t limit, struct run_page *out, struct err *err)
    __attribute__((warn_unused_result));

/* The spreadsheet's columns of the current runs of a day, by site; of each record
 * only what sheet_write_reduction looks at is filled. */
struct reduction_lines {
    struct reduction_record *items;
    size_t count;
};
void reduction_lines_release(struct reduction_lines *lines);
int reduction_lines(struct db *db, const char *day, struct reduction_lines *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
