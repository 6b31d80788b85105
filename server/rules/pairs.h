/* SPDX-License-Identifier: MIT */
/* pairs: which sites of a day belong together, and what each pair measured. There
 * is a pair of any two current, usable runs of one noon within the day's longitude
 * tolerance; its status says whether it counts. Pairs are made when asked for, see
 * wire/day_noons.h. */
#ifndef NOONARC_PAIRS_H
#define NOONARC_PAIRS_H

#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/rules/book.h"
#include "server/store/db.h"
#include "server/wire/records.h"

struct pair_page {
    struct pair_record *items;
    size_t count;
    char next[2 * ID_MAX + 2]; /* opaque */
};
void pair_page_release(struct pair_page *page);

/* READ. A day's pairs by (site1, site2); LIST_LIMIT_ALL only where there are at most
 * PAIR_LIST_MOST. */
#define PAIR_LIST_MOST 500000
int pair_list(const struct book_view *view, const char *day, const char *after, size_t limit,
              struct pair_page *out, struct err *err) __attribute__((warn_unused_result));

/* READ. One site's pairs, most certain first. */
int pair_list_of_site(const struct book_view *view, const char *day, const char *site, size_t limit,
                      struct pair_page *out, struct err *err) __attribute__((warn_unused_result));

#endif
