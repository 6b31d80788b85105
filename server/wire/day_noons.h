/* SPDX-License-Identifier: MIT */
/* day_noons: all noons that count of one day in memory, and who is whose
 * neighbour. Pairs are not kept anywhere: there are up to half the square of the
 * number of sites, making one costs less than reading one, and so a new run costs
 * what its own noon costs, however many neighbours it has. */
#ifndef NOONARC_DAY_NOONS_H
#define NOONARC_DAY_NOONS_H

#include <stdbool.h>
#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/records.h"

struct day_noons {
    struct pair_rules rules;
    struct day_noon *noon; /* by identifier of the site; the index is the rank */
    size_t count;
    struct lon_rank *by_lon; /* owned, like the rest; see day_noons.c */
    size_t *at;              /* rank -> index in by_lon */
    size_t *near;            /* room for what day_noons_later answers */
};

/* The pair rules of a day. */
struct pair_rules day_noons_rules(const struct day_record *day);

/* noon: sorted by identifier; taken over, also on failure (it is freed then). */
int day_noons_make(const struct pair_rules *rules, struct day_noon *noon, size_t count,
                   struct day_noons *out, struct err *err) __attribute__((warn_unused_result));
void day_noons_release(struct day_noons *noons);

/* Ranks above rank of the noons within the day's tolerance of longitude (a hair
 * more: day_noons_pair decides), ascending; across +-180 too. Borrowed until the
 * next call. */
size_t day_noons_later(struct day_noons *noons, size_t rank, const size_t **out);

/* Pairs two noons, the one with the smaller identifier first. False unless they
 * are on one meridian and of one noon. */
bool day_noons_pair(const struct day_noon *one, const struct day_noon *two,
                    const struct pair_rules *rules, struct pair_record *out);

#endif
