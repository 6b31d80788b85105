/* SPDX-License-Identifier: MIT */
#include "server/science/run_clock.h"

#include <math.h>

struct clock_check clock_check_of(const struct run_clock *clock) {
    struct clock_check check = {.measured = clock->sigma_s > 0.0};
    if (!check.measured)
        return check;
    check.offset_s = clock->offset_s;
    check.sigma_s = clock->sigma_s;
    check.bound_s = clock->bound_s;
    check.beyond = clock->bound_s > 0.0 && fabs(clock->offset_s) > clock->bound_s;
    check.applied_s = check.beyond && clock->correct ? clock->offset_s : 0.0;
    check.doubt_s =
        check.applied_s != 0.0 ? clock->sigma_s : hypot(clock->offset_s, clock->sigma_s);
    return check;
}
