/* SPDX-License-Identifier: MIT */
/* sun: where the Sun stands at a place's noon. Needs no server. */
#include <math.h>
#include <stdio.h>
#include <time.h>

#include "client/commands.h"
#include "client/place_options.h"
#include "client/screen.h"
#include "server/base/instant.h"
#include "server/science/angle.h"
#include "server/science/gnomon.h"
#include "server/wire/json_write.h"
#include "server/wire/zone.h"

static const struct option_row rows[] = {
    PLACE_OPTION_ROWS,
    {.name = "date",
     .kind = OPTION_DATE,
     .value = "YYYY-MM-DD",
     .help = "date by the place's own meridian (else today)"},
    {.name = "zone",
     .kind = OPTION_TEXT,
     .value = "ZONE",
     .help = "time zone to tell noon in, like Africa/Nairobi (else UTC and local mean solar time)"},
    AIR_OPTION_ROWS,
};

/* Width of the fuzzy end of a metre's shadow, mm; NAN where there is none to speak of. */
static double fuzzy_mm_per_m(const struct noon *noon) {
    if (noon->status != NOON_MEASURABLE)
        return (double)NAN;
    return 1000.0 * gnomon_fuzzy_width_m(1.0, noon->refracted_zenith_distance_deg,
                                         noon->sun.semidiameter_deg);
}

static void print_json(int32_t date, const struct place *place, const struct noon *noon) {
    char side[2] = {noon->sun_side, '\0'};
    struct text text;
    struct json_writer json;
    text_init(&text, 4096);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    json_write_real(&json, "lat_deg", place->lat_deg);
    json_write_real(&json, "lon_deg", place->lon_deg);
    json_write_real(&json, "elev_m", place->elevation_m);
    json_write_date(&json, "date", date);
    json_write_instant(&json, "transit_utc", noon->transit_utc_s, 3);
    json_write_real(&json, "zenith_distance_deg", noon->zenith_distance_deg);
    json_write_real(&json, "refracted_zenith_distance_deg", noon->refracted_zenith_distance_deg);
    json_write_real(&json, "altitude_deg", 90.0 - noon->zenith_distance_deg);
    json_write_real(&json, "noon_angle_deg", noon->noon_angle_deg);
    json_write_text(&json, "sun_side", side);
    json_write_real(&json, "declination_deg", noon->sun.declination_deg);
    json_write_real(&json, "equation_of_time_min", noon->sun.equation_of_time_s / 60.0);
    json_write_real(&json, "semidiameter_arcsec",
                    noon->sun.semidiameter_deg * ANGLE_ARCSEC_PER_DEG);
    json_write_real(&json, "fuzzy_mm_per_m", fuzzy_mm_per_m(noon));
    json_write_text(&json, "status", noon_status_name(noon->status));
    json_write_end(&json);
    client_print(text.bytes);
    text_release(&text);
}

static void print_plain(const struct noon *noon, double lon_deg, const char *zone) {
    printf("zenith distance   %.4f°", noon->zenith_distance_deg);
    if (noon->status != NOON_SUN_OVERHEAD)
        printf(", the Sun %s of overhead", noon->sun_side == 'S' ? "south" : "north");
    printf("\nnoon (transit)    ");
    if (*zone != '\0')
        screen_time(stdout, noon->transit_utc_s, zone);
    else
        screen_solar_time(stdout, noon->transit_utc_s, lon_deg);
    if (isfinite(noon->refracted_zenith_distance_deg))
        printf("\nseen through air  %.4f° from overhead", noon->refracted_zenith_distance_deg);
    printf("\ndeclination       %+.4f°\n", noon->sun.declination_deg);
    printf("equation of time  %+.2f min (a sundial %s the mean Sun)\n",
           noon->sun.equation_of_time_s / 60.0,
           noon->sun.equation_of_time_s >= 0 ? "ahead of" : "behind");
    printf("semidiameter      %.1f″\n", noon->sun.semidiameter_deg * ANGLE_ARCSEC_PER_DEG);
    if (noon->status == NOON_MEASURABLE)
        printf("a metre's shadow  is %.0f mm fuzzy at its end\n", fuzzy_mm_per_m(noon));
    if (noon->status != NOON_MEASURABLE)
        screen_wrapped(stdout, 0, noon_status_text(noon->status));
}

static enum leave take_zone(struct client *client, const char **out) {
    const char *zone = arguments_text(&client->args, "zone", "");
    const struct zones zones = {.directory = ZONE_DIRECTORY};
    if (*zone != '\0' && !zones_has(&zones, zone))
        return client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_ZONE, "--zone",
                           "the time zone \"%.63s\" is not known here; names are like "
                           "Africa/Nairobi",
                           zone);
    *out = zone;
    return LEAVE_OK;
}

static enum leave run(struct client *client) {
    struct place place;
    const char *zone = "";
    enum leave leave = place_options_take(client, &place);
    if (leave == LEAVE_OK)
        leave = take_zone(client, &zone);
    if (leave != LEAVE_OK)
        return leave;
    double today = sun_day_nearest((double)time(NULL), place.lon_deg);
    int32_t date = (int32_t)arguments_number(&client->args, "date", today);
    struct sun_day day;
    if (!sun_day_build(date, &day))
        return client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--date",
                           "the Sun is known here from 1972-01-01 to 2100-12-31");
    struct refraction air =
        refraction_at(place.elevation_m, arguments_number(&client->args, "pressure", (double)NAN),
                      arguments_number(&client->args, "temperature", (double)NAN));
    struct noon noon;
    noon_predict(&place, &day, &air, &noon);
    if (client->json)
        print_json(date, &place, &noon);
    else
        print_plain(&noon, place.lon_deg, zone);
    return LEAVE_OK;
}

const struct command sun_command = {
    .name = "sun",
    .summary = "where the Sun stands at a place's noon (no server needed)",
    .operands = "",
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "Transit is the instant at which the Sun's hour angle is 0. The zenith distance is "
              "that of the Sun's centre seen from the place, without air; the one through air is "
              "given up to 80°.",
    .example = "noonarc sun --lat 44.5 --lon 3.2 --date 2027-03-21",
};
