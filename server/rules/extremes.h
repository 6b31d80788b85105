/* SPDX-License-Identifier: MIT */
/* extremes: of places in a row, each with a value, the one with the least and the one
 * with the greatest value in any stretch, while places are taken out and put back.
 * A tournament tree: log n each. */
#ifndef NOONARC_EXTREMES_H
#define NOONARC_EXTREMES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"

#define EXTREMES_NONE SIZE_MAX

struct extremes {
    double *value; /* of each place; owned, for the caller to fill before it is in */
    size_t count;
    size_t *least, *greatest; /* owned: 2 * count nodes, the leaves last */
};

/* No place is in it yet. Release it whatever the outcome. */
int extremes_init(struct extremes *extremes, size_t count, struct err *err)
    __attribute__((warn_unused_result));
void extremes_release(struct extremes *extremes);

void extremes_set(struct extremes *extremes, size_t place, bool in);

/* Of from <= place < to; EXTREMES_NONE, both, when none is in. */
void extremes_find(const struct extremes *extremes, size_t from, size_t to, size_t *least,
                   size_t *greatest);

#endif
