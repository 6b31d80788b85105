/* SPDX-License-Identifier: MIT */
/* working: one run worked out on this computer, with the server's own code. */
#ifndef NOONARC_WORKING_H
#define NOONARC_WORKING_H

#include <stdbool.h>

#include "server/base/err.h"
#include "server/base/text.h"
#include "server/wire/records.h"

/* Appends the reduction of a run as JSON, in the server's form. The Sun is that
 * of the noon nearest to the middle reading on the place's meridian. Returns -1
 * with ERR_OUT_OF_RANGE when there is no Sun for that date. */
int working_reduction(const struct site_record *site, const struct run *run, struct text *out,
                      struct err *err) __attribute__((warn_unused_result));

/* Angle and sigma so far; false when the readings do not give one yet. */
bool working_angle(const struct place *place, const struct run *run, double *noon_angle_deg,
                   double *sigma_deg);

#endif
