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

/* Some 30 KB, for the heap. */
struct recorded {
    char *body;
    size_t body_length;
    struct day_row day;
    struct site_row site;
    struct run_record sent;
    struct reduction reduction;
    struct left_out_record left_out[RUN_READINGS_MAX];
    struct derived_run derived;
    struct reduction_record record;
    struct day_noon noon;
    struct err err; /* of the reduction */
};

void derive_forget(struct recorded *recorded) {
    if (recorded)
        free(recorded->body);
    free(recorded);
}

struct recorded *derive_recall(struct db *db, const struct run_row *run, const struct day_row *day,
                               const struct site_row *site, struct err *err) {
    struct recorded *recorded = malloc(sizeof *recorded);
    char *body = malloc(run->body_length + 1);
    if (!recorded || !body) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    memcpy(body, run->body, run->body_length + 1);
    recorded->body = body;
    recorded->body_length = run->body_length;
    recorded->day = *day;
    recorded->site = *site;
    recorded->derived = (struct derived_run){.run = run->id,
                                             .day = run->day,
                                             .day_id = recorded->day.record.day,
                                             .site = &recorded->site,
                                             .sent = &recorded->sent.run,
                                             .reduction = &recorded->reduction,
                                             .is_current = run_row_is_current(run)};
    recorded->err = (struct err){0};
    if (review_rows_excluded(db, run->id, &recorded->derived.is_excluded, err) == 0)
        return recorded;
cleanup:
    free(body);
    free(recorded);
    return NULL;
}

void derive_reduce_recorded(struct almanac *almanac, struct recorded *recorded) {
    struct err ours = {0};
    if (record_read_run(recorded->body, recorded->body_length, &recorded->sent, &ours)) {
        err_set(&recorded->err, ERR_STORAGE, NULL, "run %lld cannot be read: %s",
                (long long)recorded->derived.run, ours.text);
        return;
    }
    if (derive_reduce(almanac, &recorded->day.record, &recorded->site.record.place,
                      &recorded->sent.run, &recorded->reduction, &recorded->err) == 0)
        derive_forms(&recorded->derived, recorded->left_out, &recorded->record, &recorded->noon);
}

int derive_put_recorded(struct db *db, const struct recorded *recorded, struct err *err) {
    if (recorded->err.code != ERR_NONE) {
        *err = recorded->err;
        return -1;
    }
    return derive_put_reduction(db, &recorded->derived, &recorded->record,
                                recorded->record.status == REDUCE_OK ? &recorded->noon : NULL, err);
}

/* The first two steps. NULL when they fail; else for derive_forget. */
static struct recorded *recall_and_reduce(struct db *db, struct almanac *almanac,
                                          const struct run_row *run, const struct site_row *site,
                                          struct err *err) {
    struct day_row day;
    if (day_rows_get(db, run->day, &day, err) != FOUND_ONE) {
        err_set(err, ERR_INTERNAL, NULL, "the day vanished");
        return NULL;
    }
    struct recorded *recorded = derive_recall(db, run, &day, site, err);
    if (!recorded)
        return NULL;
    derive_reduce_recorded(almanac, recorded);
    if (recorded->err.code == ERR_NONE)
        return recorded;
    *err = recorded->err;
    derive_forget(recorded);
    return NULL;
}

int derive_told(struct db *db, struct almanac *almanac, const struct run_row *run,
                struct text *text, double *lon_deg, int32_t *noon_date, struct err *err) {
    struct site_row site;
    struct json_writer json;
    if (site_rows_get(db, run->site, &site, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "the site vanished");
    struct recorded *recorded = recall_and_reduce(db, almanac, run, &site, err);
    if (!recorded)
        return -1;
    json_write_init(&json, text);
    record_write_reduction(&json, NULL, &recorded->record);
    *lon_deg = site.record.place.lon_deg;
    *noon_date = sun_day_nearest(recorded->record.transit_utc_s, *lon_deg);
    derive_forget(recorded);
    return text->failed ? err_set(err, ERR_INTERNAL, NULL, "out of memory") : 0;
}

int derive_flags(struct db *db, struct almanac *almanac, const struct run_row *run,
                 struct flag_record *flags, int *count, struct err *err) {
    struct site_row site;
    if (site_rows_get(db, run->site, &site, err) != FOUND_ONE)
        return err_set(err, ERR_INTERNAL, NULL, "the site vanished");
    struct recorded *recorded = recall_and_reduce(db, almanac, run, &site, err);
    if (!recorded)
        return -1;
    *count = flags_of_reduction(&recorded->record, flags);
    derive_forget(recorded);
    return 0;
}

int derive_run(struct db *db, struct almanac *almanac, const struct run_row *run,
               const struct site_row *site, struct err *err) {
    struct recorded *recorded = recall_and_reduce(db, almanac, run, site, err);
    if (!recorded)
        return -1;
    int result = derive_put_recorded(db, recorded, err);
    derive_forget(recorded);
    return result;
}
