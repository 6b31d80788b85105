/* SPDX-License-Identifier: MIT */
/* place_options: decimal degrees, east and north positive. */
#include "client/place_options.h"

enum leave place_options_take(struct client *client, struct place *out) {
    static const char *const wanted[] = {"lat", "lon"};
    for (size_t i = 0; i < 2; i++)
        if (!arguments_given(&client->args, wanted[i]))
            return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, i == 0 ? "--lat" : "--lon",
                               "give the position with --lat and --lon");
    *out = (struct place){.lat_deg = arguments_number(&client->args, "lat", 0),
                          .lon_deg = arguments_number(&client->args, "lon", 0),
                          .elevation_m = arguments_number(&client->args, "elev", 0)};
    return LEAVE_OK;
}
