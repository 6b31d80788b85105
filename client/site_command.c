/* SPDX-License-Identifier: MIT */
/* site: a site as its school sees it, and changes to it: what is not named stays. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/field_options.h"
#include "client/known_site.h"
#include "client/organise.h"
#include "client/place_options.h"
#include "client/screen.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

static const struct option_row rows[] = {
    {.name = "name", .kind = OPTION_TEXT, .value = "TEXT", .help = "the school's name, public"},
    PLACE_OPTION_ROWS,
    {.name = "decimals",
     .kind = OPTION_COUNT,
     .value = "N",
     .min = 0,
     .max = POSITION_DECIMALS_MAX,
     .help = "let the position out to N decimals of a degree (1: 11 km, 2: 1.1 km, 3: 110 m, 4: 11 "
             "m); 0: as it is"},
    {.name = "zone",
     .kind = OPTION_TEXT,
     .value = "ZONE",
     .help = "time zone of the playground's clocks, like Africa/Nairobi"},
    {.name = "gnomon",
     .kind = OPTION_NUMBER,
     .value = "MM",
     .min = SITE_GNOMON_MIN_MM,
     .max = SITE_GNOMON_MAX_MM,
     .help = "height in mm of the gnomon you will usually use"},
    {.name = "edge",
     .kind = OPTION_TEXT,
     .value = "EDGE",
     .help = "the edge you usually mark: umbra, penumbra or centre"},
    {.name = "contact",
     .kind = OPTION_TEXT,
     .value = "TEXT",
     .help = "how the organiser reaches the teacher; never public"},
    {.name = "no-contact", .kind = OPTION_FLAG, .help = "erase the contact"},
};

static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_ORGANISER};

/* Puts what was typed over what is known. Returns how many options there were, or -1. */
static int take_changes(struct client *client, struct site_record *site) {
    static const char *const texts[] = {"name", "zone", "edge", "contact"};
    const struct arguments *args = &client->args;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (field_option_take(args, &site_fields, texts[i], site, &client->err) != 0)
            return -1;
    site->place.lat_deg = arguments_number(args, "lat", site->place.lat_deg);
    site->place.lon_deg = arguments_number(args, "lon", site->place.lon_deg);
    site->place.elevation_m = arguments_number(args, "elev", site->place.elevation_m);
    site->gnomon_mm = arguments_number(args, "gnomon", site->gnomon_mm);
    site->position_decimals =
        (int64_t)arguments_number(args, "decimals", (double)site->position_decimals);
    if (arguments_given(args, "no-contact"))
        site->contact[0] = '\0';
    return args->givens;
}

static bool changes(const struct client *client) {
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (arguments_given(&client->args, rows[i].name))
            return true;
    return false;
}

static void print_site(const json_t *site) {
    static const struct column columns[] = {
        {.title = "site", .key = "site"},
        {.title = "name", .key = "name"},
        {.title = "latitude °", .key = "lat_deg"},
        {.title = "longitude °", .key = "lon_deg"},
        {.title = "height m", .key = "elev_m"},
        {.title = "decimals let out", .key = "position_decimals"},
        {.title = "zone", .key = "zone"},
        {.title = "gnomon mm", .key = "gnomon_mm"},
        {.title = "edge", .key = "edge"},
        {.title = "contact", .key = "contact"},
    };
    json_t *list = json_array();
    json_array_append(list, (json_t *)(uintptr_t)site);
    screen_table(stdout, true, columns, sizeof columns / sizeof columns[0], list);
    json_decref(list);
}

static enum leave put(struct client *client, const char *path, struct site_record *site,
                      struct net_answer *answer, json_t **out) {
    struct text body;
    struct json_writer json;
    text_init(&body, 65536);
    json_write_init(&json, &body);
    record_write_site_request(&json, NULL, site);
    struct net_request request = {.method = "PUT",
                                  .path = path,
                                  .content_type = "application/json",
                                  .body = body.bytes,
                                  .body_length = body.length};
    json_decref(*out);
    *out = NULL;
    net_answer_release(answer);
    net_answer_init(answer);
    enum leave leave = client_act(client, site->site, kinds, 2, &request, answer, out);
    if (leave == LEAVE_OK) {
        json_t *record = json_copy(*out);
        json_object_del(record, "warnings");
        known_site_note(client, record);
        json_decref(record);
    }
    text_release(&body);
    return leave;
}

static enum leave run(struct client *client) {
    const char *identifier;
    char path[CLIENT_PATH_MAX];
    struct net_answer answer;
    struct site_record site;
    json_t *result = NULL;
    enum leave leave = client_identifier(client, 0, "site", &identifier);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/sites/%s", identifier);
    net_answer_init(&answer);
    struct net_request request = {.method = "GET", .path = path};
    leave = client_act(client, identifier, kinds, 2, &request, &answer, &result);
    if (leave == LEAVE_OK && changes(client)) {
        if (record_read_site(answer.body.bytes, answer.body.length, &site, &client->err) != 0)
            leave = LEAVE_NETWORK;
        else if (take_changes(client, &site) < 0)
            leave = LEAVE_USAGE;
        else
            leave = put(client, path, &site, &answer, &result);
    }
    if (leave == LEAVE_OK && client->json) {
        client_print(answer.body.bytes);
    } else if (leave == LEAVE_OK) {
        print_site(result);
        organise_tell_warnings(result);
    }
    json_decref(result);
    net_answer_release(&answer);
    return leave;
}

const struct command site_command = {
    .name = "site",
    .summary = "your site as it is kept, or changes to it",
    .operands = "SITE",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "Without options it shows the site with its exact position and the contact, which "
              "only the school itself and organisers see. What no option names stays as it is. "
              "A moved site has its runs worked out anew.",
    .example = "noonarc site hillside --decimals 2 --contact office@hillside.example",
};
