/* SPDX-License-Identifier: MIT */
/* board: the leaderboard of a day, worked out from its noons. */
#ifndef NOONARC_WIRE_BOARD_H
#define NOONARC_WIRE_BOARD_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/json_write.h"
#include "server/wire/tally.h"

/* Places count from 1; equals share one. */
struct board {
    struct leader_pair_record *pairs;
    size_t pairs_count;
    struct leader_site_record *sites;
    size_t sites_count;
    struct honesty_record *honesty;
    size_t honesty_count;
};
void board_release(struct board *board);

/* The first limit (>= 1) lines of each table. Pairs: status ok, by |error|. Sites: own
 * circumference from all partners that count and belong to the day's line, as it was when
 * the tally last combined. Honesty: every usable run, by ln(sigma) + z^2 / 2, lower is
 * better. Only memory can run out. */
int board_make(struct tally *tally, size_t limit, struct board *out, struct err *err)
    __attribute__((warn_unused_result));

/* "pairs", "sites", "honesty": members of the object that is open. */
void board_write(struct json_writer *json, const struct board *board);

#endif
