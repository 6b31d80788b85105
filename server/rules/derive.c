/* SPDX-License-Identifier: MIT */
/* derive: run -> reduction. What days come to is in figures.c. */
#include "server/rules/derive.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/sun.h"
#include "server/store/review_rows.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"
#include "server/wire/suns.h"

#define MM_PER_M 1000.0

int derive_reduce(struct almanac *almanac, const struct day_record *day, const struct place *place,
                  const struct run *run, struct reduction *out, struct err *err) {
    struct sun_day sun;
    struct run judged;
    run_under_day(run, day, &judged);
    if (!almanac_day(almanac, suns_date_of_run(&judged, place->lon_deg), &sun))
        return err_set(err, ERR_WRONG_DAY, "/readings",
                       "the Sun of that date is not known here: dates run from 1972 to 2100");
    reduce_run(place, &judged, &sun, out);
    return 0;
}

bool derive_forms(const struct derived_run *run, struct left_out_record *left_out,
                  struct reduction_record *record, struct day_noon *noon) {
    const struct site_record *site = &run->site->record;
    reduction_record_make(site->site, run->day_id, run->run, run->sent, run->reduction, left_out,
                          record);
    if (run->reduction->status != REDUCE_OK)
        return false;
    noon->readings_left_out = run->reduction->left_outs;
    memcpy(noon->site, site->site, sizeof noon->site);
    noon->expected_deg = run->reduction->noon.noon_angle_deg;
    noon_result_make(run->site->id, &site->place, run->sent->gnomon.edge, run->reduction,
                     &noon->noon);
    return run->is_current && !run->is_excluded;
}

int derive_put_reduction(struct db *db, const struct derived_run *run,
                         const struct reduction_record *record, const struct day_noon *noon,
                         struct err *err) {
    const struct place *place = &run->site->record.place;
    struct reduction_row row = {
        .run = run->run,
        .day = run->day,
        .site = run->site->id,
        .is_new = run->is_new,
        .is_current = run->is_current,
        .is_excluded = run->is_excluded,
        .lat_deg = place->lat_deg,
        .lon_deg = place->lon_deg,
        .meridian_m = noon ? noon->noon.meridian_m : meridian_distance_m(place->lat_deg),
        .gnomon_mm = MM_PER_M * gnomon_height(&run->sent->gnomon).value_m,
        .edge = run->sent->gnomon.edge,
        .record = record,
        .noon = noon ? &noon->noon : NULL,
        .expected_deg = run->reduction->noon.noon_angle_deg,
    };
    struct flag_record flags[FLAGS_MAX];
    int flag_count = flags_of_reduction(record, flags);
    return reduction_rows_put(db, &row, err) ||
                   flag_rows_put(db, run->run, run->is_new, flags, flag_count, err)
               ? -1
               : 0;
}

/* A recorded run on its way to a reduction: some 30 KB, for the heap. */
struct recorded {
    struct day_row day;
    struct run_record sent;
    struct reduction reduction;
    struct left_out_record left_out[RUN_READINGS_MAX];
    struct derived_run derived;
    struct reduction_record record;
    struct day_noon noon;
};

/* Reduces it again and puts it into its forms. NULL when it fails; else to be freed. */
static struct recorded *recall(struct db *db, struct almanac *almanac, const struct run_row *run,
                               const struct site_row *site, struct err *err) {
    struct recorded *work = malloc(sizeof *work);
    struct err ours = {0};
    if (!work) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        return NULL;
    }
    work->derived = (struct derived_run){.run = run->id,
                                         .day = run->day,
                                         .day_id = run->day_id,
                                         .site = site,
                                         .sent = &work->sent.run,
                                         .reduction = &work->reduction,
                                         .is_current = run_row_is_current(run)};
    if (review_rows_excluded(db, run->id, &work->derived.is_excluded, err))
        goto cleanup;
    if (record_read_run(run->body, run->body_length, &work->sent, &ours)) {
        err_set(err, ERR_STORAGE, NULL, "run %lld cannot be read: %s", (long long)run->id,
                ours.text);
        goto cleanup;
    }
    if (day_rows_get(db, run->day, &work->day, err) != FOUND_ONE) {
        err_set(err, ERR_INTERNAL, NULL, "the day vanished");
        goto cleanup;
    }
    if (derive_reduce(almanac, &work->day.record, &site->record.place, &work->sent.run,
                      &work->reduction, err))
        goto cleanup;
    derive_forms(&work->derived, work->left_out, &work->record, &work->noon);
    return work;
cleanup:
    free(work);
    return NULL;
}

int derive_told(struct db *db, struct almanac *almanac, const struct run_row *run,
                struct text *text, double *lon_deg, int32_t *noon_date, struct err *err) {
    struct site_row site;
    struct json_writer json;
    if (site_rows_get(db, run->site, &site, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "the site vanished");
    struct recorded *work = recall(db, almanac, run, &site, err);
    if (!work)
        return -1;
    json_write_init(&json, text);
    record_write_reduction(&json, NULL, &work->record);
    *lon_deg = site.record.place.lon_deg;
    *noon_date = sun_day_nearest(work->record.transit_utc_s, *lon_deg);
    free(work);
    return text->failed ? err_set(err, ERR_INTERNAL, NULL, "out of memory") : 0;
}

int derive_flags(struct db *db, struct almanac *almanac, const struct run_row *run,
                 struct flag_record *flags, int *count, struct err *err) {
    struct site_row site;
    if (site_rows_get(db, run->site, &site, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "the site vanished");
    struct recorded *work = recall(db, almanac, run, &site, err);
    if (!work)
        return -1;
    *count = flags_of_reduction(&work->record, flags);
    free(work);
    return 0;
}

int derive_run(struct db *db, struct almanac *almanac, const struct run_row *run,
               const struct site_row *site, struct err *err) {
    struct recorded *work = recall(db, almanac, run, site, err);
    if (!work)
        return -1;
    int result = derive_put_reduction(db, &work->derived, &work->record,
                                      work->record.status == REDUCE_OK ? &work->noon : NULL, err);
    free(work);
    return result;
}
