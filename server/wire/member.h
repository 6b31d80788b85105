/* SPDX-License-Identifier: MIT */
/* member: a noon of a day among its neighbours, with what they lend it. For tally.c and
 * survey.c, which come to the same in two ways. */
#ifndef NOONARC_MEMBER_H
#define NOONARC_MEMBER_H

#include <stdbool.h>
#include <stdint.h>

#include "server/science/glance.h"
#include "server/science/standing.h"
#include "server/wire/day_noons.h"

struct member {
    struct glance glance;
    struct standing_point point;
    double score; /* of its stated sigma */
    uint32_t slot;
    bool off_line; /* does not belong to the line: lends nothing */
    struct standing_sums sums;
};

/* The same sight as glance_pair, but never unclear. noon: by slot. own: the glance of
 * `one`, brought to the turn of the other's. */
static inline enum sight member_sight(const struct member *one, const struct glance *own,
                                      const struct member *two, const struct day_noon *noon,
                                      const struct glance_rules *rules,
                                      const struct pair_rules *pair_rules) {
    enum sight sight = glance_pair(own, &two->glance, rules);
    struct pair_record made;
    if (sight != SIGHT_UNCLEAR)
        return sight;
    if (!day_noons_pair(&noon[one->slot], &noon[two->slot], pair_rules, &made))
        return SIGHT_APART;
    return made.pair.status == PAIR_OK ? SIGHT_COUNTS : SIGHT_IDLE;
}

#endif
