/* SPDX-License-Identifier: MIT */
/* combination: the one figure that many noons make together, with the sites that do
 * not belong to their line and those that move it most, by name. */
#ifndef NOONARC_COMBINATION_H
#define NOONARC_COMBINATION_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/records.h"

struct combination {
    struct combined combined;
    struct combine_point *point; /* owned; by noon, then rank; key is the rank */
    size_t points;
    struct off_line_record *off_line; /* owned; in the order of the points */
    size_t off_lines;
    struct influence_record influence[INFLUENCES_MAX]; /* the most moving first */
    size_t influences;
};

/* order: where the noons stand, sorted by site, so that the order in which they came cannot
 * show in the last digit; NULL: they stand so. The rank of a noon is its place in it. Keys
 * of noons are not looked at. near: the slopes of a set that was little different, which save
 * time; NULL none. Only memory can run out. */
int combination_make(const struct day_noon *noon, const uint32_t *order, size_t count,
                     const struct slopes *near, struct combination *out, struct err *err)
    __attribute__((warn_unused_result));
void combination_release(struct combination *combination);

#endif
