/* SPDX-License-Identifier: MIT */
/* glance: whether a pair counts, by a few products, for who has many millions to go
 * through. It never contradicts pair_make: where rounding could decide, it says that it
 * cannot tell, and pair_make has to be asked. */
#ifndef NOONARC_GLANCE_H
#define NOONARC_GLANCE_H

#include <math.h>

#include "server/science/angle.h"
#include "server/science/meridian.h"
#include "server/science/pair.h"

#define GLANCE_DEG_KM (360.0 / MERIDIAN_CIRCUMFERENCE_KM)

/* A noon as its partners look at it. */
struct glance {
    double lon_deg;
    double noon_s; /* transit brought to Greenwich by the mean Sun; one noon: within a minute */
    double meridian_km;
    double off_deg; /* noon angle at declination 0 above the handbook's meridian */
    double variance;
    double habit_deg; /* negative with the Sun to the north */
    int edge;
};

struct glance_rules {
    double lon_tolerance_deg, min_separation_km, max_sigma_km;
};

enum sight {
    SIGHT_APART, /* not on one meridian, or not of one noon */
    SIGHT_IDLE,  /* a pair that does not count */
    SIGHT_COUNTS,
    SIGHT_UNCLEAR
};

static inline struct glance glance_of(const struct noon_result *noon) {
    return (struct glance){
        .lon_deg = noon->lon_deg,
        .noon_s = noon->transit_utc_s + noon->lon_deg / ANGLE_DEG_PER_DAY_S,
        .meridian_km = noon->meridian_m / 1000.0,
        .off_deg = noon->noon_angle_deg + noon->declination_deg -
                   GLANCE_DEG_KM * (noon->meridian_m / 1000.0),
        .variance = noon->sigma_deg * noon->sigma_deg,
        .habit_deg = noon->noon_angle_deg < 0.0 ? -noon->habit_sigma_deg : noon->habit_sigma_deg,
        .edge = noon->edge,
    };
}

static inline struct glance_rules glance_rules_of(const struct pair_rules *rules) {
    return (struct glance_rules){rules->lon_tolerance_deg, rules->min_separation_m / 1000.0,
                                 rules->max_sigma_km};
}

/* Nearer to a limit than this (deg, km, or a share of it) rounding may matter. */
#define GLANCE_HAIR 1e-9
#define GLANCE_HAIR_S 1e-3
#define GLANCE_SLIGHT_DEG 1e-3 /* angles as small as this are not squared */

/* As seen from one turn of the globe further east (1) or west (-1): for noons either side
 * of 180 degrees, which are to be looked at from one side. */
static inline struct glance glance_turned(const struct glance *noon, int turns) {
    struct glance turned = *noon;
    turned.lon_deg += 360.0 * turns;
    turned.noon_s += ANGLE_DAY_S * turns;
    return turned;
}

/* SIGHT_COUNTS: on one meridian and of one noon. */
static inline enum sight glance_meets(const struct glance *one, const struct glance *two,
                                      const struct glance_rules *rules) {
    const double off_deg = fabs(one->lon_deg - two->lon_deg) - rules->lon_tolerance_deg;
    const double off_s = fabs(one->noon_s - two->noon_s) - PAIR_SAME_NOON_S;
    if (off_deg > GLANCE_HAIR || off_s > GLANCE_HAIR_S)
        return SIGHT_APART;
    return off_deg > -GLANCE_HAIR || off_s > -GLANCE_HAIR_S ? SIGHT_UNCLEAR : SIGHT_COUNTS;
}

/* The whole of a pair's variance: what a shared habit takes off, or adds where the Sun
 * stands on either side (pair.c). */
static inline double glance_variance(const struct glance *one, const struct glance *two) {
    double shared = one->edge == two->edge ? 2.0 : 0.0;
    return one->variance + two->variance - shared * one->habit_deg * two->habit_deg;
}

/* Whether two noons make a pair, and whether it counts. */
static inline enum sight glance_pair(const struct glance *one, const struct glance *two,
                                     const struct glance_rules *rules) {
    enum sight meets = glance_meets(one, two, rules);
    if (meets != SIGHT_COUNTS)
        return meets;
    const double along_km = one->meridian_km - two->meridian_km, apart_km = fabs(along_km);
    const double off_deg = one->off_deg - two->off_deg;
    const double angle_deg = GLANCE_DEG_KM * apart_km + copysign(1.0, along_km) * off_deg;
    if (apart_km < rules->min_separation_km - GLANCE_HAIR)
        return SIGHT_IDLE;
    if (apart_km < fmax(rules->min_separation_km, GLANCE_HAIR) + GLANCE_HAIR)
        return SIGHT_UNCLEAR;
    if (angle_deg < GLANCE_SLIGHT_DEG)
        return angle_deg < -GLANCE_SLIGHT_DEG ? SIGHT_IDLE : SIGHT_UNCLEAR;
    const double variance = glance_variance(one, two), square = angle_deg * angle_deg;
    const double excess = square - PAIR_SURE_SIGMAS * PAIR_SURE_SIGMAS * variance;
    if (fabs(excess) < GLANCE_HAIR * square || variance < GLANCE_HAIR)
        return SIGHT_UNCLEAR;
    if (excess < 0.0)
        return SIGHT_IDLE;
    /* sigma of the circumference, squared, times the fourth power of the angle */
    const double arc = 360.0 * apart_km, most = rules->max_sigma_km * square;
    const double spread = arc * arc * variance, limit = most * most;
    if (fabs(spread - limit) < 10.0 * GLANCE_HAIR * spread)
        return SIGHT_UNCLEAR;
    return spread > limit ? SIGHT_IDLE : SIGHT_COUNTS;
}

/* Whether the circumference of a pair that counts may be within so many kilometres of the
 * handbook's. */
static inline bool glance_near(const struct glance *one, const struct glance *two,
                               double within_km) {
    const double along_km = one->meridian_km - two->meridian_km;
    const double off_deg = one->off_deg - two->off_deg;
    const double angle_deg = GLANCE_DEG_KM * fabs(along_km) + copysign(1.0, along_km) * off_deg;
    return MERIDIAN_CIRCUMFERENCE_KM * fabs(off_deg) <= (within_km + 1e-5) * angle_deg;
}

#endif
