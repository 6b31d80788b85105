/* SPDX-License-Identifier: MIT */
/* survey: the sums of all members, their pairs and the best of these, anew, without going
 * through all pairs.
 *
 * The members stand in a row by longitude, in blocks, blocks of two blocks, and so on; a
 * member's neighbours are a few whole blocks and some single members. In a block,
 * members are sorted by their distance from the equator, with the sums over all before
 * each: those so far north or south that they certainly count are added at one stroke,
 * as a crowd, those so near that they certainly do not are passed over, and what is
 * between is looked at one by one. It comes to the same bits as pair by pair, because
 * sums are exact. */
#ifndef NOONARC_SURVEY_H
#define NOONARC_SURVEY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/wire/best_pairs.h"
#include "server/wire/member.h"

/* member: all of a day, in any order; their off_line is given, their sums are made. noon: by
 * slot. pairs: those on one meridian and of one noon. Tolerance of longitude below 180.
 * False when memory is short: nothing made is good then. */
bool survey_make(struct member *const *member, size_t count, const struct day_noon *noon,
                 const struct pair_rules *rules, struct best_pairs *best, int64_t *pairs)
    __attribute__((warn_unused_result));

#endif
