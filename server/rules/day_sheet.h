/* SPDX-License-Identifier: MIT */
/* day_sheet: the noons of one day as the book keeps them: found by site, walked by
 * longitude and by identifier; and which of them changed. Not safe for several threads:
 * the book locks. */
#ifndef NOONARC_DAY_SHEET_H
#define NOONARC_DAY_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/wire/day_noons.h"

struct day_sheet;

/* NULL when memory is short. noons (count of them, keyed by site) are copied. */
struct day_sheet *day_sheet_new(const struct day_noon *noons, size_t count);
void day_sheet_free(struct day_sheet *sheet);

size_t day_sheet_count(const struct day_sheet *sheet);

/* Puts a site's noon in, in place of one that is there. False when memory is short:
 * the sheet is then as it was. */
bool day_sheet_put(struct day_sheet *sheet, const struct day_noon *noon);
void day_sheet_drop(struct day_sheet *sheet, int64_t site);

/* Borrowed until the next put or drop; NULL where there is none. */
const struct day_noon *day_sheet_find(const struct day_sheet *sheet, int64_t site);

/* The noon of rank `rank` by identifier; rank < day_sheet_count. Borrowed like the others. */
const struct day_noon *day_sheet_at(struct day_sheet *sheet, size_t rank);

/* How many identifiers are less than this one. */
size_t day_sheet_rank(struct day_sheet *sheet, const char *site);

/* Of the noons within reach of longitude, another site's and of the same noon, the
 * `most` whose pair with this one is likely to be the most certain, in that order,
 * equals by identifier. out has room for `most` (1..DAY_SHEET_NEAR_MAX), is borrowed
 * until the next put or drop; returns how many. */
#define DAY_SHEET_NEAR_MAX 512
size_t day_sheet_near(const struct day_sheet *sheet, const struct day_noon *noon, double reach_deg,
                      size_t most, const struct day_noon **out);

/* Of the noons within reach of longitude (a hair more: day_noons_pair decides) those with
 * an identifier greater than both the noon's own and `after`, by identifier. *out is
 * borrowed until the next call; returns how many. */
size_t day_sheet_later(struct day_sheet *sheet, const struct day_noon *noon, double reach_deg,
                       const char *after, const struct day_noon *const **out);

/* What has become of a slot: slots are numbered densely from 0, and a noon keeps its own. */
struct day_sheet_change {
    uint32_t slot;
    bool is_there;
    struct day_noon noon;
};

/* How many slots have changed since the changes were last told; all that are filled when
 * `all`. day_sheet_tell writes as many as were counted last into out, and forgets them. */
size_t day_sheet_changes(struct day_sheet *sheet, bool all);
void day_sheet_tell(struct day_sheet *sheet, struct day_sheet_change *out);

#endif
