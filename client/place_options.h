/* SPDX-License-Identifier: MIT */
/* place_options: where on the ground, and the air there, from the command line. */
#ifndef NOONARC_PLACE_OPTIONS_H
#define NOONARC_PLACE_OPTIONS_H

#include "client/client.h"
#include "server/science/noon.h"

/* --lat, --lon, --elev */
extern const struct option_table place_options;

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
