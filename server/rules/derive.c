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

#define REDUCTION_JSON_MAX (1u << 18)
#define MM_PER_M 1000.0

int derive_reduce(struct almanac *almanac, const struct day_record *day, const struct place *place,
                  const struct run *run, struct reduction *out, struct err *err) {
    struct sun_day sun;
    struct run judged;
    if (!almanac_day(almanac, suns_date_of_run(run, place->lon_deg), &sun))
        return err_set(err, ERR_WRONG_DAY, "/readings",
                       "the Sun of that date is not known here: dates run from 1972 to 2100");
    run_under_day(run, day, &judged);
    reduce_run(place, &judged, &sun, out);
    return 0;
}

bool derive_forms(const struct derived_run *run, struct left_out_record *left_out,
                  struct reduction_record *record, struct day_noon *noon, struct text *text) {
    const struct site_record *site = &run->site->record;
    struct json_writer json;
    reduction_record_make(site->site, run->day_id, run->run, run->sent, run->reduction, left_out,
                          record);
    json_write_init(&json, text);
    record_write_reduction(&json, NULL, record);
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
                         const struct text *text, struct err *err) {
    const struct place *place = &run->site->record.place;
    if (text->failed)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    struct reduction_row row = {
        .run = run->run,
        .day = run->day,
        .site = run->site->id,
        .is_new = run->is_new,
        .is_current = run->is_current,
        .is_excluded = run->is_excluded,
        .lat_deg = place->lat_deg,
        .lon_deg = place->lon_deg,
        .meridian_m = meridian_distance_m(place->lat_deg),
        .gnomon_mm = MM_PER_M * gnomon_height(&run->sent->gnomon).value_m,
        .edge = run->sent->gnomon.edge,
        .record = record,
        .noon = noon ? &noon->noon : NULL,
        .expected_deg = run->reduction->noon.noon_angle_deg,
        .body = text->bytes,
        .body_length = text->length,
    };
    struct flag_record flags[FLAGS_MAX];
    int flag_count = flags_of_reduction(record, flags);
    return reduction_rows_put(db, &row, err) ||
                   flag_rows_put(db, run->run, run->is_new, flags, flag_count, err)
               ? -1
               : 0;
}

int derive_run(struct db *db, struct almanac *almanac, const struct run_row *run,
               const struct site_row *site, struct err *err) {
    struct work {
        struct day_row day;
        struct run_record sent;
        struct reduction reduction;
        struct left_out_record left_out[RUN_READINGS_MAX];
    } *work = malloc(sizeof *work);
    struct text text;
    int result = -1;
    text_init(&text, REDUCTION_JSON_MAX);
    if (!work) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    struct err ours = {0};
    bool excluded;
    if (review_rows_excluded(db, run->id, &excluded, err))
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
    struct derived_run derived = {.run = run->id,
                                  .day = run->day,
                                  .day_id = run->day_id,
                                  .site = site,
                                  .sent = &work->sent.run,
                                  .reduction = &work->reduction,
                                  .is_current = run_row_is_current(run),
                                  .is_excluded = excluded};
    struct reduction_record record;
    struct day_noon noon;
    derive_forms(&derived, work->left_out, &record, &noon, &text);
    result = derive_put_reduction(db, &derived, &record, record.status == REDUCE_OK ? &noon : NULL,
                                  &text, err);
cleanup:
    text_release(&text);
    free(work);
    return result;
}

int derive_noons(struct db *db, const struct day_row *day, struct day_noons *out, struct err *err) {
    const struct pair_rules rules = day_noons_rules(&day->record);
    struct day_noon *noons;
    size_t count;
    if (reduction_rows_of_day(db, day->id, &noons, &count, err))
        return -1;
    return day_noons_make(&rules, noons, count, out, err);
}
