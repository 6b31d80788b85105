/* SPDX-License-Identifier: MIT */
/* board: what a day came to: the combined circumference and the leaderboard. All READ. */
#ifndef NOONARC_BOARD_H
#define NOONARC_BOARD_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/store/db.h"
#include "server/wire/board.h"
#include "server/wire/records.h"

/* The day's combined result as JSON (see wire), owned by the caller. A day
 * without runs has one too, with the status that says so. */
int board_result(struct db *db, const char *day, char **json, struct err *err)
    __attribute__((warn_unused_result));

/* The day's leaderboard (limit 1..LIST_LIMIT_MAX lines a table), and what was left out
 * of it. */
int board_of_day(struct db *db, const char *day, size_t limit, struct board *out,
                 struct left_out_counts *left_out, struct err *err)
    __attribute__((warn_unused_result));

#endif
