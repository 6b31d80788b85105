/* SPDX-License-Identifier: MIT */
/* edition_records: the records of an edition read back, for edition_figures. Runs
 * are read one at a time: there may be many, and each is large. */
#ifndef NOONARC_EDITION_RECORDS_H
#define NOONARC_EDITION_RECORDS_H

#include "server/wire/edition.h"

/* As they are read by the field tables. */
struct edition_day_body {
    struct day_record record;
    int64_t withdrawn, not_agreed;
};
struct edition_keeps_body {
    char keeps[16];
};
struct edition_run_body {
    char day[ID_MAX + 1], site[ID_MAX + 1];
    int64_t run;
    struct run_record sent;
};

struct edition_records {
    struct edition_day *day; /* owned, like the others */
    size_t days;
    struct site_record *site; /* settled; name "": unnamed */
    size_t sites;
    struct exclusion_record *exclusion; /* site stays "" */
    size_t exclusions;
    const json_t *runs; /* borrowed from what was read */
    size_t runs_count;
};

/* One run, with what it belongs to and whether it is excluded. */
struct edition_run {
    size_t day, site; /* indices */
    struct run_record record;
    const struct exclusion_record *exclusion; /* NULL: not excluded */
};

/* Everything is checked: order, that nothing stands there twice, ranges. */
int edition_records_read(const json_t *records, struct edition_records *out, struct err *err)
    __attribute__((warn_unused_result));
void edition_records_release(struct edition_records *records);

/* The run at a place of the list, after the one before (NULL for the first). */
int edition_records_run(const struct edition_records *records, size_t at,
                        const struct edition_run *before, struct edition_run *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
