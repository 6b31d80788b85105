/* SPDX-License-Identifier: MIT */
/* board: places by error and by honesty. */
#include "server/wire/board.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/match.h"
#include "server/science/meridian.h"
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

/* What the tables are made from: the day's noons by identifier, each site's sums
 * over its partners, and the best pairs. Pairs are walked through by the ranks of
 * their sites, so every site's sums run through its partners in one order. */
struct material {
    struct day_noons *day; /* borrowed */
    struct standing_sums *sums;
    bool *off_line;           /* does not belong to the day's line: no yardstick for its partners */
    struct pair_record *best; /* room for twice limit */
    size_t best_count, limit;
    double *figure; /* room for one a row, for places */
    int *place;
};

static void material_release(struct material *material) {
    free(material->sums);
    free(material->off_line);
    free(material->best);
    free(material->figure);
    free(material->place);
}

static int by_pair_error(const void *left, const void *right) {
    const struct pair_record *a = left, *b = right;
    double a_km = error_km(a->pair.circumference_km), b_km = error_km(b->pair.circumference_km);
    if (a_km != b_km)
        return a_km < b_km ? -1 : 1;
    int order = strcmp(a->site1, b->site1);
    return order != 0 ? order : strcmp(a->site2, b->site2);
}

static void keep_best(struct material *material) {
    qsort(material->best, material->best_count, sizeof *material->best, by_pair_error);
    if (material->best_count > material->limit)
        material->best_count = material->limit;
}

static void add_pair(struct material *material, size_t first, size_t second) {
    const struct noon_result *one = &material->day->noon[first].noon;
    const struct noon_result *two = &material->day->noon[second].noon;
    struct pair_record *pair = &material->best[material->best_count];
    if (!day_noons_pair(&material->day->noon[first], &material->day->noon[second],
                        &material->day->rules, pair) ||
        pair->pair.status != PAIR_OK)
        return;
    double angle_deg = match_moved_angle_deg(one, one->declination_deg) -
                       match_moved_angle_deg(two, one->declination_deg);
    double separation_km = (one->meridian_m - two->meridian_m) / 1000.0;
    if (!material->off_line[second])
        standing_add(&material->sums[first], angle_deg, separation_km, two->sigma_deg);
    if (!material->off_line[first])
        standing_add(&material->sums[second], -angle_deg, -separation_km, one->sigma_deg);
    if (++material->best_count == 2 * material->limit)
        keep_best(material);
}

static int gather(struct material *out, const struct combination *combination, struct err *err) {
    const size_t count = out->day->count, rows = count > out->limit ? count : out->limit;
    out->sums = calloc(count + 1, sizeof *out->sums);
    out->off_line = calloc(count + 1, sizeof *out->off_line);
    out->best = calloc(2 * out->limit, sizeof *out->best);
    out->figure = calloc(rows, sizeof *out->figure);
    out->place = calloc(rows, sizeof *out->place);
    if (!out->sums || !out->off_line || !out->best || !out->figure || !out->place)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < combination->points; i++)
        out->off_line[combination->point[i].key] = combination->point[i].left_out;
    for (size_t i = 0; i < count; i++) {
        const size_t *later;
        size_t partners = day_noons_later(out->day, i, &later);
        for (size_t k = 0; k < partners; k++)
            add_pair(out, i, later[k]);
    }
    keep_best(out);
    return 0;
}

static int pair_table(struct material *material, struct board *out, struct err *err) {
    const size_t count = material->best_count;
    out->pairs = calloc(count + 1, sizeof *out->pairs);
    if (!out->pairs)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count; i++)
        material->figure[i] = error_km(material->best[i].pair.circumference_km);
    standing_places(material->figure, count, material->place);
    for (size_t i = 0; i < count; i++) {
        const struct pair_record *best = &material->best[i];
        struct leader_pair_record *row = &out->pairs[i];
        row->place = material->place[i];
        memcpy(row->site1, best->site1, sizeof row->site1);
        memcpy(row->site2, best->site2, sizeof row->site2);
        row->circumference_km = best->pair.circumference_km;
        row->sigma_km = best->pair.sigma_km;
    }
    out->pairs_count = count;
    return 0;
}

static int by_error(const void *left, const void *right) {
    const struct leader_site_record *a = left, *b = right;
    double a_km = error_km(a->circumference_km), b_km = error_km(b->circumference_km);
    return a_km != b_km ? (a_km < b_km ? -1 : 1) : strcmp(a->site, b->site);
}

static int site_table(struct material *material, struct board *out, struct err *err) {
    const struct day_noons *day = material->day;
    size_t count = 0;
    out->sites = calloc(day->count + 1, sizeof *out->sites);
    if (!out->sites)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < day->count; i++) {
        struct leader_site_record *row = &out->sites[count];
        struct standing standing;
        if (!standing_make(&material->sums[i], day->noon[i].noon.sigma_deg, &standing))
            continue;
        memcpy(row->site, day->noon[i].site, sizeof row->site);
        row->circumference_km = standing.circumference_km;
        row->sigma_km = standing.sigma_km;
        row->partners = standing.partners;
        count++;
    }
    qsort(out->sites, count, sizeof *out->sites, by_error);
    for (size_t i = 0; i < count; i++)
        material->figure[i] = error_km(out->sites[i].circumference_km);
    standing_places(material->figure, count, material->place);
    for (size_t i = 0; i < count; i++)
        out->sites[i].place = material->place[i];
    out->sites_count = count < material->limit ? count : material->limit;
    return 0;
}

static int by_score(const void *left, const void *right) {
    const struct honesty_record *a = left, *b = right;
    return a->score != b->score ? (a->score < b->score ? -1 : 1) : strcmp(a->site, b->site);
}

static int honesty_table(struct material *material, struct board *out, struct err *err) {
    const struct day_noons *day = material->day;
    const size_t count = day->count;
    out->honesty = calloc(count + 1, sizeof *out->honesty);
    if (!out->honesty)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    for (size_t i = 0; i < count; i++) {
        const struct day_noon *noon = &day->noon[i];
        struct honesty_record *row = &out->honesty[i];
        memcpy(row->site, noon->site, sizeof row->site);
        row->sigma_deg = noon->noon.sigma_deg;
        row->error_deg = noon->noon.noon_angle_deg - noon->expected_deg;
        row->score = standing_score(row->error_deg, row->sigma_deg);
    }
    qsort(out->honesty, count, sizeof *out->honesty, by_score);
    for (size_t i = 0; i < count; i++)
        material->figure[i] = out->honesty[i].score;
    standing_places(material->figure, count, material->place);
    for (size_t i = 0; i < count; i++)
        out->honesty[i].place = material->place[i];
    out->honesty_count = count < material->limit ? count : material->limit;
    return 0;
}

int board_make(struct day_noons *day, const struct combination *combination, size_t limit,
               struct board *out, struct err *err) {
    struct material material = {.day = day, .limit = limit};
    struct board board = {0};
    int result = -1;
    if (gather(&material, combination, err) || pair_table(&material, &board, err) ||
        site_table(&material, &board, err) || honesty_table(&material, &board, err))
        goto cleanup;
    *out = board;
    board = (struct board){0};
    result = 0;
cleanup:
    board_release(&board);
    material_release(&material);
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
