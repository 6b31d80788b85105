/* SPDX-License-Identifier: MIT */
/* board: places by error and by honesty. */
#include "server/wire/board.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/meridian.h"
#include "server/science/order.h"
#include "server/science/standing.h"
#include "server/wire/record_write.h"

void board_release(struct board *board) {
    free(board->pairs);
    free(board->sites);
    free(board->honesty);
    *board = (struct board){0};
}

static double error_km(double circumference_km) {
    return fabs(circumference_km - MERIDIAN_CIRCUMFERENCE_KM);
}

/* What the tables are made with: all sites in turn, and what is placed. */
struct work {
    struct tally *tally; /* borrowed */
    size_t limit, sites;
    struct tally_site *site;
    double *error_km; /* of each site's own circumference; INFINITY: it has none */
    double *figure;   /* room for one a line */
    double *few;
    int *place;
};

static int out_of_memory(struct err *err) {
    return err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

/* The greatest of the sites' figures that is shown, and how many are not greater. */
static double last_shown(struct work *work, const double *figure, size_t *shown) {
    double last = DBL_MAX;
    if (work->sites > work->limit)
        last = fmin(last, order_select_low(figure, work->sites, work->limit - 1, work->few));
    *shown = 0;
    for (size_t i = 0; i < work->sites; i++)
        *shown += figure[i] <= last;
    return last;
}

static int pair_table(struct work *work, struct board *out, struct err *err) {
    struct pair_record *best = calloc(work->limit, sizeof *best);
    out->pairs = calloc(work->limit, sizeof *out->pairs);
    if (!best || !out->pairs) {
        free(best);
        return out_of_memory(err);
    }
    const size_t count = tally_best(work->tally, work->limit, best);
    for (size_t i = 0; i < count; i++)
        work->figure[i] = error_km(best[i].pair.circumference_km);
    standing_places(work->figure, count, work->place);
    for (size_t i = 0; i < count; i++) {
        struct leader_pair_record *row = &out->pairs[i];
        row->place = work->place[i];
        memcpy(row->site1, best[i].site1, sizeof row->site1);
        memcpy(row->site2, best[i].site2, sizeof row->site2);
        row->circumference_km = best[i].pair.circumference_km;
        row->sigma_km = best[i].pair.sigma_km;
    }
    out->pairs_count = count;
    free(best);
    return 0;
}

static int by_error(const void *left, const void *right) {
    const struct leader_site_record *a = left, *b = right;
    double a_km = error_km(a->circumference_km), b_km = error_km(b->circumference_km);
    return a_km != b_km ? (a_km < b_km ? -1 : 1) : strcmp(a->site, b->site);
}

/* INFINITY for a site without a figure of its own. */
static double site_error_km(const struct tally_site *site) {
    const double circumference_km = standing_circumference_km(site->sums);
    return isnan(circumference_km) ? INFINITY : error_km(circumference_km);
}

static int site_table(struct work *work, struct board *out, struct err *err) {
    size_t count = 0, shown;
    const double last_km = last_shown(work, work->error_km, &shown);
    out->sites = calloc(shown + 1, sizeof *out->sites);
    if (!out->sites)
        return out_of_memory(err);
    for (size_t i = 0; i < work->sites; i++) {
        const struct tally_site *site = &work->site[i];
        struct leader_site_record *row = &out->sites[count];
        struct standing_figure standing;
        if (work->error_km[i] > last_km ||
            !standing_make(site->sums, site->noon->noon.sigma_deg, &standing))
            continue;
        memcpy(row->site, site->noon->site, sizeof row->site);
        row->circumference_km = standing.circumference_km;
        row->sigma_km = standing.sigma_km;
        row->partners = standing.partners;
        count++;
    }
    qsort(out->sites, count, sizeof *out->sites, by_error);
    for (size_t i = 0; i < count; i++)
        work->figure[i] = error_km(out->sites[i].circumference_km);
    standing_places(work->figure, count, work->place);
    for (size_t i = 0; i < count; i++)
        out->sites[i].place = work->place[i];
    out->sites_count = count < work->limit ? count : work->limit;
    return 0;
}

static int by_score(const void *left, const void *right) {
    const struct honesty_record *a = left, *b = right;
    return a->score != b->score ? (a->score < b->score ? -1 : 1) : strcmp(a->site, b->site);
}

static int honesty_table(struct work *work, struct board *out, struct err *err) {
    size_t count = 0, shown;
    for (size_t i = 0; i < work->sites; i++)
        work->figure[i] = work->site[i].score;
    const double last = last_shown(work, work->figure, &shown);
    out->honesty = calloc(shown + 1, sizeof *out->honesty);
    if (!out->honesty)
        return out_of_memory(err);
    for (size_t i = 0; i < work->sites; i++) {
        const struct tally_site *site = &work->site[i];
        if (site->score > last)
            continue;
        struct honesty_record *row = &out->honesty[count++];
        memcpy(row->site, site->noon->site, sizeof row->site);
        row->sigma_deg = site->noon->noon.sigma_deg;
        row->error_deg = site->noon->noon.noon_angle_deg - site->noon->expected_deg;
        row->score = site->score;
    }
    qsort(out->honesty, count, sizeof *out->honesty, by_score);
    for (size_t i = 0; i < count; i++)
        work->figure[i] = out->honesty[i].score;
    standing_places(work->figure, count, work->place);
    for (size_t i = 0; i < count; i++)
        out->honesty[i].place = work->place[i];
    out->honesty_count = count < work->limit ? count : work->limit;
    return 0;
}

static void look_at_sites(struct work *work) {
    struct tally_walk walk = {0};
    while (tally_next(work->tally, &walk, &work->site[work->sites])) {
        work->error_km[work->sites] = site_error_km(&work->site[work->sites]);
        work->sites++;
    }
}

int board_make(struct tally *tally, size_t limit, struct board *out, struct err *err) {
    const size_t sites = tally_count(tally), room = sites > limit ? sites : limit;
    struct work work = {.tally = tally,
                        .limit = limit,
                        .site = calloc(room + 1, sizeof *work.site),
                        .error_km = calloc(room, sizeof *work.error_km),
                        .figure = calloc(room, sizeof *work.figure),
                        .few = calloc(limit, ORDER_FEW * sizeof *work.few),
                        .place = calloc(room, sizeof *work.place)};
    struct board board = {0};
    int result = -1;
    if (!work.site || !work.error_km || !work.figure || !work.few || !work.place) {
        out_of_memory(err);
        goto cleanup;
    }
    look_at_sites(&work);
    if (pair_table(&work, &board, err) || site_table(&work, &board, err) ||
        honesty_table(&work, &board, err))
        goto cleanup;
    *out = board;
    board = (struct board){0};
    result = 0;
cleanup:
    board_release(&board);
    free(work.site);
    free(work.error_km);
    free(work.figure);
    free(work.few);
    free(work.place);
    return result;
}

void board_write(struct json_writer *json, const struct board *board) {
    json_write_array(json, "pairs");
    for (size_t i = 0; i < board->pairs_count; i++)
        record_write_leader_pair(json, NULL, &board->pairs[i]);
    json_write_end(json);
    json_write_array(json, "sites");
    for (size_t i = 0; i < board->sites_count; i++)
        record_write_leader_site(json, NULL, &board->sites[i]);
    json_write_end(json);
    json_write_array(json, "honesty");
    for (size_t i = 0; i < board->honesty_count; i++)
        record_write_honesty(json, NULL, &board->honesty[i]);
    json_write_end(json);
}
