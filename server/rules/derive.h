/* SPDX-License-Identifier: MIT */
/* derive: from what is recorded to what follows, in one way for new runs, changed
 * sites and rebuilds alike. Nothing here depends on the order in which things
 * came, nor on the clock. */
#ifndef NOONARC_DERIVE_H
#define NOONARC_DERIVE_H

#include <stddef.h>
#include <stdint.h>

#include "server/base/text.h"
#include "server/rules/almanac.h"
#include "server/store/day_rows.h"
#include "server/store/db.h"
#include "server/store/reduction_rows.h"
#include "server/store/run_rows.h"
#include "server/store/site_rows.h"
#include "server/wire/review.h"

/* Reduces a run at a place, by a day's rule for clocks. Fails only for dates without a
 * Sun. */
int derive_reduce(struct almanac *almanac, const struct day_record *day, const struct place *place,
                  const struct run *run, struct reduction *out, struct err *err)
    __attribute__((warn_unused_result));

/* A run with its reduction, on the way into the derived tables. */
struct derived_run {
    int64_t run, day;
    const char *day_id;
    const struct site_row *site;
    const struct run *sent;
    const struct reduction *reduction;
    bool is_new; /* nothing was derived from it as yet */
    bool is_current;
    bool is_excluded; /* by an organiser */
};

/* The reduction in the forms the store and the answer need. left_out has room for
 * RUN_READINGS_MAX. noon is filled when the reduction has one, and true returned when
 * it counts. */
bool derive_forms(const struct derived_run *run, struct left_out_record *left_out,
                  struct reduction_record *record, struct day_noon *noon);

/* Writes the reduction (forms made by derive_forms; noon NULL unless it counts). */
int derive_put_reduction(struct db *db, const struct derived_run *run,
                         const struct reduction_record *record, const struct day_noon *noon,
                         struct err *err) __attribute__((warn_unused_result));

/* A recorded run on its way to a reduction, in three steps: all that the store knows of
 * it, which is copied; the reduction, which needs no store and may be made on any thread;
 * and the derived rows. */
struct recorded;

/* NULL when it fails; else for derive_forget. day: the run's. */
struct recorded *derive_recall(struct db *db, const struct run_row *run, const struct day_row *day,
                               const struct site_row *site, struct err *err)
    __attribute__((warn_unused_result));
void derive_reduce_recorded(struct almanac *almanac, struct recorded *recorded);

/* Fails where the reduction did. */
int derive_put_recorded(struct db *db, const struct recorded *recorded, struct err *err)
    __attribute__((warn_unused_result));
void derive_forget(struct recorded *recorded);

/* The reduction of a run that is recorded, written into text as JSON (initialised by
 * the caller), and the date of its noon by the site's meridian. */
int derive_told(struct db *db, struct almanac *almanac, const struct run_row *run,
                struct text *text, double *lon_deg, int32_t *noon_date, struct err *err)
    __attribute__((warn_unused_result));

/* What the reduction of a run that is recorded gives reason to look at. flags has room
 * for FLAGS_MAX. */
int derive_flags(struct db *db, struct almanac *almanac, const struct run_row *run,
                 struct flag_record *flags, int *count, struct err *err)
    __attribute__((warn_unused_result));

/* All three steps at once. */
int derive_run(struct db *db, struct almanac *almanac, const struct run_row *run,
               const struct site_row *site, struct err *err) __attribute__((warn_unused_result));

#endif
