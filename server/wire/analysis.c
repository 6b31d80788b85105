/* SPDX-License-Identifier: MIT */
/* analysis: joins the two spreadsheets by site, cuts each site's readings into
 * noons, and hands the noons on. */
#include "server/wire/analysis.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/array.h"
#include "server/wire/suns.h"

const struct pair_rules analysis_default_rules = {
    .lon_tolerance_deg = ANALYSIS_LON_TOLERANCE_DEG,
    .min_separation_m = ANALYSIS_MIN_SEPARATION_M,
    .max_sigma_km = INFINITY,
};

struct noon_row {
    struct reduction_record record;
    size_t left_out_first;   /* in left_out, which still moves: pointers are set at the end */
    struct noon_result noon; /* key is the row's number */
};

/* The work in hand: the rows grow with the noons found. */
struct work {
    const struct site_record **site; /* ascending by identifier */
    size_t sites;
    struct noon_row *row;
    size_t rows, rows_room;
    struct left_out_record *left_out;
    size_t left_outs, left_outs_room;
    struct suns suns;
};

static int out_of_memory(struct err *err) {
    return err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

static void work_release(struct work *work) {
    suns_release(&work->suns);
    free(work->site);
    free(work->row);
    free(work->left_out);
}

static int by_identifier(const void *left, const void *right) {
    const struct site_record *const *a = left, *const *b = right;
    return strcmp((*a)->site, (*b)->site);
}

/* The Sun of a date. NULL with err set when there is none. */
static const struct sun_day *sun_of(struct work *work, int32_t date, const char *place,
                                    struct err *err) {
    const struct sun_day *sun = suns_day(&work->suns, date);
    if (sun == NULL && (date < SUN_FIRST_DAY || date > SUN_LAST_DAY))
        err_set(err, ERR_OUT_OF_RANGE, place,
                "%s: the Sun is computed for dates from 1972-01-01 to 2100-12-31", place);
    else if (sun == NULL)
        out_of_memory(err);
    return sun;
}

/* A new last row, with room for the left-out readings of a run; NULL without memory. */
static struct noon_row *add_row(struct work *work) {
    struct noon_row *rows = array_with_room(work->row, work->rows, &work->rows_room, sizeof *rows);
    if (rows == NULL)
        return NULL;
    work->row = rows;
    struct left_out_record *left_out =
        array_with_room(work->left_out, work->left_outs + RUN_READINGS_MAX, &work->left_outs_room,
                        sizeof *left_out);
    if (left_out == NULL)
        return NULL;
    work->left_out = left_out;
    rows[work->rows].left_out_first = work->left_outs;
    return &rows[work->rows++];
}

static int add_empty_row(struct work *work, const struct site_record *site, struct err *err) {
    struct noon_row *row = add_row(work);
    if (row == NULL)
        return out_of_memory(err);
    row->record = (struct reduction_record){.status = REDUCE_TOO_FEW,
                                            .transit_utc_s = NAN,
                                            .declination_deg = NAN,
                                            .noon_angle_deg = NAN,
                                            .sigma_deg = NAN,
                                            .clock_offset_s = NAN,
                                            .clock_offset_sigma_s = NAN,
                                            .scatter_deg = NAN,
                                            .chi2 = NAN,
                                            .budget = {NAN, NAN, NAN, NAN, NAN, NAN, NAN}};
    memcpy(row->record.site, site->site, sizeof row->record.site);
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
    struct noon_row *row = add_row(work);
    if (row == NULL)
        return out_of_memory(err);
    struct reduction reduction;
    reduce_run(&site->place, &run, day, &reduction);
    reduction_record_make(site->site, "", 0, &run, &reduction, &work->left_out[work->left_outs],
                          &row->record);
    noon_result_make(row - work->row, &site->place, site->edge, &reduction, &row->noon);
    const struct noon_row *before = row > work->row ? row - 1 : NULL;
    bool again = before != NULL && strcmp(before->record.site, site->site) == 0;
    row->noon.site = again ? before->noon.site : row - work->row + 1;
    work->left_outs += (size_t)row->record.left_outs;
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

/* Of the sites with readings that are not known, the one that comes first in the
 * spreadsheet is named. */
static int refuse_unknown(const struct work *work, const struct sheet_readings *readings,
                          struct err *err) {
    const struct sheet_site *unknown = NULL;
    size_t at = 0;
    for (size_t i = 0; i < readings->sites; i++) {
        const struct sheet_site *with = &readings->site[i];
        while (at < work->sites && strcmp(work->site[at]->site, with->site) < 0)
            at++;
        bool known = at < work->sites && strcmp(work->site[at]->site, with->site) == 0;
        if (!known && (unknown == NULL || with->first_row < unknown->first_row))
            unknown = with;
    }
    if (unknown == NULL)
        return 0;
    char place[48];
    snprintf(place, sizeof place, "row %u, site", unknown->first_row);
    return err_set(err, ERR_NOT_FOUND, place, "%s: there is no site \"%s\"", place, unknown->site);
}

/* Sites and readings are both in order of the identifier: one walk joins them. */
static int join(struct work *work, const struct sheet_readings *readings, struct err *err) {
    if (refuse_unknown(work, readings, err))
        return -1;
    size_t next = 0;
    for (size_t i = 0; i < work->sites; i++) {
        const struct site_record *site = work->site[i];
        const struct sheet_site *with = next < readings->sites ? &readings->site[next] : NULL;
        bool has_readings = with != NULL && strcmp(site->site, with->site) == 0;
        if (has_readings
                ? add_noons(work, site, readings->reading + with->first, with->readings, err)
                : add_empty_row(work, site, err))
            return -1;
        next += has_readings;
    }
    return 0;
}

/* Noons that can be paired and combined: copied together, keys kept. */
static size_t usable_noons(const struct work *work, struct noon_result *out) {
    size_t count = 0;
    for (size_t i = 0; i < work->rows; i++)
        if (work->row[i].record.readings > 0 && work->row[i].record.status == REDUCE_OK)
            out[count++] = work->row[i].noon;
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
        memcpy(to->site1, work->row[from->key1].record.site, sizeof to->site1);
        memcpy(to->site2, work->row[from->key2].record.site, sizeof to->site2);
        to->pair = from->pair;
    }
    noons_pairs_release(&found);
    return 0;
}

static int make_combined(const struct work *work, const struct noon_result *noons, size_t count,
                         struct analysis *out, struct err *err) {
    struct combine_point *points = calloc(count + 1, sizeof *points);
    double *scratch = calloc(count + 1, COMBINE_SCRATCH * sizeof *scratch);
    out->off_line = calloc(count + 1, sizeof *out->off_line);
    int outcome = -1;
    if (points == NULL || scratch == NULL || out->off_line == NULL)
        out_of_memory(err);
    else
        outcome = noons_combine(noons, count, NULL, scratch, points, &out->combined, err);
    free(scratch);
    for (size_t i = 0; outcome == 0 && i < count; i++) {
        if (!points[i].left_out)
            continue;
        struct off_line_record *off = &out->off_line[out->off_lines++];
        memcpy(off->site, work->row[points[i].key].record.site, sizeof off->site);
        off->residual_deg = points[i].residual_deg;
        off->residual_sigma = points[i].residual_deg / points[i].sigma_deg;
    }
    size_t moving[INFLUENCES_MAX] = {0};
    if (outcome == 0)
        out->influences = noons_influential(points, count, INFLUENCES_MAX, moving);
    assert(out->influences == 0 || work->row != NULL);
    for (size_t i = 0; i < out->influences; i++) {
        struct influence_record *influence = &out->influence[i];
        const struct combine_point *point = &points[moving[i]];
        memcpy(influence->site, work->row[point->key].record.site, sizeof influence->site);
        influence->influence_km = point->influence_km;
    }
    free(points);
    return outcome;
}

/* Hands the rows over, now that nothing moves any more. */
static int take_rows(struct work *work, struct analysis *out, struct err *err) {
    out->row = calloc(work->rows + 1, sizeof *out->row);
    if (out->row == NULL)
        return out_of_memory(err);
    for (size_t i = 0; i < work->rows; i++) {
        const struct noon_row *from = &work->row[i];
        out->row[i] = from->record;
        out->row[i].left_out =
            from->record.left_outs > 0 ? &work->left_out[from->left_out_first] : NULL;
    }
    out->rows = work->rows;
    out->left_out = work->left_out;
    out->left_outs = work->left_outs;
    work->left_out = NULL;
    return 0;
}

int analysis_make(const struct site_record *sites, size_t count,
                  const struct sheet_readings *readings, const struct pair_rules *rules,
                  struct analysis *out, struct err *err) {
    struct work work = {.site = calloc(count + 1, sizeof *work.site), .sites = count};
    struct analysis made = {0};
    struct noon_result *noons = NULL;
    size_t usable;
    int outcome = -1;
    if (!suns_init(&work.suns) || work.site == NULL) {
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
    usable = usable_noons(&work, noons);
    if (make_pairs(&work, noons, usable, rules, &made, err) ||
        make_combined(&work, noons, usable, &made, err) || take_rows(&work, &made, err))
        goto cleanup;
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
