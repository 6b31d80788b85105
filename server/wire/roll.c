/* SPDX-License-Identifier: MIT */
/* roll: a sorted list and what came since. */
#include "server/wire/roll.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

void roll_release(struct roll *roll) {
    free(roll->slot);
    *roll = (struct roll){0};
}

static int by_identifier(const void *left, const void *right, void *noons) {
    const struct day_noon *noon = noons;
    return strcmp(noon[*(const uint32_t *)left].site, noon[*(const uint32_t *)right].site);
}

/* How many of the first `count` stand before an identifier. */
static size_t place_of(const struct roll *roll, const struct day_noon *noon, size_t count,
                       const char *site) {
    size_t first = 0, last = count;
    while (first < last) {
        size_t middle = first + (last - first) / 2;
        if (strcmp(noon[roll->slot[middle]].site, site) < 0)
            first = middle + 1;
        else
            last = middle;
    }
    return first;
}

bool roll_enter(struct roll *roll, const struct day_noon *noon, uint32_t slot) {
    if (roll->count == roll->room) {
        size_t room = roll->room ? roll->room + roll->room / 2 : 64;
        uint32_t *grown = realloc(roll->slot, 2 * room * sizeof *grown);
        if (!grown)
            return false;
        roll->slot = grown;
        roll->room = room;
    }
    if (roll->ordered == roll->count &&
        (roll->count == 0 || strcmp(noon[roll->slot[roll->count - 1]].site, noon[slot].site) < 0))
        roll->ordered++;
    roll->slot[roll->count++] = slot;
    return true;
}

void roll_strike(struct roll *roll, const struct day_noon *noon, uint32_t slot) {
    size_t at = place_of(roll, noon, roll->ordered, noon[slot].site);
    if (at < roll->ordered && roll->slot[at] == slot)
        roll->ordered--;
    else
        for (at = roll->ordered; roll->slot[at] != slot; at++)
            assert(at + 1 < roll->count);
    memmove(&roll->slot[at], &roll->slot[at + 1], (roll->count - at - 1) * sizeof *roll->slot);
    roll->count--;
}

const uint32_t *roll_order(struct roll *roll, const struct day_noon *noon) {
    size_t fresh = roll->count - roll->ordered, old = roll->ordered;
    if (fresh > 0) {
        uint32_t *aside = roll->slot + roll->room;
        memcpy(aside, roll->slot + old, fresh * sizeof *aside);
        qsort_r(aside, fresh, sizeof *aside, by_identifier, (void *)noon);
        /* From the back; what stands behind a new one moves up as a piece. */
        for (; fresh > 0; fresh--) {
            size_t at = place_of(roll, noon, old, noon[aside[fresh - 1]].site);
            memmove(&roll->slot[at + fresh], &roll->slot[at], (old - at) * sizeof *roll->slot);
            roll->slot[at + fresh - 1] = aside[fresh - 1];
            old = at;
        }
        roll->ordered = roll->count;
    }
    return roll->slot;
}
