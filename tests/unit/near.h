/* SPDX-License-Identifier: MIT */
/* near: numbers against published ones, row by row. A failure prints the row's
 * label, both numbers, the residual and the tolerance in their unit. With NEAR_SHOW
 * in the environment every row prints its residual. */
#ifndef NOONARC_UNIT_NEAR_H
#define NOONARC_UNIT_NEAR_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "server/base/instant.h"

#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))

/* NAN is near nothing. */
static inline void near_check_at(const char *label, double measured, double expected,
                                 double tolerance, const char *unit, const char *file, int line) {
    double residual = measured - expected;
    if (getenv("NEAR_SHOW") != NULL)
        printf("    %-52s %.12g, residual %+.2g %s\n", label, measured, residual, unit);
    if (fabs(residual) <= tolerance)
        return;
    print_error("%s: %.12g is not %.12g: off by %.3g %s, tolerance %.3g %s\n", label, measured,
                expected, residual, unit, tolerance, unit);
    _fail(file, line);
}

/* All but label and unit in that unit. */
#define check_near(label, measured, expected, tolerance, unit)                                     \
    near_check_at(label, measured, expected, tolerance, unit, __FILE__, __LINE__)

/* The same with a tolerance relative to what is expected (1e-9: nine digits). */
#define check_digits(label, measured, expected, relative)                                          \
    near_check_at(label, measured, expected, (relative)*fabs(expected), "", __FILE__, __LINE__)

/* An instant from RFC 3339 text. */
static inline double near_utc_s(const char *text) {
    double t_utc_s = NAN;
    struct err err = {0};
    if (instant_parse(text, &t_utc_s, NULL, &err) != 0)
        fail_msg("the test's own instant %s cannot be read", text);
    return t_utc_s;
}

static inline int32_t near_date(const char *text) {
    int32_t date = 0;
    if (!date_parse(text, &date))
        fail_msg("the test's own date %s cannot be read", text);
    return date;
}

/* Degrees from sexagesimal parts; the sign goes before. */
static inline double near_dms(double sign, double degrees, double minutes, double seconds) {
    return sign * (degrees + minutes / 60.0 + seconds / 3600.0);
}

#endif
