/* SPDX-License-Identifier: MIT */
/* pair: two sites, one meridian, one noon -> the Earth's circumference.
 *
 * C = 360 s / |dz|, s the north-south separation, dz the difference of the two
 * signed noon angles moved to one instant of declination. The interval is
 * Fieller's (J. R. Stat. Soc. B 16 (1954) 175): not symmetric, and unbounded when
 * the angle is not known to be different from zero. Two classes that mark the
 * same edge share a habit, which cancels: that part of sigma is left out. */
#ifndef NOONARC_PAIR_H
#define NOONARC_PAIR_H

#include <stdbool.h>
#include <stdint.h>

/* How much of a class's variance in judging the edge is a habit that all classes
 * share who mark the same edge, rather than its own. A choice, not a measurement. */
#define PAIR_HABIT_SHARE 0.5

#define PAIR_SURE_SIGMAS 2.0  /* an angle below this many sigma says too little */
#define PAIR_SAME_NOON_S 60.0 /* the equation of time differs by less between meridians */

/* A reduced noon, as pairs and combinations need it. */
struct noon_result {
    int64_t key;  /* the caller's; orders equal things */
    int64_t site; /* equal for noons of one site; 0: the only one of its site */
    double lat_deg, lon_deg;
    double meridian_m;           /* meridian_distance_m(lat_deg) */
    double transit_utc_s;        /* predicted */
    double declination_deg;      /* at transit */
    double noon_angle_deg;       /* signed */
    double sigma_deg;            /* whole */
    double systematic_sigma_deg; /* part of sigma that another noon of the site repeats */
    double habit_sigma_deg;      /* part of sigma shared with sites that mark the same edge */
    int edge;
};

enum pair_status {
    PAIR_OK,
    PAIR_OFF_MERIDIAN, /* longitudes differ by more than the tolerance */
    PAIR_OTHER_NOON,   /* transits are not of the same noon */
    PAIR_TOO_CLOSE,    /* separation below the minimum */
    PAIR_ANGLE_UNSURE, /* |dz| below 2 sigma: says too little */
    PAIR_TOO_UNSURE    /* sigma of the circumference above the maximum */
};
const char *pair_status_name(enum pair_status status);
const char *pair_status_text(enum pair_status status);

struct pair_rules {
    double lon_tolerance_deg; /* 0..180 */
    double min_separation_m;
    double max_sigma_km; /* INFINITY: none */
};

struct pair {
    enum pair_status status;
    double separation_km;
    double angle_deg; /* |dz|, at one instant */
    double angle_sigma_deg;
    double circumference_km; /* NAN unless status is OK or TOO_UNSURE */
    double sigma_km;
    double low_km, high_km; /* Fieller, one sigma (68.3 %); high may be INFINITY */
};

/* Difference of longitudes in [0, 180], across +-180 too. */
double pair_lon_difference_deg(double lon1_deg, double lon2_deg);

/* True when two transits are the same noon: they differ by what their meridians do. */
bool pair_same_noon(const struct noon_result *one, const struct noon_result *two);

/* Pairs two sites. own_separation_m and its sigma replace the ellipsoid's arc
 * when the schools measured the distance themselves; NAN otherwise. */
void pair_make(const struct noon_result *one, const struct noon_result *two,
               const struct pair_rules *rules, double own_separation_m,
               double own_separation_sigma_m, struct pair *out);

/* circumference and Fieller interval from an angle and an arc, whatever their
 * origin: separation in any unit of length, answer in the same unit. Returns
 * PAIR_OK or PAIR_ANGLE_UNSURE. */
enum pair_status pair_circumference(double angle_deg, double angle_sigma_deg, double separation,
                                    double separation_sigma, double *circumference, double *sigma,
                                    double *low, double *high);

#endif
