/* SPDX-License-Identifier: MIT */
/* best_pairs: of a day's pairs that count, the ones nearest to the handbook's meridian,
 * kept while noons come and go. Equals go by identifier. Only so many are kept, and
 * those behind the last of them (the bar) are let go: when too many of the kept ones are
 * withdrawn, all pairs have to be offered again. */
#ifndef NOONARC_BEST_PAIRS_H
#define NOONARC_BEST_PAIRS_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/wire/records.h"

struct kept_pair {
    double error_km;
    uint32_t slot1, slot2; /* of its noons, by identifier */
};

struct best_pairs {
    struct pair_rules rules;
    struct kept_pair *pair; /* owned */
    size_t count, most;
    bool is_barred; /* some were let go: those behind */
    double bar_km;
    char bar_site1[ID_MAX + 1], bar_site2[ID_MAX + 1];
};

/* most: pairs that can be told (>= 1). False when memory is short. */
bool best_pairs_init(struct best_pairs *best, const struct pair_rules *rules, size_t most)
    __attribute__((warn_unused_result));
void best_pairs_release(struct best_pairs *best);

/* Starts anew: all pairs are to be offered. */
void best_pairs_clear(struct best_pairs *best);

/* Pairs with a greater error (km) need not be offered. INFINITY: all must. */
static inline double best_pairs_within_km(const struct best_pairs *best) {
    return best->is_barred ? best->bar_km : INFINITY;
}

/* Offers the pair of the noons in two slots, once; it may be one that does not count. */
void best_pairs_offer(struct best_pairs *best, const struct day_noon *noon, uint32_t one,
                      uint32_t two);

/* Withdraws what is kept of a noon that goes. */
void best_pairs_withdraw(struct best_pairs *best, uint32_t slot);

/* Whether the first `most` are known. */
bool best_pairs_complete(const struct best_pairs *best);

/* The first `limit` into out, which has room. Returns how many there are of these. */
size_t best_pairs_tell(struct best_pairs *best, const struct day_noon *noon, size_t limit,
                       struct pair_record *out);

#endif
