/* SPDX-License-Identifier: MIT */
/* match: which noons are the same noon. A site's day is found by its meridian,
 * never by its civil date: two sites on one meridian either side of the date
 * line measure the same noon under two dates. */
#ifndef NOONARC_MATCH_H
#define NOONARC_MATCH_H

#include <stddef.h>
#include <stdint.h>

#include "server/science/pair.h"

/* The meridian (deg) opposite to the middle of the widest gap between the
 * longitudes: measured from there, longitudes within +-180 never tear a
 * neighbourhood apart. 0 for count 0. scratch: room for twice count. */
double match_central_meridian_deg(const double *lon_deg, size_t count, double *scratch);

/* Number of the noon a transit belongs to, the same for all sites that meet one
 * sweep of the Sun seen from the central meridian: days since 1970-01-01. */
int32_t match_noon_number(double transit_utc_s, double lon_deg, double central_meridian_deg);

/* Noon angle moved along the Sun's declination to the instant at which the
 * declination was reference_declination_deg. */
double match_moved_angle_deg(const struct noon_result *noon, double reference_declination_deg);

#endif
