/* SPDX-License-Identifier: MIT */
/* angle: the few conversions every science module shares. Angles are degrees
 * at every interface; radians live only inside a function. East and north are
 * positive. */
#ifndef NOONARC_ANGLE_H
#define NOONARC_ANGLE_H

#include <math.h>

#define ANGLE_RAD_PER_DEG 0.017453292519943295769
#define ANGLE_DEG_PER_RAD 57.295779513082320877
#define ANGLE_ARCSEC_PER_DEG 3600.0
#define ANGLE_DEG_PER_DAY_S (1.0 / 240.0) /* the mean Sun turns 1 degree in 240 s */
#define ANGLE_DAY_S 86400.0

static inline double angle_sin(double deg) {
    return sin(deg * ANGLE_RAD_PER_DEG);
}
static inline double angle_cos(double deg) {
    return cos(deg * ANGLE_RAD_PER_DEG);
}
static inline double angle_tan(double deg) {
    return tan(deg * ANGLE_RAD_PER_DEG);
}

/* Turns an angle given by its sine and cosine on by a mostly small one: within half a
 * degree by series that are good to 1e-16. */
static inline void angle_turn(double *sine, double *cosine, double by_deg) {
    const double x = by_deg * ANGLE_RAD_PER_DEG, x2 = x * x;
    double sin_by = x * (1.0 - x2 * (1.0 / 6.0 - x2 * (1.0 / 120.0)));
    double cos_by = 1.0 - x2 * (1.0 / 2.0 - x2 * (1.0 / 24.0 - x2 * (1.0 / 720.0)));
    if (fabs(by_deg) > 0.5) {
        sin_by = sin(x);
        cos_by = cos(x);
    }
    const double turned = *sine * cos_by + *cosine * sin_by;
    *cosine = *cosine * cos_by - *sine * sin_by;
    *sine = turned;
}

/* Degrees brought into (-180, 180]. */
static inline double angle_wrap(double deg) {
    double turned = fmod(deg, 360.0);
    if (turned > 180.0)
        turned -= 360.0;
    else if (turned <= -180.0)
        turned += 360.0;
    return turned;
}

#endif
