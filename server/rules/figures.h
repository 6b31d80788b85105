/* SPDX-License-Identifier: MIT */
/* figures: what a day came to: the combined circumference and the leaderboard, made
 * from the day's noons when somebody asks and something has changed, and kept in the
 * book till then, written out as they are sent. READ. */
#ifndef NOONARC_FIGURES_H
#define NOONARC_FIGURES_H

#include <stddef.h>
#include <stdint.h>

#include "server/base/blob.h"
#include "server/base/err.h"
#include "server/rules/book.h"
#include "server/rules/list.h"
#include "server/wire/board.h"
#include "server/wire/headline.h"
#include "server/wire/records.h"

#define FIGURES_LENGTHS 4
struct figures_lines {
    size_t limit; /* of each table */
    struct blob *json;
};

struct figures {
    atomic_int holders;
    char day[ID_MAX + 1];
    size_t noons; /* that count */
    double made_utc_s;
    struct blob *result;      /* the combined result as JSON */
    struct headline headline; /* of the result */
    struct left_out_counts left_out;
    struct board board; /* LIST_LIMIT_MAX lines a table */
    /* The leaderboard as JSON, as long as it was asked for; the first few lengths stay. */
    _Atomic(struct figures_lines *) lines[FIGURES_LENGTHS];
};

/* One holder more; returns figures. NULL is fine in both. */
struct figures *figures_hold(struct figures *figures);
void figures_release(struct figures *figures);

/* The figures of a day, held for the caller. A day without runs has some too, with the
 * status that says so. Those of a day of some thousand noons may be a tenth of a second
 * behind, or 2 us a noon where that is more, and as long as others make them anew. */
int figures_of_day(const struct book_view *view, const char *day, double now_utc_s,
                   struct figures **out, struct err *err) __attribute__((warn_unused_result));
int figures_of_day_key(const struct book_view *view, int64_t day, double now_utc_s,
                       struct figures **out, struct err *err) __attribute__((warn_unused_result));

/* Makes the figures of a day anew that was claimed, and keeps them: so that whoever looks
 * the next time need not. */
int figures_remake(const struct book_view *view, int64_t day, double now_utc_s, struct err *err)
    __attribute__((warn_unused_result));

/* Those that are kept, when they are good to show at this instant, without a look at the
 * store; NULL otherwise. */
struct figures *figures_at_hand(struct book *book, const char *day, double now_utc_s);

/* The leaderboard as JSON, at most limit (1..LIST_LIMIT_MAX) lines a table; held for
 * the caller. NULL when memory is short. At hand: NULL unless somebody asked for as many
 * before. */
struct blob *figures_leaderboard(struct figures *figures, size_t limit);
struct blob *figures_leaderboard_at_hand(struct figures *figures, size_t limit);

#endif
