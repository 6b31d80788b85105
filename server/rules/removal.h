/* SPDX-License-Identifier: MIT */
/* removal: a school is taken out, on its own wish, an organiser's, or because nothing
 * was heard of it for long (purge.h).
 *
 * Erased: name, contact, time zone, earlier versions, everything it wrote in words, its
 * secrets, and the identifier, in whose place a number stands from then on. The position
 * is rounded to REMOVED_DECIMALS, or coarser where it was. It takes no part any more in
 * days for which it has no run.
 * Kept: the numbers of its runs, which results of many schools rest upon; they count
 * with the coarser position and its sigma. With withdraw they stay on record without
 * counting. Editions that were published do not change: what they say was let out. */
#ifndef NOONARC_REMOVAL_H
#define NOONARC_REMOVAL_H

#include <stdbool.h>

#include "server/rules/caller.h"
#include "server/rules/change.h"

#define REMOVED_DECIMALS 1 /* of a degree: 11 km */
#define REMOVED_NAME "Removed school"
#define REMOVAL_REASON_MAX WEATHER_MAX

/* WRITE, school or organiser, or NULL at the machine. ERR_NOT_FOUND. reason: 0..200
 * bytes. out: the identifier that stands in its place. */
int site_remove(struct change *change, const struct caller *caller, const char *site,
                const char *reason, bool withdraw, double now_utc_s, char out[ID_MAX + 1],
                struct err *err) __attribute__((warn_unused_result));

/* WRITE, part of others: a run's body without the words in it. */
int removal_erase_words(struct change *change, int64_t run, struct err *err)
    __attribute__((warn_unused_result));

#endif
