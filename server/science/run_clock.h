/* SPDX-License-Identifier: MIT */
/* run_clock: a class's clock that was measured against a true one, and what a day's
 * rule makes of it. Zeroed memory is a clock that nobody measured.
 *
 * A clock within the bound is left as it is. One beyond it is flagged, and corrected
 * only where the day says so: then every time of the run counts as so much earlier
 * as the clock was fast. What is not taken out enters as doubt: the prior of the
 * clock's offset (see reduce.h) is as wide as the measured offset at least, so that
 * the sigma stays honest either way. */
#ifndef NOONARC_RUN_CLOCK_H
#define NOONARC_RUN_CLOCK_H

#include <stdbool.h>

struct run_clock {
    double offset_s; /* clock minus true time: positive where it is fast */
    double sigma_s;  /* of that, above 0; 0: it was not measured */
    double bound_s;  /* of the day; 0: none */
    bool correct;    /* of the day: beyond the bound the offset is taken out */
};

struct clock_check {
    bool measured;
    double offset_s, sigma_s, bound_s; /* as in struct run_clock */
    bool beyond;                       /* the bound: flagged */
    double applied_s;                  /* taken off every time of the run, 0: as it was */
    double doubt_s; /* sigma that the measurement leaves, besides how well times were read */
};

struct clock_check clock_check_of(const struct run_clock *clock);

#endif
