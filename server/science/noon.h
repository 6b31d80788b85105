/* SPDX-License-Identifier: MIT */
/* noon: what a site's noon will be like, known beforehand from position and
 * date alone. */
#ifndef NOONARC_NOON_H
#define NOONARC_NOON_H

#include "server/science/refraction.h"
#include "server/science/sun.h"

/* A point on the ground, WGS 84. */
struct place {
    double lat_deg;     /* -90..90, north positive */
    double lon_deg;     /* -180..180, east positive */
    double elevation_m; /* above sea level, -500..9000 */
    double sigma_deg;   /* standard uncertainty of latitude and of longitude, 0: known well */
};

/* Why a noon can or cannot be measured. */
enum noon_status {
    NOON_MEASURABLE,
    NOON_SUN_BELOW_HORIZON, /* polar night: the Sun's centre stays below the horizon */
    NOON_SUN_TOO_LOW,       /* apparent zenith distance beyond 80 degrees */
    NOON_SUN_OVERHEAD       /* within 0.3 degrees of the zenith: no usable shadow */
};

#define NOON_OVERHEAD_DEG 0.3

/* "measurable", "sun_below_horizon", "sun_too_low", "sun_overhead". */
const char *noon_status_name(enum noon_status status);

/* One plain sentence for the teacher. */
const char *noon_status_text(enum noon_status status);

struct noon {
    enum noon_status status;
    double transit_utc_s;
    double noon_angle_deg;      /* signed geocentric zenith distance: latitude minus
                                   declination, positive when the Sun is south of the zenith */
    double zenith_distance_deg; /* unsigned, seen from the site without air (with parallax) */
    double refracted_zenith_distance_deg; /* the same through the air; NAN when z > 80 */
    char sun_side;                        /* 'S' or 'N' */
    struct sun_place sun;                 /* at transit */
};

/* The noon of a place on a date by its meridian. */
void noon_predict(const struct place *place, const struct sun_day *day,
                  const struct refraction *air, struct noon *out);

#endif
