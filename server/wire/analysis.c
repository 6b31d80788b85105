/* SPDX-License-Identifier: MIT */
/* analysis: joins the two spreadsheets by site, cuts each site's readings into
 * noons, and hands the noons on. */
#include "server/wire/analysis.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/json_write.h"
#include "server/wire/record_write.h"

const struct pair_rules analysis_default_rules = {
    .lon_tolerance_deg = ANALYSIS_LON_TOLERANCE_DEG,
    .min_separation_m = ANALYSIS_MIN_SEPARATION_M,
    .max_sigma_km = INFINITY,
};

/* The work in hand: the rows grow with the noons found. */
struct work {
    const struct site_record **site; /* ascending by identifier */
    size_t sites;
    struct reduction_record *row;
    size_t *left_out_first;   /* of each row, in left_out: pointers are set at the end */
    struct noon_result *noon; /* of each row; key is the row's number */
    size_t rows, rows_room;
    struct left_out_record *left_out;
    size_t left_outs, left_outs_room;
    struct sun_day *suns; /* kept ascending by date */
    size_t sun_count, suns_room;
};

static int out_of_memory(struct err *err) {
    return err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

static bool grow(void **array, size_t room, size_t size) {
    void *grown = realloc(*array, room * size);
    if (grown != NULL)
        *array = grown;
    return grown != NULL;
}

static void work_release(struct work *work) {
    free(work->site);
    free(work->row);
    free(work->left_out_first);
    free(work->noon);
    free(work->left_out);
    free(work->suns);
}

static int by_identifier(const void *left, const void *right) {
    const struct site_record *const *a = left, *const *b = right;
    return strcmp((*a)->site, (*b)->site);
}

/* The Sun of a date, built once. NULL with err set when there is none. */
static const struct sun_day *sun_of(struct work *work, int32_t date, const char *place,
                                    struct err *err) {
    size_t low = 0, high = work->sun_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (work->suns[middle].day_number < date)
            low = middle + 1;
        else
            high = middle;
    }
    if (low < work->sun_count && work->suns[low].day_number == date)
        return &work->suns[low];
    struct sun_day day;
    if (!sun_day_build(date, &day)) {
        err_set(err, ERR_OUT_OF_RANGE, place, "%s: no Sun is known for that date", place);
        return NULL;
    }
    if (work->sun_count == work->suns_room) {
        size_t room = work->suns_room == 0 ? 8 : 2 * work->suns_room;
        if (!grow((void **)&work->suns, room, sizeof *work->suns)) {
            out_of_memory(err);
            return NULL;
        }
        work->suns_room = room;
    }
    memmove(&work->suns[low + 1], &work->suns[low], (work->sun_count - low) * sizeof day);
    work->suns[low] = day;
    work->sun_count++;
    return &work->suns[low];
}

static bool room_for_row(struct work *work) {
    if (work->rows == work->rows_room) {
        size_t room = work->rows_room == 0 ? 64 : 2 * work->rows_room;
        if (!grow((void **)&work->row, room, sizeof *work->row) ||
            !grow((void **)&work->left_out_first, room, sizeof *work->left_out_first) ||
            !grow((void **)&work->noon, room, sizeof *work->noon))
            return false;
        work->rows_room = room;
    }
    if (work->left_outs_room - work->left_outs < RUN_READINGS_MAX) {
        size_t room = 2 * work->left_outs_room + RUN_READINGS_MAX;
        if (!grow((void **)&work->left_out, room, sizeof *work->left_out))
            return false;
        work->left_outs_room = room;
    }
    return true;
}

static int add_empty_row(struct work *work, const struct site_record *site, struct err *err) {
    if (!room_for_row(work))
        return out_of_memory(err);
    struct reduction_record *row = &work->row[work->rows];
    *row = (struct reduction_record){.status = REDUCE_TOO_FEW,
                                     .transit_utc_s = NAN,
                                     .declination_deg = NAN,
                                     .noon_angle_deg = NAN,
                                     .sigma_deg = NAN,
                                     .clock_offset_s = NAN,
                                     .clock_offset_sigma_s = NAN,
                                     .scatter_deg = NAN,
                                     .chi2 = NAN};
    memcpy(row->site, site->site, sizeof row->site);
    work->left_out_first[work->rows++] = work->left_outs;
    return 0;
}

/* Reduces the readings of one noon of a site. */
static int add_noon(struct work *work, const struct site_record *site,
                    const struct sheet_reading *reading, size_t count, int32_t date,
                    struct err *err) {
    char place[48];
    snprintf(place, sizeof place, "row %u, utc", reading[0].row);
    struct run run;
    const struct sun_day *day = sun_of(work, date, place, err);
    if (day == NULL || sheet_run(site, reading, count, &run, err))
        return -1;
    if (!room_for_row(work))
        return out_of_memory(err);
    struct reduction reduction;
    reduce_run(&site->place, &run, day, &reduction);
    struct reduction_record *row = &work->row[work->rows];
    reduction_record_make(site->site, "", 0, &run, &reduction, &work->left_out[work->left_outs],
                          row);
    noon_result_make((int64_t)work->rows, &site->place, site->edge, &reduction,
                     &work->noon[work->rows]);
    work->left_out_first[work->rows++] = work->left_outs;
    work->left_outs += (size_t)row->left_outs;
    return 0;
}

/* Readings come in order of time: those nearest to one noon stand together. */
static int add_noons(struct work *work, const struct site_record *site,
                     const struct sheet_reading *reading, size_t count, struct err *err) {
    for (size_t begin = 0, end; begin < count; begin = end) {
        int32_t date = sun_day_nearest(reading[begin].reading.t_utc_s, site->place.lon_deg);
        end = begin;
        while (end < count &&
               sun_day_nearest(reading[end].reading.t_utc_s, site->place.lon_deg) == date)
            end++;
        if (add_noon(work, site, reading + begin, end - begin, date, err))
            return -1;
    }
    return 0;
}

/* Sites and readings are both in order of the identifier: one walk joins them. */
static int join(struct work *work, const struct sheet_readings *readings, struct err *err) {
    size_t next = 0;
    for (size_t i = 0; i <= work->sites; i++) {
        const struct site_record *site = i < work->sites ? work->site[i] : NULL;
        const struct sheet_site *with = next < readings->sites ? &readings->site[next] : NULL;
        int order = site == NULL ? 1 : with == NULL ? -1 : strcmp(site->site, with->site);
        if (with != NULL && order > 0) {
            char place[48];
            snprintf(place, sizeof place, "row %u, site", with->first_row);
            return err_set(err, ERR_NOT_FOUND, place, "%s: there is no site \"%s\"", place,
                           with->site);
        }
        if (site == NULL)
            break;
        if (order != 0) {
            if (add_empty_row(work, site, err))
                return -1;
            continue;
        }
        if (add_noons(work, site, readings->reading + with->first, with->readings, err))
            return -1;
        next++;
    }
    return 0;
}

/* Noons that can be paired and combined: copied together, keys kept. */
static size_t usable_noons(const struct work *work, struct noon_result *out) {
    size_t count = 0;
    for (size_t i = 0; i < work->rows; i++)
        if (work->row[i].readings > 0 && work->row[i].status == REDUCE_OK)
            out[count++] = work->noon[i];
    return count;
}

static int make_pairs(const struct work *work, const struct noon_result *noons, size_t count,
                      const struct pair_rules *rules, struct analysis *out, struct err *err) {
    struct noons_pairs found;
    if (noons_pair_up(noons, count, rules, ANALYSIS_PAIRS_MAX, &found, err))
        return -1;
    out->pairs_complete = found.complete;
    out->pair = calloc(found.pairs + 1, sizeof *out->pair);
    out->refused = calloc(found.pairs + 1, sizeof *out->refused);
    if (out->pair == NULL || out->refused == NULL) {
        noons_pairs_release(&found);
        return out_of_memory(err);
    }
    assert(found.pairs == 0 || work->row != NULL);
    for (size_t i = 0; i < found.pairs; i++) {
        const struct noons_pair *from = &found.pair[i];
        struct pair_record *to = from->pair.status == PAIR_OK ? &out->pair[out->pairs++]
                                                              : &out->refused[out->refusals++];
        memcpy(to->site1, work->row[from->key1].site, sizeof to->site1);
        memcpy(to->site2, work->row[from->key2].site, sizeof to->site2);
        to->pair = from->pair;
    }
    noons_pairs_release(&found);
    return 0;
}

static int make_combined(const struct work *work, const struct noon_result *noons, size_t count,
                         struct analysis *out, struct err *err) {
    struct combine_point *points = calloc(count + 1, sizeof *points);
    out->off_line = calloc(count + 1, sizeof *out->off_line);
    int outcome = -1;
    if (points == NULL || out->off_line == NULL)
        out_of_memory(err);
    else
        outcome = noons_combine(noons, count, points, &out->combined, err);
    for (size_t i = 0; outcome == 0 && i < count; i++) {
        if (!points[i].left_out)
            continue;
        struct off_line_record *off = &out->off_line[out->off_lines++];
        memcpy(off->site, work->row[points[i].key].site, sizeof off->site);
        off->residual_deg = points[i].residual_deg;
        off->residual_sigma = points[i].residual_deg / points[i].sigma_deg;
    }
    free(points);
    return outcome;
}

int analysis_make(const struct site_record *sites, size_t count,
                  const struct sheet_readings *readings, const struct pair_rules *rules,
                  struct analysis *out, struct err *err) {
    struct work work = {.site = calloc(count + 1, sizeof *work.site), .sites = count};
    struct analysis made = {0};
    struct noon_result *noons = NULL;
    int outcome = -1;
    if (work.site == NULL) {
        out_of_memory(err);
        goto cleanup;
    }
    for (size_t i = 0; i < count; i++)
        work.site[i] = &sites[i];
    qsort(work.site, count, sizeof *work.site, by_identifier);
    if (join(&work, readings, err))
        goto cleanup;
    noons = calloc(work.rows + 1, sizeof *noons);
    if (noons == NULL) {
        out_of_memory(err);
        goto cleanup;
    }
    size_t usable = usable_noons(&work, noons);
    if (make_pairs(&work, noons, usable, rules, &made, err) ||
        make_combined(&work, noons, usable, &made, err))
        goto cleanup;
    for (size_t i = 0; i < work.rows; i++)
        work.row[i].left_out =
            work.row[i].left_outs > 0 ? &work.left_out[work.left_out_first[i]] : NULL;
    made.row = work.row;
    made.rows = work.rows;
    made.left_out = work.left_out;
    made.left_outs = work.left_outs;
    work.row = NULL;
    work.left_out = NULL;
    *out = made;
    made = (struct analysis){0};
    outcome = 0;
cleanup:
    free(noons);
    work_release(&work);
    analysis_release(&made);
    return outcome;
}

void analysis_release(struct analysis *analysis) {
    free(analysis->row);
    free(analysis->left_out);
    free(analysis->pair);
    free(analysis->refused);
    free(analysis->off_line);
    *analysis = (struct analysis){0};
}

static void write_refused(struct json_writer *json, const struct pair_record *pair) {
    json_write_object(json, NULL);
    json_write_text(json, "site1", pair->site1);
    json_write_text(json, "site2", pair->site2);
    json_write_real(json, "separation_km", pair->pair.separation_km);
    json_write_text(json, "status", pair_status_name(pair->pair.status));
    json_write_text(json, "reason", pair_status_text(pair->pair.status));
    json_write_end(json);
}

void analysis_write(const struct analysis *analysis, struct text *text) {
    struct json_writer json;
    json_write_init(&json, text);
    json_write_object(&json, NULL);
    json_write_text(&json, "method", REDUCE_METHOD);
    json_write_array(&json, "sites");
    for (size_t i = 0; i < analysis->rows; i++)
        record_write_reduction(&json, NULL, &analysis->row[i]);
    json_write_end(&json);
    json_write_array(&json, "pairs");
    for (size_t i = 0; i < analysis->pairs; i++)
        record_write_pair(&json, NULL, &analysis->pair[i]);
    json_write_end(&json);
    json_write_array(&json, "pairs_refused");
    for (size_t i = 0; i < analysis->refusals; i++)
        write_refused(&json, &analysis->refused[i]);
    json_write_end(&json);
    json_write_bool(&json, "pairs_complete", analysis->pairs_complete);
    record_write_combined(&json, "combined", &analysis->combined, analysis->off_line,
                          analysis->off_lines);
    json_write_end(&json);
}
