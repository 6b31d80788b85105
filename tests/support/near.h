/* SPDX-License-Identifier: MIT */
/* near: a number within a tolerance, with both printed when it is not. */
#ifndef NOONARC_NEAR_H
#define NOONARC_NEAR_H

#include <math.h>

/* After cmocka.h. All three in one unit. NAN is near nothing. */
#define assert_near(measured, expected, tolerance)                                                 \
    do {                                                                                           \
        double near_measured = (measured), near_expected = (expected);                             \
        if (!(fabs(near_measured - near_expected) <= (tolerance)))                                 \
            fail_msg("%s is %.9g, not %.9g within %.3g", #measured, near_measured, near_expected,  \
                     (double)(tolerance));                                                         \
    } while (0)

#endif
