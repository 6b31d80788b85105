/* SPDX-License-Identifier: MIT */
/* noons: pairs by a sweep along the instants of transit, the combination by
 * groups of one noon. */
#include "server/wire/noons.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/match.h"
#include "server/wire/array.h"

/* A degree of longitude is 240 s of transit, give or take what the equation of time
 * changes meanwhile, at most 30 s a day; a second more than covers the Sun's own
 * rounding. Narrow, since every candidate beside the tolerance costs time. */
#define WINDOW_S_PER_DEG (240.0 * 1.0005)
#define WINDOW_SLACK_S 1.0

static int by_transit(const void *left, const void *right) {
    const struct noon_result *a = left, *b = right;
    if (a->transit_utc_s != b->transit_utc_s)
        return a->transit_utc_s < b->transit_utc_s ? -1 : 1;
    return (a->key > b->key) - (a->key < b->key);
}

static int by_key(const void *left, const void *right) {
    const struct noon_result *a = left, *b = right;
    return (a->key > b->key) - (a->key < b->key);
}

static int by_keys(const void *left, const void *right) {
    const struct noons_pair *a = left, *b = right;
    if (a->key1 != b->key1)
        return a->key1 < b->key1 ? -1 : 1;
    return (a->key2 > b->key2) - (a->key2 < b->key2);
}

static struct noon_result *sorted_copy(const struct noon_result *noons, size_t count,
                                       int (*order)(const void *, const void *)) {
    struct noon_result *copy = calloc(count + 1, sizeof *copy);
    if (copy == NULL)
        return NULL;
    if (count > 0)
        memcpy(copy, noons, count * sizeof *copy);
    qsort(copy, count, sizeof *copy, order);
    return copy;
}

/* Appends; false when memory runs out. */
static bool add(struct noons_pairs *pairs, size_t *room, const struct noons_pair *pair) {
    struct noons_pair *grown = array_with_room(pairs->pair, pairs->pairs, room, sizeof *grown);
    if (grown == NULL)
        return false;
    pairs->pair = grown;
    pairs->pair[pairs->pairs++] = *pair;
    return true;
}

int noons_pair_up(const struct noon_result *noons, size_t count, const struct pair_rules *rules,
                  size_t maximum, struct noons_pairs *out, struct err *err) {
    struct noons_pairs pairs = {.complete = true};
    size_t room = 0;
    struct noon_result *swept = sorted_copy(noons, count, by_transit);
    if (swept == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    double window_s = WINDOW_S_PER_DEG * rules->lon_tolerance_deg + WINDOW_SLACK_S;
    for (size_t i = 0; i < count && pairs.complete; i++) {
        for (size_t j = i + 1;
             j < count && swept[j].transit_utc_s - swept[i].transit_utc_s <= window_s; j++) {
            bool in_order = swept[i].key < swept[j].key;
            const struct noon_result *one = in_order ? &swept[i] : &swept[j];
            const struct noon_result *two = in_order ? &swept[j] : &swept[i];
            struct noons_pair made = {.key1 = one->key, .key2 = two->key};
            pair_make(one, two, rules, NAN, NAN, &made.pair);
            if (made.pair.status == PAIR_OFF_MERIDIAN || made.pair.status == PAIR_OTHER_NOON)
                continue;
            if (pairs.pairs == maximum) {
                pairs.complete = false;
                break;
            }
            if (!add(&pairs, &room, &made)) {
                free(swept);
                noons_pairs_release(&pairs);
                return err_set(err, ERR_INTERNAL, NULL, "out of memory");
            }
        }
    }
    free(swept);
    if (pairs.pairs > 0)
        qsort(pairs.pair, pairs.pairs, sizeof *pairs.pair, by_keys);
    *out = pairs;
    return 0;
}

void noons_pairs_release(struct noons_pairs *pairs) {
    free(pairs->pair);
    *pairs = (struct noons_pairs){0};
}

/* What is looked at while points are made. */
struct seen {
    bool groups_in_order;
    bool sites; /* some noons share one */
};

/* One point a noon; groups numbered by noon. While they are worked on, a point's key is
 * the place of its noon among the noons. Where the groups come in order, angles are moved to
 * the declination of their group's first noon. */
static struct seen points_of(const struct noon_result *noons, size_t count, double central_deg,
                             struct combine_point *points) {
    struct seen seen = {.groups_in_order = true};
    double declination_deg = 0.0;
    for (size_t i = 0; i < count; i++) {
        const struct noon_result *noon = &noons[i];
        const int32_t group = match_noon_number(noon->transit_utc_s, noon->lon_deg, central_deg);
        if (i == 0 || group != points[i - 1].group)
            declination_deg = noon->declination_deg;
        seen.groups_in_order &= i == 0 || group >= points[i - 1].group;
        seen.sites |= noon->site != 0;
        points[i] = (struct combine_point){
            .key = (int64_t)i,
            .group = group,
            .lat_deg = noon->lat_deg,
            .meridian_km = noon->meridian_m / 1000.0,
            .noon_angle_deg = match_moved_angle_deg(noon, declination_deg),
            .sigma_deg = noon->sigma_deg,
        };
    }
    return seen;
}

static int by_group_key(const void *left, const void *right) {
    const struct combine_point *a = left, *b = right;
    if (a->group != b->group)
        return a->group < b->group ? -1 : 1;
    return (a->key > b->key) - (a->key < b->key);
}

/* Moves every angle to the declination of its group's first noon. */
static void move_angles(const struct noon_result *noons, size_t count,
                        struct combine_point *points) {
    double declination_deg = 0.0;
    for (size_t i = 0; i < count; i++) {
        const struct noon_result *noon = &noons[points[i].key];
        if (i == 0 || points[i].group != points[i - 1].group)
            declination_deg = noon->declination_deg;
        points[i].noon_angle_deg = match_moved_angle_deg(noon, declination_deg);
    }
}

static int by_value(const void *left, const void *right) {
    int64_t a = *(const int64_t *)left, b = *(const int64_t *)right;
    return (a > b) - (a < b);
}

static void sort_sites(int64_t *site, size_t count) {
    if (count > 0)
        qsort(site, count, sizeof *site, by_value);
}

/* How often a value stands in a sorted list. */
static size_t times_in(const int64_t *sorted, size_t count, int64_t value) {
    size_t first = 0, last = count;
    while (first < last) {
        size_t middle = first + (last - first) / 2;
        if (sorted[middle] < value)
            first = middle + 1;
        else
            last = middle;
    }
    for (last = first; last < count && sorted[last] == value;)
        last++;
    return last - first;
}

/* Lowers the weights of sites with several noons. site has room for count. */
static void share_systematics(const struct noon_result *noons, size_t count,
                              struct combine_point *points, int64_t *site) {
    size_t marked = 0;
    for (size_t i = 0; i < count; i++)
        if (noons[i].site != 0)
            site[marked++] = noons[i].site;
    sort_sites(site, marked);
    for (size_t i = 0; i < count; i++) {
        const struct noon_result *noon = &noons[points[i].key];
        size_t times = noon->site != 0 ? times_in(site, marked, noon->site) : 1;
        double others = (double)times - 1.0;
        points[i].sigma_deg =
            sqrt(noon->sigma_deg * noon->sigma_deg +
                 others * noon->systematic_sigma_deg * noon->systematic_sigma_deg);
    }
}

/* Sites with a noon in use. site has room for count. */
static int sites_used(const struct noon_result *noons, size_t count,
                      const struct combine_point *points, int64_t *site) {
    size_t marked = 0;
    int sites = 0;
    for (size_t i = 0; i < count; i++) {
        if (points[i].left_out || isnan(points[i].residual_deg))
            continue;
        if (noons[points[i].key].site == 0)
            sites++;
        else
            site[marked++] = noons[points[i].key].site;
    }
    sort_sites(site, marked);
    for (size_t i = 0; i < marked; i++)
        sites += i == 0 || site[i] != site[i - 1];
    return sites;
}

/* noons: by key. scratch: COMBINE_SCRATCH doubles a noon. */
static void combine(const struct noon_result *noons, size_t count, const struct slopes *near,
                    double *scratch, struct combine_point *points, struct combined *out) {
    for (size_t i = 0; i < count; i++)
        scratch[i] = noons[i].lon_deg;
    double central_deg = match_central_meridian_deg(scratch, count, scratch + count);
    const struct seen seen = points_of(noons, count, central_deg, points);
    if (!seen.groups_in_order) {
        qsort(points, count, sizeof *points, by_group_key);
        move_angles(noons, count, points);
    }
    if (seen.sites)
        share_systematics(noons, count, points, (int64_t *)scratch);
    combine_fit(points, count, near, scratch, out);
    if (seen.sites || out->status == COMBINE_TOO_FEW)
        out->sites = sites_used(noons, count, points, (int64_t *)scratch);
    for (size_t i = 0; i < count; i++)
        points[i].key = noons[points[i].key].key;
}

static bool in_order(const struct noon_result *noons, size_t count) {
    size_t i = 1;
    while (i < count && noons[i - 1].key < noons[i].key)
        i++;
    return i >= count;
}

int noons_combine(const struct noon_result *noons, size_t count, const struct slopes *near,
                  double *scratch, struct combine_point *points, struct combined *out,
                  struct err *err) {
    if (in_order(noons, count)) {
        combine(noons, count, near, scratch, points, out);
        return 0;
    }
    struct noon_result *sorted = sorted_copy(noons, count, by_key);
    if (sorted == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    combine(sorted, count, near, scratch, points, out);
    free(sorted);
    return 0;
}

/* Whether a moves the answer more than b; equal ones in order of their keys. */
static bool moves_more(const struct combine_point *a, const struct combine_point *b) {
    double one = fabs(a->influence_km), two = fabs(b->influence_km);
    return one != two ? one > two : a->key < b->key;
}

size_t noons_influential(const struct combine_point *points, size_t count, size_t most,
                         size_t *out) {
    size_t found = 0;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(points[i].influence_km))
            continue;
        size_t at = found < most ? found++ : most;
        for (; at > 0 && moves_more(&points[i], &points[out[at - 1]]); at--)
            if (at < most)
                out[at] = out[at - 1];
        if (at < most)
            out[at] = i;
    }
    return found;
}
