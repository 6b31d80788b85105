/* SPDX-License-Identifier: MIT */
/* roll: slots in the order of the identifiers in them, kept while single ones come and
 * go: what is new waits until the order is asked for, and is then put in its place. */
#ifndef NOONARC_ROLL_H
#define NOONARC_ROLL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/wire/records.h"

struct roll {
    uint32_t *slot;        /* owned; room for twice `room`, to put in order with */
    size_t count, ordered; /* the first `ordered` are in order, the rest as they came */
    size_t room;
};

/* Starts all zero. */
void roll_release(struct roll *roll);

/* Enters a slot that is not in it; noon[slot] has its identifier. False when memory is
 * short: the roll is as it was. */
bool roll_enter(struct roll *roll, const struct day_noon *noon, uint32_t slot)
    __attribute__((warn_unused_result));

/* Strikes a slot that is in it; noon[slot] still has the identifier. */
void roll_strike(struct roll *roll, const struct day_noon *noon, uint32_t slot);

/* All slots in order: borrowed until the roll changes. */
const uint32_t *roll_order(struct roll *roll, const struct day_noon *noon);

#endif
