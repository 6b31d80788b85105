/* SPDX-License-Identifier: MIT */
/* verdict: may these readings be a noon of that day at that site? Refuses what
 * cannot, each with its own code and in words for the class; reduces the rest. */
#ifndef NOONARC_VERDICT_H
#define NOONARC_VERDICT_H

#include "server/base/err.h"
#include "server/rules/almanac.h"
#include "server/science/reduce.h"
#include "server/wire/records.h"

/* Refuses ERR_OUT_OF_RANGE (fewer than REDUCE_READINGS_MIN readings), ERR_WRONG_DAY,
 * ERR_NOON_UNUSABLE, ERR_LENGTHS_SWAPPED, ERR_UNIT_MISTAKEN, ERR_POSITION_SWAPPED,
 * ERR_IMPLAUSIBLE. Also refused: readings of several noons (ERR_WRONG_DAY, naming one),
 * fewer than REDUCE_READINGS_MIN usable ones (ERR_OUT_OF_RANGE), a gnomon ten times as
 * high or low as the site's usual one (ERR_UNIT_MISTAKEN). Fields are pointers into a run's JSON.
 * out is written on success. */
int verdict_reduce(struct almanac *almanac, const struct day_record *day,
                   const struct site_record *site, const struct run *run, struct reduction *out,
                   struct err *err) __attribute__((warn_unused_result));

#endif
