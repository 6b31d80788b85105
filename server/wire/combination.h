/* SPDX-License-Identifier: MIT */
/* combination: the one figure that many noons make together, with the sites that do
 * not belong to their line and those that move it most, by name. */
#ifndef NOONARC_COMBINATION_H
#define NOONARC_COMBINATION_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/records.h"

/* What a combination is made in, to be used again; all zero at first. */
struct combination_room {
    struct noon_result *noon;
    struct combine_point *point;
    double *scratch;
    size_t noons;         /* there is room for */
    struct slopes slopes; /* of the last one, where the search for the next begins */
};

struct combination {
    struct combined combined;
    const struct combine_point *point; /* the room's; by noon, then rank; key is the rank */
    size_t points;
    struct off_line_record *off_line; /* owned; in the order of the points */
    size_t off_lines;
    struct influence_record influence[INFLUENCES_MAX]; /* the most moving first */
    size_t influences;
};

/* order: where the noons stand, sorted by site, so that the order in which they came cannot
 * show in the last digit; NULL: they stand so. The rank of a noon is its place in it. Keys
 * of noons are not looked at. The room lives as long as out. Only memory can run out. */
int combination_make(struct combination_room *room, const struct day_noon *noon,
                     const uint32_t *order, size_t count, struct combination *out, struct err *err)
    __attribute__((warn_unused_result));
void combination_release(struct combination *combination);
void combination_room_release(struct combination_room *room);

#endif
