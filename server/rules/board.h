/* SPDX-License-Identifier: MIT */
/* board: what a day came to: the combined circumference and the leaderboard. All READ. */
#ifndef NOONARC_BOARD_H
#define NOONARC_BOARD_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/store/db.h"
#include "server/wire/records.h"

/* The day's combined result as JSON (see wire), owned by the caller. A day
 * without runs has one too, with the status that says so. */
int board_result(struct db *db, const char *day, char **json, struct err *err)
    __attribute__((warn_unused_result));

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

/* The first limit (1..LIST_LIMIT_MAX) lines of each table. Pairs: status ok, by
 * |error|. Sites: own circumference from all partners that count and belong to the
 * day's line. Honesty: every usable run, by ln(sigma) + z^2 / 2, lower is better. */
int board_make(struct db *db, const char *day, size_t limit, struct board *out, struct err *err)
    __attribute__((warn_unused_result));

#endif
