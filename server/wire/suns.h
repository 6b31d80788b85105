/* SPDX-License-Identifier: MIT */
/* suns: the Suns of many dates, each built once, for work that goes through many
 * runs on one thread; and which of them a run belongs to. */
#ifndef NOONARC_SUNS_H
#define NOONARC_SUNS_H

#include "server/science/run.h"
#include "server/science/sun.h"

struct suns {
    struct sun_day **day; /* one a date from SUN_FIRST_DAY, NULL before it is asked for */
};

/* False when memory runs out. */
bool suns_init(struct suns *suns) __attribute__((warn_unused_result));
void suns_release(struct suns *suns);

/* Borrowed. NULL for a date outside SUN_FIRST_DAY..SUN_LAST_DAY, or without memory. */
const struct sun_day *suns_day(struct suns *suns, int32_t date);

/* The date, by the site's meridian, of the noon a run belongs to: the one nearest
 * its median reading, by a clock corrected where the run's day says so (run_under_day).
 * The run has a reading. */
int32_t suns_date_of_run(const struct run *run, double lon_deg);

#endif
