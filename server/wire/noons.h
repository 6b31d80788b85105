/* SPDX-License-Identifier: MIT */
/* noons: from a set of reduced noons to its pairs and its combination: the one
 * way to do it, for `noonarc reduce` and for the server's days alike. It chooses
 * and arranges what science computes. Keys are the caller's, unique in a set, and
 * ascend as the names of the sites do: results depend on the set, not on its order. */
#ifndef NOONARC_NOONS_H
#define NOONARC_NOONS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/science/combine.h"
#include "server/science/pair.h"

struct noons_pair {
    int64_t key1, key2; /* key1 < key2 */
    struct pair pair;   /* OK, TOO_CLOSE, ANGLE_UNSURE or TOO_UNSURE */
};

struct noons_pairs {
    struct noons_pair *pair; /* owned, ascending by (key1, key2) */
    size_t pairs;
    bool complete; /* false: there are more than the maximum */
};

/* All pairs on one meridian (within the tolerance) and one noon. Sites on one
 * meridian have their noons together, so the noons are sorted by instant of
 * transit and swept by a window as wide as the tolerance; +-180 needs no care.
 * Stops at maximum pairs, which bounds the time where everyone is everyone's
 * neighbour. Returns 0, or -1 with ERR_INTERNAL when memory runs out. */
int noons_pair_up(const struct noon_result *noons, size_t count, const struct pair_rules *rules,
                  size_t maximum, struct noons_pairs *out, struct err *err)
    __attribute__((warn_unused_result));
void noons_pairs_release(struct noons_pairs *pairs);

/* Combines all noons: one group per noon (match.h), angles moved to the
 * declination of the group's first noon by key. points has room for count and is
 * filled, sorted by (group, key). What a site repeats at each of its noons does not
 * shrink with their number: their weights are lowered so that k noons of a site count
 * sigma^2 = systematic^2 + random^2 / k together. out->sites counts sites, not noons. near,
 * scratch: as in combine_fit. Returns as above. */
int noons_combine(const struct noon_result *noons, size_t count, const struct slopes *near,
                  double *scratch, struct combine_point *points, struct combined *out,
                  struct err *err) __attribute__((warn_unused_result));

/* Indices of the points that move the answer most when left out, the most moving
 * first, at most `most` of them. Returns how many; out has room for them. */
size_t noons_influential(const struct combine_point *points, size_t count, size_t most,
                         size_t *out);

#endif
