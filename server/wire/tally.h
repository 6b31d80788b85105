/* SPDX-License-Identifier: MIT */
/* tally: what a day's noons come to, kept so that a noon that comes, changes or goes
 * costs its neighbours on the meridian and not the whole day: each site's sums over its
 * partners, the best pairs, and how many there are. The line through all noons is one
 * pass over the sites whenever it is asked for.
 *
 * Whatever was put and dropped before, in whatever order: what a tally tells depends on
 * the noons that are in it, to the last bit. Not safe for several threads. */
#ifndef NOONARC_TALLY_H
#define NOONARC_TALLY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/science/standing.h"
#include "server/wire/combination.h"
#include "server/wire/records.h"

struct tally;

/* rules: a tolerance of longitude below 179 degrees; most: pairs that tally_best can tell
 * (>= 1). NULL when memory is short. */
struct tally *tally_new(const struct pair_rules *rules, size_t most);
void tally_free(struct tally *tally);

/* Puts a noon (copied) into a slot, in place of one that is there. Slots are numbered by
 * the caller, densely from 0; no two noons have one identifier. False when memory is
 * short: the tally is then good for tally_free alone. */
bool tally_put(struct tally *tally, uint32_t slot, const struct day_noon *noon)
    __attribute__((warn_unused_result));

/* Empties a slot, which may be empty. */
void tally_drop(struct tally *tally, uint32_t slot);

size_t tally_count(const struct tally *tally);

/* Readings that the reductions of its noons left out. */
int64_t tally_readings_left_out(const struct tally *tally);

/* Pairs on one meridian and of one noon, whether they count or not; as of the last
 * tally_combine, like all that follows. */
int64_t tally_pairs(const struct tally *tally);

/* The line through all noons, and so who does not belong to it: they are no yardstick for
 * their partners from then on. Keys of the points are ranks by identifier; the points stay
 * until the next call and as long as the tally. Only memory can run out. */
int tally_combine(struct tally *tally, struct combination *out, struct err *err)
    __attribute__((warn_unused_result));

/* The pairs that count, nearest to the handbook's meridian first, equals by identifier:
 * the first `limit` (at most `most`) into out, which has room. Returns how many. */
size_t tally_best(struct tally *tally, size_t limit, struct pair_record *out);

/* A site that has a noon. */
struct tally_site {
    const struct day_noon *noon;
    const struct standing_sums *sums; /* over partners that count and belong to the line */
    double score;                     /* of its stated sigma, see standing.h */
};

/* One after the other, in no order; at starts all zero. False when there are no more.
 * What out points to is borrowed until the tally changes. */
struct tally_walk {
    size_t strip, at;
};
bool tally_next(const struct tally *tally, struct tally_walk *at, struct tally_site *out);

#endif
