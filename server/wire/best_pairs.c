/* SPDX-License-Identifier: MIT */
/* best_pairs: a list that is sorted and halved whenever it is full. */
#include "server/wire/best_pairs.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/science/meridian.h"
#include "server/wire/day_noons.h"

#define ROOM 4 /* times as many as can be told; half of them stay when it is full */

bool best_pairs_init(struct best_pairs *best, const struct pair_rules *rules, size_t most) {
    *best = (struct best_pairs){.rules = *rules, .most = most};
    best->pair = malloc(ROOM * most * sizeof *best->pair);
    return best->pair != NULL;
}

void best_pairs_release(struct best_pairs *best) {
    free(best->pair);
    *best = (struct best_pairs){0};
}

void best_pairs_clear(struct best_pairs *best) {
    best->count = 0;
    best->is_barred = false;
}

static int by_error(const void *left, const void *right, void *noons) {
    const struct kept_pair *a = left, *b = right;
    const struct day_noon *noon = noons;
    if (a->error_km != b->error_km)
        return a->error_km < b->error_km ? -1 : 1;
    int order = strcmp(noon[a->slot1].site, noon[b->slot1].site);
    return order != 0 ? order : strcmp(noon[a->slot2].site, noon[b->slot2].site);
}

static void sort(struct best_pairs *best, const struct day_noon *noon) {
    qsort_r(best->pair, best->count, sizeof *best->pair, by_error, (void *)noon);
}

static bool is_behind_bar(const struct best_pairs *best, const struct kept_pair *pair,
                          const struct day_noon *noon) {
    if (!best->is_barred || pair->error_km != best->bar_km)
        return best->is_barred && pair->error_km > best->bar_km;
    int order = strcmp(noon[pair->slot1].site, best->bar_site1);
    return (order != 0 ? order : strcmp(noon[pair->slot2].site, best->bar_site2)) > 0;
}

/* The last that stays is the bar, by its names: its noons may go. */
static void let_go(struct best_pairs *best, const struct day_noon *noon) {
    sort(best, noon);
    best->count /= 2;
    const struct kept_pair *last = &best->pair[best->count - 1];
    best->is_barred = true;
    best->bar_km = last->error_km;
    memcpy(best->bar_site1, noon[last->slot1].site, sizeof best->bar_site1);
    memcpy(best->bar_site2, noon[last->slot2].site, sizeof best->bar_site2);
}

void best_pairs_offer(struct best_pairs *best, const struct day_noon *noon, uint32_t one,
                      uint32_t two) {
    const bool in_order = strcmp(noon[one].site, noon[two].site) < 0;
    struct kept_pair pair = {.slot1 = in_order ? one : two, .slot2 = in_order ? two : one};
    struct pair made;
    pair_make(&noon[pair.slot1].noon, &noon[pair.slot2].noon, &best->rules, NAN, NAN, &made);
    if (made.status != PAIR_OK)
        return;
    pair.error_km = fabs(made.circumference_km - MERIDIAN_CIRCUMFERENCE_KM);
    if (is_behind_bar(best, &pair, noon))
        return;
    best->pair[best->count++] = pair;
    if (best->count == ROOM * best->most)
        let_go(best, noon);
}

void best_pairs_withdraw(struct best_pairs *best, uint32_t slot) {
    size_t kept = 0;
    for (size_t i = 0; i < best->count; i++)
        if (best->pair[i].slot1 != slot && best->pair[i].slot2 != slot)
            best->pair[kept++] = best->pair[i];
    best->count = kept;
}

bool best_pairs_complete(const struct best_pairs *best) {
    return !best->is_barred || best->count >= best->most;
}

size_t best_pairs_tell(struct best_pairs *best, const struct day_noon *noon, size_t limit,
                       struct pair_record *out) {
    sort(best, noon);
    const size_t count = best->count < limit ? best->count : limit;
    for (size_t i = 0; i < count; i++)
        (void)day_noons_pair(&noon[best->pair[i].slot1], &noon[best->pair[i].slot2], &best->rules,
                             &out[i]);
    return count;
}
