/* SPDX-License-Identifier: MIT */
/* day_noons: a ring of longitudes, walked both ways from a site. */
#include "server/wire/day_noons.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Wider than the tolerance by far more than rounding. */
#define SLACK_DEG 1e-6

struct lon_rank {
    double lon_deg;
    size_t rank;
};

struct pair_rules day_noons_rules(const struct day_record *day) {
    return (struct pair_rules){
        .lon_tolerance_deg = day->lon_tolerance_deg,
        .min_separation_m = 1000.0 * day->min_separation_km,
        .max_sigma_km = isnan(day->max_sigma_km) ? INFINITY : day->max_sigma_km,
    };
}

static int by_lon(const void *left, const void *right) {
    const struct lon_rank *a = left, *b = right;
    if (a->lon_deg != b->lon_deg)
        return a->lon_deg < b->lon_deg ? -1 : 1;
    return (a->rank > b->rank) - (a->rank < b->rank);
}

static int by_rank(const void *left, const void *right) {
    size_t a = *(const size_t *)left, b = *(const size_t *)right;
    return (a > b) - (a < b);
}

int day_noons_make(const struct pair_rules *rules, struct day_noon *noon, size_t count,
                   struct day_noons *out, struct err *err) {
    struct day_noons noons = {.rules = *rules, .noon = noon, .count = count};
    noons.by_lon = calloc(noons.count + 1, sizeof *noons.by_lon);
    noons.at = calloc(noons.count + 1, sizeof *noons.at);
    noons.near = calloc(noons.count + 1, sizeof *noons.near);
    if (!noons.by_lon || !noons.at || !noons.near) {
        day_noons_release(&noons);
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    }
    for (size_t i = 0; i < noons.count; i++)
        noons.by_lon[i] = (struct lon_rank){noons.noon[i].noon.lon_deg, i};
    qsort(noons.by_lon, noons.count, sizeof *noons.by_lon, by_lon);
    for (size_t i = 0; i < noons.count; i++)
        noons.at[noons.by_lon[i].rank] = i;
    *out = noons;
    return 0;
}

void day_noons_release(struct day_noons *noons) {
    free(noons->noon);
    free(noons->by_lon);
    free(noons->at);
    free(noons->near);
    *noons = (struct day_noons){0};
}

size_t day_noons_later(struct day_noons *noons, size_t rank, const size_t **out) {
    const size_t here = noons->at[rank], count = noons->count;
    const double lon_deg = noons->by_lon[here].lon_deg;
    const double reach_deg = noons->rules.lon_tolerance_deg + SLACK_DEG;
    size_t found = 0;
    /* East, then west, a turn of 360 degrees added where the ring closes; the reach
     * is far below 180, so none is met twice. */
    for (size_t step = 1; step < count; step++) {
        const size_t next = here + step;
        const struct lon_rank *east = &noons->by_lon[next % count];
        if (east->lon_deg + (next < count ? 0.0 : 360.0) - lon_deg > reach_deg)
            break;
        if (east->rank > rank)
            noons->near[found++] = east->rank;
    }
    for (size_t step = 1; step < count; step++) {
        const struct lon_rank *west = &noons->by_lon[(here + count - step) % count];
        if (lon_deg - west->lon_deg + (step <= here ? 0.0 : 360.0) > reach_deg)
            break;
        if (west->rank > rank)
            noons->near[found++] = west->rank;
    }
    qsort(noons->near, found, sizeof *noons->near, by_rank);
    *out = noons->near;
    return found;
}

bool day_noons_pair(const struct day_noon *one, const struct day_noon *two,
                    const struct pair_rules *rules, struct pair_record *out) {
    bool in_order = strcmp(one->site, two->site) < 0;
    const struct day_noon *first = in_order ? one : two, *second = in_order ? two : one;
    struct pair pair;
    pair_make(&first->noon, &second->noon, rules, NAN, NAN, &pair);
    if (pair.status == PAIR_OFF_MERIDIAN || pair.status == PAIR_OTHER_NOON)
        return false;
    memcpy(out->site1, first->site, sizeof out->site1);
    memcpy(out->site2, second->site, sizeof out->site2);
    out->pair = pair;
    return true;
}
