/* SPDX-License-Identifier: MIT */
/* derive: run -> reduction -> pairs. The day's combined result is in
 * derive_result.c. */
#include "server/rules/derive.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/sun.h"
#include "server/store/array.h"
#include "server/store/pair_rows.h"
#include "server/wire/noons.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

#define REDUCTION_JSON_MAX (1u << 18)
#define MM_PER_M 1000.0
/* Wider than the tolerance by far more than rounding; pair_make decides. */
#define WINDOW_SLACK_DEG 1e-6

static int ascending(const void *left, const void *right) {
    double a = *(const double *)left, b = *(const double *)right;
    return (a > b) - (a < b);
}

int32_t derive_noon_date(const struct run *run, double lon_deg) {
    double t_utc_s[RUN_READINGS_MAX];
    for (int i = 0; i < run->readings; i++)
        t_utc_s[i] = run->reading[i].t_utc_s;
    qsort(t_utc_s, (size_t)run->readings, sizeof *t_utc_s, ascending);
    return sun_day_nearest(t_utc_s[run->readings / 2], lon_deg);
}

int derive_reduce(struct almanac *almanac, const struct place *place, const struct run *run,
                  struct reduction *out, struct err *err) {
    struct sun_day sun;
    if (!almanac_day(almanac, derive_noon_date(run, place->lon_deg), &sun))
        return err_set(err, ERR_WRONG_DAY, "/readings",
                       "The Sun of that date is not known here: dates run from 1972 to 2100.");
    reduce_run(place, run, &sun, out);
    return 0;
}

bool derive_forms(const struct derived_run *run, struct left_out_record *left_out,
                  struct reduction_record *record, struct noon_row *noon, struct text *text) {
    const struct site_record *site = &run->site->record;
    struct json_writer json;
    reduction_record_make(site->site, run->day_id, run->run, run->sent, run->reduction, left_out,
                          record);
    json_write_init(&json, text);
    record_write_reduction(&json, NULL, record);
    if (run->reduction->status != REDUCE_OK)
        return false;
    noon->day = run->day;
    memcpy(noon->site, site->site, sizeof noon->site);
    noon->expected_deg = run->reduction->noon.noon_angle_deg;
    noon_result_make(run->site->id, &site->place, run->sent->gnomon.edge, run->reduction,
                     &noon->noon);
    return run->is_current;
}

int derive_put_reduction(struct db *db, const struct derived_run *run,
                         const struct reduction_record *record, const struct noon_row *noon,
                         const struct text *text, struct err *err) {
    const struct place *place = &run->site->record.place;
    if (text->failed)
        return err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
    struct reduction_row row = {
        .run = run->run,
        .day = run->day,
        .site = run->site->id,
        .is_current = run->is_current,
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
    return reduction_rows_put(db, &row, err);
}

int derive_run(struct db *db, struct almanac *almanac, const struct run_row *run,
               const struct site_row *site, struct err *err) {
    struct work {
        struct run_record sent;
        struct reduction reduction;
        struct left_out_record left_out[RUN_READINGS_MAX];
    } *work = malloc(sizeof *work);
    struct text text;
    int result = -1;
    text_init(&text, REDUCTION_JSON_MAX);
    if (!work) {
        err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
        goto cleanup;
    }
    struct err ours = {0};
    if (record_read_run(run->body, run->body_length, &work->sent, &ours)) {
        err_set(err, ERR_STORAGE, NULL, "Run %lld cannot be read: %s", (long long)run->id,
                ours.text);
        goto cleanup;
    }
    if (derive_reduce(almanac, &site->record.place, &work->sent.run, &work->reduction, err))
        goto cleanup;
    struct derived_run derived = {.run = run->id,
                                  .day = run->day,
                                  .day_id = run->day_id,
                                  .site = site,
                                  .sent = &work->sent.run,
                                  .reduction = &work->reduction,
                                  .is_current = run_row_is_current(run)};
    struct reduction_record record;
    struct noon_row noon;
    derive_forms(&derived, work->left_out, &record, &noon, &text);
    result = derive_put_reduction(db, &derived, &record, record.status == REDUCE_OK ? &noon : NULL,
                                  &text, err);
cleanup:
    text_release(&text);
    free(work);
    return result;
}

struct pair_rules derive_pair_rules(const struct day_record *day) {
    return (struct pair_rules){
        .lon_tolerance_deg = day->lon_tolerance_deg,
        .min_separation_m = 1000.0 * day->min_separation_km,
        .max_sigma_km = isnan(day->max_sigma_km) ? INFINITY : day->max_sigma_km,
    };
}

/* The noons within the tolerance, across +-180 too. */
static int neighbours(struct db *db, const struct day_row *day, double lon_deg,
                      struct noon_row **out, size_t *count, struct err *err) {
    double reach = day->record.lon_tolerance_deg + WINDOW_SLACK_DEG;
    double low = lon_deg - reach, high = lon_deg + reach;
    if (reduction_rows_between(db, day->id, low, high, out, count, err))
        return -1;
    if (low <= -180.0 && reduction_rows_between(db, day->id, low + 360.0, 181.0, out, count, err))
        return -1;
    if (high >= 180.0 && reduction_rows_between(db, day->id, -181.0, high - 360.0, out, count, err))
        return -1;
    return 0;
}

/* True when the two are on one meridian and one noon; then out is their pair. */
static bool pair_up(const struct noon_row *one, const struct noon_row *two,
                    const struct pair_rules *rules, struct derived_pair *out) {
    bool in_order = strcmp(one->site, two->site) < 0;
    const struct noon_row *first = in_order ? one : two, *second = in_order ? two : one;
    struct pair pair;
    pair_make(&first->noon, &second->noon, rules, NAN, NAN, &pair);
    if (pair.status == PAIR_OFF_MERIDIAN || pair.status == PAIR_OTHER_NOON)
        return false;
    out->site1 = first->noon.key;
    out->site2 = second->noon.key;
    memcpy(out->record.site1, first->site, sizeof out->record.site1);
    memcpy(out->record.site2, second->site, sizeof out->record.site2);
    out->record.pair = pair;
    return true;
}

int derive_pairs(struct db *db, const struct day_row *day, const struct noon_row *noon,
                 struct derived_pair **out, size_t *count, struct err *err) {
    struct pair_rules rules = derive_pair_rules(&day->record);
    struct noon_row *near = NULL;
    size_t near_count = 0, n = 0;
    struct derived_pair *pairs = NULL;
    int result = -1;
    if (neighbours(db, day, noon->noon.lon_deg, &near, &near_count, err))
        goto cleanup;
    pairs = malloc((near_count + 1) * sizeof *pairs);
    if (!pairs) {
        err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
        goto cleanup;
    }
    for (size_t i = 0; i < near_count; i++)
        if (near[i].noon.key != noon->noon.key && pair_up(noon, &near[i], &rules, &pairs[n]))
            n++;
    *out = pairs;
    *count = n;
    pairs = NULL;
    result = 0;
cleanup:
    free(pairs);
    free(near);
    return result;
}

int derive_put_pairs(struct db *db, int64_t day, int64_t site, const struct derived_pair *pairs,
                     size_t count, struct err *err) {
    if (pair_rows_forget(db, day, site, err))
        return -1;
    for (size_t i = 0; i < count; i++)
        if (pair_rows_add(db, day, pairs[i].site1, pairs[i].site2, &pairs[i].record.pair, err))
            return -1;
    return 0;
}

int derive_site_pairs(struct db *db, const struct day_row *day, int64_t site, struct err *err) {
    struct noon_row noon;
    struct derived_pair *pairs = NULL;
    size_t count = 0;
    enum found found = reduction_rows_of_site(db, day->id, site, &noon, err);
    if (found == FOUND_FAILED ||
        (found == FOUND_ONE && derive_pairs(db, day, &noon, &pairs, &count, err)))
        return -1;
    int result = derive_put_pairs(db, day->id, site, pairs, count, err);
    free(pairs);
    return result;
}

/* Keys become the ranks of the sites, as noons.h wants them. */
static struct noon_result *ranked(const struct noon_row *rows, size_t count, struct err *err) {
    struct noon_result *noons = malloc((count + 1) * sizeof *noons);
    if (!noons) {
        err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
        return NULL;
    }
    for (size_t i = 0; i < count; i++) {
        noons[i] = rows[i].noon;
        noons[i].key = (int64_t)i;
    }
    return noons;
}

int derive_day_pairs(struct db *db, const struct day_row *day, struct err *err) {
    struct pair_rules rules = derive_pair_rules(&day->record);
    struct noon_row *rows = NULL;
    struct noon_result *noons = NULL;
    struct noons_pairs pairs = {0};
    size_t count = 0;
    int result = -1;
    if (reduction_rows_of_day(db, day->id, &rows, &count, err))
        goto cleanup;
    noons = ranked(rows, count, err);
    if (!noons || noons_pair_up(noons, count, &rules, SIZE_MAX, &pairs, err))
        goto cleanup;
    for (size_t i = 0; i < pairs.pairs; i++) {
        const struct noons_pair *pair = &pairs.pair[i];
        if (pair_rows_add(db, day->id, rows[pair->key1].noon.key, rows[pair->key2].noon.key,
                          &pair->pair, err))
            goto cleanup;
    }
    result = 0;
cleanup:
    noons_pairs_release(&pairs);
    free(noons);
    free(rows);
    return result;
}
