/* SPDX-License-Identifier: MIT */
/* run: what a class measured: all readings of one site on one day with one
 * instrument. Plain values, no meaning of their own beyond the units. */
#ifndef NOONARC_RUN_H
#define NOONARC_RUN_H

#include "server/science/gnomon.h"
#include "server/science/run_clock.h"

#define RUN_READINGS_MAX 240
#define RUN_SHADOW_MAX_M 600.0

struct reading {
    double t_utc_s;        /* seconds since 1970-01-01 UTC */
    double shadow_m;       /* foot of the gnomon to the marked edge, along the ground */
    double shadow_sigma_m; /* standard uncertainty, NAN when the class gave none */
    double bearing_deg;    /* of the shadow, clockwise from the plate's north mark, 0..360; NAN
                              when not taken. Drawn, and used for nothing that is computed. */
};

struct run {
    struct gnomon gnomon;
    double pressure_hpa;    /* measured, NAN when not */
    double temperature_c;   /* measured, NAN when not */
    double clock_sigma_s;   /* how well the clock was set, NAN: 15 s (a phone, read late) */
    struct run_clock clock; /* measured against the server's, with the day's rule */
    double tilt_sigma_deg;  /* plumb line and level together, NAN: 0.03 */
    int readings;
    struct reading reading[RUN_READINGS_MAX]; /* in the order they were sent */
};

#endif
