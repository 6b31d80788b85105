/* SPDX-License-Identifier: MIT */
/* place_options: where on the ground, and the air there, from the command line. */
#ifndef NOONARC_PLACE_OPTIONS_H
#define NOONARC_PLACE_OPTIONS_H

#include "client/client.h"
#include "server/science/noon.h"

/* --lat, --lon and --elev, as rows for a command's own table. */
#define PLACE_OPTION_ROWS                                                                          \
    {.name = "lat",                                                                                \
     .kind = OPTION_NUMBER,                                                                        \
     .value = "DEG",                                                                               \
     .min = -90,                                                                                   \
     .max = 90,                                                                                    \
     .help = "latitude in decimal degrees, north positive"},                                       \
        {.name = "lon",                                                                            \
         .kind = OPTION_NUMBER,                                                                    \
         .value = "DEG",                                                                           \
         .min = -180,                                                                              \
         .max = 180,                                                                               \
         .help = "longitude in decimal degrees, east positive"},                                   \
    {                                                                                              \
        .name = "elev", .kind = OPTION_NUMBER, .value = "M", .min = -500, .max = 9000,             \
        .help = "height above sea level in metres (else 0)"                                        \
    }

/* Fills a place; ERR_MISSING_FIELD when --lat or --lon was not given. */
enum leave place_options_take(struct client *client, struct place *out);

/* Rows for a command's own table: --pressure and --temperature, NAN when not given. */
#define AIR_OPTION_ROWS                                                                            \
    {.name = "pressure",                                                                           \
     .kind = OPTION_NUMBER,                                                                        \
     .value = "HPA",                                                                               \
     .min = 300,                                                                                   \
     .max = 1100,                                                                                  \
     .help = "air pressure at the site, hPa (not reduced to sea level)"},                          \
    {                                                                                              \
        .name = "temperature", .kind = OPTION_NUMBER, .value = "C", .min = -60, .max = 60,         \
        .help = "air temperature in the shade, degrees Celsius"                                    \
    }

#endif
