/* SPDX-License-Identifier: MIT */
/* pair: two angles and a distance, in the teacher's own numbers, to a
 * circumference with its interval. Needs no server, and no modern position: with
 * a distance the schools measured themselves nothing of the Earth's size goes in. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/screen.h"
#include "server/science/meridian.h"
#include "server/science/pair.h"
#include "server/wire/json_write.h"
#include "server/wire/records.h"

static const struct option_row rows[] = {
    {.name = "angle",
     .kind = OPTION_TEXT,
     .value = "DEG[~DEG]",
     .many = true,
     .help = "a noon angle in degrees, negative when the Sun crossed north of overhead, with its "
             "standard uncertainty; give both sites'"},
    {.name = "distance",
     .kind = OPTION_TEXT,
     .value = "KM[~KM]",
     .help = "how far apart the sites lie, north to south, with its standard uncertainty"},
};

struct measure {
    double value, sigma; /* sigma 0 when none was given */
};

/* "29.2" or "29.2~0.1". */
static bool parse_measure(const char *text, double least, double most, struct measure *out) {
    char value[32];
    const char *tilde = strchr(text, '~');
    size_t length = tilde != NULL ? (size_t)(tilde - text) : strlen(text);
    struct measure measure = {0.0, 0.0};
    if (length >= sizeof value)
        return false;
    snprintf(value, sizeof value, "%.*s", (int)length, text);
    if (!number_parse(value, &measure.value) ||
        (tilde != NULL && !number_parse(tilde + 1, &measure.sigma)))
        return false;
    if (measure.value < least || measure.value > most || measure.sigma < 0.0)
        return false;
    *out = measure;
    return true;
}

static enum leave take(struct client *client, struct measure angle[2], struct measure *distance) {
    const struct arguments *args = &client->args;
    if (arguments_nth(args, "angle", 1) == NULL || arguments_nth(args, "angle", 2) != NULL)
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "--angle",
                           "give --angle twice, once for each site");
    for (int i = 0; i < 2; i++)
        if (!parse_measure(arguments_nth(args, "angle", i), -90.0, 90.0, &angle[i]))
            return client_fail(client, LEAVE_USAGE, ERR_WRONG_TYPE, "--angle",
                               "write an angle from -90 to 90 degrees as 29.2 or 29.2~0.1");
    if (!parse_measure(arguments_text(args, "distance", ""), 0.001, 20100.0, distance))
        return client_fail(client, LEAVE_USAGE, ERR_WRONG_TYPE, "--distance",
                           "give a distance up to 20100 km as 552 or 552~5");
    return LEAVE_OK;
}

static void print_json(const struct pair *pair, const struct measure *distance) {
    struct text text;
    struct json_writer json;
    text_init(&text, 4096);
    json_write_init(&json, &text);
    json_write_object(&json, NULL);
    json_write_real(&json, "circumference_km", pair->circumference_km);
    json_write_real(&json, "sigma_km", pair->sigma_km);
    json_write_real(&json, "low_km", pair->low_km);
    json_write_real(&json, "high_km", pair->high_km);
    json_write_real(&json, "angle_deg", pair->angle_deg);
    json_write_real(&json, "angle_sigma_deg", pair->angle_sigma_deg);
    json_write_real(&json, "separation_km", distance->value);
    json_write_real(&json, "separation_sigma_km", distance->sigma);
    json_write_real(&json, "error_percent", record_error_percent(pair->circumference_km));
    json_write_text(&json, "status", pair_status_name(pair->status));
    json_write_end(&json);
    client_print(text.bytes);
    text_release(&text);
}

static void print_plain(const struct pair *pair, const struct measure *distance) {
    if (pair->status == PAIR_OK) {
        printf("circumference  ");
        if (pair->sigma_km > 0.0) {
            screen_measure(stdout, pair->circumference_km, pair->sigma_km, " km");
            printf("\ntwo chances in three: between %.0f and %.0f km", pair->low_km, pair->high_km);
        } else {
            printf("%.0f km (no uncertainties were given)", pair->circumference_km);
        }
        printf("\nthe handbook's meridian is %.1f km long: %+.2f %%\n", MERIDIAN_CIRCUMFERENCE_KM,
               record_error_percent(pair->circumference_km));
    } else {
        screen_wrapped(stdout, 0, pair_status_text(pair->status));
    }
    printf("360° × %.10g km / %.10g°\n", distance->value, pair->angle_deg);
}

static enum leave run(struct client *client) {
    struct measure angle[2] = {{0.0, 0.0}, {0.0, 0.0}}, distance = {0.0, 0.0};
    enum leave leave = take(client, angle, &distance);
    if (leave != LEAVE_OK)
        return leave;
    struct pair pair = {
        .separation_km = distance.value,
        .angle_deg = fabs(angle[0].value - angle[1].value),
        .angle_sigma_deg = hypot(angle[0].sigma, angle[1].sigma),
        .circumference_km = NAN,
        .sigma_km = NAN,
        .low_km = NAN,
        .high_km = NAN,
    };
    pair.status =
        pair_circumference(pair.angle_deg, pair.angle_sigma_deg, distance.value, distance.sigma,
                           &pair.circumference_km, &pair.sigma_km, &pair.low_km, &pair.high_km);
    if (client->json)
        print_json(&pair, &distance);
    else
        print_plain(&pair, &distance);
    client->told = true;
    return pair.status == PAIR_OK ? LEAVE_OK : LEAVE_REFUSED;
}

const struct command pair_command = {
    .name = "pair",
    .summary = "circumference from two angles and a distance of your own (no server needed)",
    .operands = "",
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "Where the Sun crossed on the same side of overhead at both sites, both angles have "
              "the same sign. The interval is Fieller's: it is wider upwards, as a small angle "
              "makes a large Earth.",
    .example = "noonarc pair --angle 29.2~0.1 --angle 34.4~0.1 --distance 552~3",
};
