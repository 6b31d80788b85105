/* SPDX-License-Identifier: MIT */
/* board: the day's result as it was kept, and the leaderboard, which is put
 * together from the day's noons and pairs whenever it is asked for. */
#include "server/rules/board.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/derive.h"
#include "server/rules/list.h"
#include "server/rules/lookup.h"
#include "server/science/match.h"
#include "server/science/standing.h"
#include "server/store/derived_rows.h"
#include "server/store/pair_rows.h"

#define RESULT_JSON_MAX (64u << 20)

int board_result(struct db *db, const char *day, char **json, struct err *err) {
    struct day_row row;
    struct text text;
    if (lookup_day(db, day, &row, err))
        return -1;
    text_init(&text, RESULT_JSON_MAX);
    enum found found = derived_rows_result(db, row.id, &text, err);
    char *copy = NULL;
    if (found == FOUND_ONE || (found == FOUND_NONE && !derive_result_json(db, row.id, &text, err)))
        copy = text_take(&text);
    text_release(&text);
    if (!copy)
        return err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
    *json = copy;
    return 0;
}

void board_release(struct board *board) {
    free(board->pairs);
    free(board->sites);
    free(board->honesty);
    *board = (struct board){0};
}

/* What the tables are made from: the day's noons by identifier, and each site's
 * sums over its partners. */
struct material {
    struct noon_row *noons;
    size_t count;
    struct standing_sums *sums;
    bool *off_line; /* does not belong to the day's line: no yardstick for its partners */
    double *figure; /* room for one a row, for places */
    int *place;
};

static void material_release(struct material *material) {
    free(material->noons);
    free(material->sums);
    free(material->off_line);
    free(material->figure);
    free(material->place);
}

struct key_rank {
    int64_t key;
    size_t rank;
};

static int by_key(const void *left, const void *right) {
    int64_t a = ((const struct key_rank *)left)->key, b = ((const struct key_rank *)right)->key;
    return (a > b) - (a < b);
}

static int by_ranks(const void *left, const void *right) {
    const struct pair_sites *a = left, *b = right;
    if (a->site1 != b->site1)
        return a->site1 < b->site1 ? -1 : 1;
    return (a->site2 > b->site2) - (a->site2 < b->site2);
}

static size_t rank_of(const struct key_rank *ranks, size_t count, int64_t key) {
    const struct key_rank wanted = {.key = key};
    const struct key_rank *found = bsearch(&wanted, ranks, count, sizeof *ranks, by_key);
    return found ? found->rank : count;
}

static void add_pair(struct material *material, size_t first, size_t second) {
    const struct noon_result *one = &material->noons[first].noon;
    const struct noon_result *two = &material->noons[second].noon;
    double angle_deg = match_moved_angle_deg(one, one->declination_deg) -
                       match_moved_angle_deg(two, one->declination_deg);
    double separation_km = (one->meridian_m - two->meridian_m) / 1000.0;
    if (!material->off_line[second])
        standing_add(&material->sums[first], angle_deg, separation_km, two->sigma_deg);
    if (!material->off_line[first])
        standing_add(&material->sums[second], -angle_deg, -separation_km, one->sigma_deg);
}

/* Pairs are taken by the ranks of their sites, so every site's sums run through
 * its partners in the order of their identifiers. */
static int add_pairs(struct material *material, struct pair_sites *pairs, size_t count,
                     struct err *err) {
    if (count == 0)
        return 0;
    struct key_rank *ranks = calloc(material->count + 1, sizeof *ranks);
    if (!ranks)
        return err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
    for (size_t i = 0; i < material->count; i++)
        ranks[i] = (struct key_rank){material->noons[i].noon.key, i};
    qsort(ranks, material->count, sizeof *ranks, by_key);
    for (size_t i = 0; i < count; i++) {
        pairs[i].site1 = (int64_t)rank_of(ranks, material->count, pairs[i].site1);
        pairs[i].site2 = (int64_t)rank_of(ranks, material->count, pairs[i].site2);
    }
    free(ranks);
    qsort(pairs, count, sizeof *pairs, by_ranks);
    for (size_t i = 0; i < count; i++) {
        size_t first = (size_t)pairs[i].site1, second = (size_t)pairs[i].site2;
        if (first >= material->count || second >= material->count)
            return err_set(err, ERR_STORAGE, NULL, "A pair has no noon. Run `noonarcd rebuild`.");
        add_pair(material, first, second);
    }
    return 0;
}

static int mark_off_line(struct material *material, struct err *err) {
    struct combine_point *points = NULL;
    struct combined combined;
    if (derive_points(material->noons, material->count, &points, &combined, err))
        return -1;
    for (size_t i = 0; i < material->count; i++)
        material->off_line[points[i].key] = points[i].left_out;
    free(points);
    return 0;
}

static int gather(struct db *db, int64_t day, struct material *out, struct err *err) {
    struct pair_sites *pairs = NULL;
    size_t count = 0;
    int result = -1;
    if (reduction_rows_of_day(db, day, &out->noons, &out->count, err) ||
        pair_rows_that_count(db, day, &pairs, &count, err))
        goto cleanup;
    out->sums = calloc(out->count + 1, sizeof *out->sums);
    out->off_line = calloc(out->count + 1, sizeof *out->off_line);
    out->figure = calloc(out->count + LIST_LIMIT_MAX, sizeof *out->figure);
    out->place = calloc(out->count + LIST_LIMIT_MAX, sizeof *out->place);
    if (!out->sums || !out->off_line || !out->figure || !out->place) {
        err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
        goto cleanup;
    }
    if (mark_off_line(out, err))
        goto cleanup;
    result = add_pairs(out, pairs, count, err);
cleanup:
    free(pairs);
    return result;
}

static double error_km(double circumference_km) {
    return fabs(circumference_km - MERIDIAN_CIRCUMFERENCE_KM);
}

static int pair_table(struct db *db, int64_t day, size_t limit, struct material *material,
                      struct board *out, struct err *err) {
    struct pair_record *best = NULL;
    size_t count = 0;
    if (pair_rows_best(db, day, (int64_t)limit, &best, &count, err))
        return -1;
    out->pairs = calloc(count + 1, sizeof *out->pairs);
    if (!out->pairs) {
        free(best);
        return err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
    }
    for (size_t i = 0; i < count; i++)
        material->figure[i] = error_km(best[i].pair.circumference_km);
    standing_places(material->figure, count, material->place);
    for (size_t i = 0; i < count; i++) {
        struct leader_pair_record *row = &out->pairs[i];
        row->place = material->place[i];
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

static int site_table(struct material *material, size_t limit, struct board *out, struct err *err) {
    size_t count = 0;
    out->sites = calloc(material->count + 1, sizeof *out->sites);
    if (!out->sites)
        return err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
    for (size_t i = 0; i < material->count; i++) {
        struct leader_site_record *row = &out->sites[count];
        struct standing standing;
        if (!standing_make(&material->sums[i], material->noons[i].noon.sigma_deg, &standing))
            continue;
        memcpy(row->site, material->noons[i].site, sizeof row->site);
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
    out->sites_count = count < limit ? count : limit;
    return 0;
}

static int by_score(const void *left, const void *right) {
    const struct honesty_record *a = left, *b = right;
    return a->score != b->score ? (a->score < b->score ? -1 : 1) : strcmp(a->site, b->site);
}

static int honesty_table(struct material *material, size_t limit, struct board *out,
                         struct err *err) {
    const size_t count = material->count;
    out->honesty = calloc(count + 1, sizeof *out->honesty);
    if (!out->honesty)
        return err_set(err, ERR_INTERNAL, NULL, "Out of memory.");
    for (size_t i = 0; i < count; i++) {
        const struct noon_row *noon = &material->noons[i];
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
    out->honesty_count = count < limit ? count : limit;
    return 0;
}

int board_make(struct db *db, const char *day, size_t limit, struct board *out, struct err *err) {
    struct day_row row;
    struct material material = {0};
    struct board board = {0};
    int result = -1;
    if (lookup_day(db, day, &row, err))
        return -1;
    if (gather(db, row.id, &material, err) ||
        pair_table(db, row.id, limit, &material, &board, err) ||
        site_table(&material, limit, &board, err) || honesty_table(&material, limit, &board, err))
        goto cleanup;
    *out = board;
    board = (struct board){0};
    result = 0;
cleanup:
    board_release(&board);
    material_release(&material);
    return result;
}
