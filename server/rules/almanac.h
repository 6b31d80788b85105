/* SPDX-License-Identifier: MIT */
/* almanac: the Suns of the dates asked for lately. Building one costs a fraction
 * of a millisecond, far more than everything else in a reduction, and all runs
 * of a day share it. Safe to use from several threads. */
#ifndef NOONARC_ALMANAC_H
#define NOONARC_ALMANAC_H

#include <stdbool.h>
#include <stdint.h>

#include "server/science/sun.h"

struct almanac;

/* NULL when memory is short. */
struct almanac *almanac_new(void);
void almanac_free(struct almanac *almanac);

/* As sun_day_build, remembered. */
bool almanac_day(struct almanac *almanac, int32_t day_number, struct sun_day *out);

#endif
