/* SPDX-License-Identifier: MIT */
/* register: a playground becomes a site; its school key and class code come back
 * once and are kept here. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/field_options.h"
#include "client/known_site.h"
#include "client/organise.h"
#include "client/place_options.h"
#include "client/screen.h"
#include "server/wire/record_write.h"

static const struct option_row rows[] = {
    {.name = "name", .kind = OPTION_TEXT, .value = "TEXT", .help = "the school's name, public"},
    PLACE_OPTION_ROWS,
    {.name = "site",
     .kind = OPTION_TEXT,
     .value = "ID",
     .help = "a short identifier you would like (else the server makes one of the name)"},
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
     .help = "the edge you usually mark: umbra, penumbra or centre (else umbra)"},
    {.name = "decimals",
     .kind = OPTION_COUNT,
     .value = "N",
     .min = 0,
     .max = POSITION_DECIMALS_MAX,
     .help = "let the position out to N decimals of a degree (1: 11 km, 2: 1.1 km, 3: 110 m, 4: 11 "
             "m); 0: as it is (else that)"},
    {.name = "contact",
     .kind = OPTION_TEXT,
     .value = "TEXT",
     .help = "how the organiser reaches the teacher; never public"},
    {.name = "invitation",
     .kind = OPTION_TEXT,
     .value = "CODE",
     .help = "the code of your invitation to a season"},
};

static enum leave take_site(struct client *client, struct site_record *site) {
    static const char *const texts[] = {"name", "site", "zone", "edge", "contact", "invitation"};
    site_record_init(site);
    if (!arguments_given(&client->args, "name"))
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "--name",
                           "give the school's name with --name");
    enum leave leave = place_options_take(client, &site->place);
    for (size_t i = 0; leave == LEAVE_OK && i < sizeof texts / sizeof texts[0]; i++)
        if (field_option_take(&client->args, &site_fields, texts[i], site, &client->err) != 0)
            leave = LEAVE_USAGE;
    site->gnomon_mm = arguments_number(&client->args, "gnomon", (double)NAN);
    site->position_decimals =
        (int64_t)arguments_number(&client->args, "decimals", (double)POSITION_EXACT);
    return leave;
}

/* Keeps what the server gave; the keys are printed all the same when that fails. */
static enum leave keep(struct client *client, const json_t *answer) {
    const char *site = screen_string(answer, "site/site");
    known_site_note(client, screen_get(answer, "site"));
    if (keys_save(client->server, site, KEY_SCHOOL, screen_string(answer, "school_key"),
                  &client->err) != 0 ||
        keys_save(client->server, site, KEY_CLASS, screen_string(answer, "class_code"),
                  &client->err) != 0) {
        snprintf(client->note, sizeof client->note,
                 "the site is registered, but its keys could not be kept: write them down now");
        return LEAVE_FILE;
    }
    return LEAVE_OK;
}

static void print_plain(const json_t *answer, bool kept) {
    fputs("registered as site ", stdout);
    screen_put(stdout, screen_string(answer, "site/site"));
    fputs("\n\nschool key  ", stdout);
    screen_put(stdout, screen_string(answer, "school_key"));
    fputs("\nclass code  ", stdout);
    screen_put(stdout, screen_string(answer, "class_code"));
    fputs("  (until ", stdout);
    screen_put(stdout, screen_string(answer, "class_code_expires_utc"));
    fputs(")\n\nThey are shown only this once. The school key may change and withdraw things: keep "
          "it\nprivate. The class code can only hand in readings: give it to the class.\n",
          stdout);
    if (kept)
        fputs("Both are kept on this computer too.\n", stdout);
}

/* Sent again after an answer that was lost, the registration is the same to the server. */
static enum leave send_once(struct client *client, struct outbox *outbox, const struct text *body,
                            struct net_answer *answer, json_t **result) {
    char key[OUTBOX_KEY_MAX];
    if (outbox_registering(outbox, client->server, body->bytes, key, &client->err) != 0)
        return LEAVE_FILE;
    const struct net_request request = {.method = "POST",
                                        .path = "/api/v1/sites",
                                        .content_type = "application/json",
                                        .body = body->bytes,
                                        .body_length = body->length,
                                        .idempotency_key = key};
    enum leave leave = client_send_json(client, &request, answer, result);
    explicit_bzero(key, sizeof key);
    return leave;
}

/* What was answered is over; what was not is sent again under the same key. A key that
 * stays does no harm: it gives the same answer. */
static void settle(struct client *client, struct outbox *outbox, const struct text *body) {
    struct err harmless = {.code = ERR_NONE};
    if (outbox_registered(outbox, client->server, body->bytes, &harmless) != 0)
        err_clear(&harmless);
}

static enum leave run(struct client *client) {
    struct site_record site;
    struct json_writer json;
    struct text body;
    struct net_answer answer;
    struct outbox *outbox = NULL;
    json_t *result = NULL;
    net_answer_init(&answer);
    text_init(&body, 65536);
    enum leave leave = take_site(client, &site);
    char known[OUTBOX_WORD_MAX];
    if (leave == LEAVE_OK && known_site_mine(client, &site, known))
        leave = client_fail(client, LEAVE_REFUSED, ERR_SITE_EXISTS, "",
                            "this computer registered it before, as site %s, and keeps its keys; "
                            "nothing was done",
                            known);
    if (leave == LEAVE_OK) {
        json_write_init(&json, &body);
        record_write_site_request(&json, NULL, &site);
        leave = outbox_open(&outbox, &client->err) != 0
                    ? LEAVE_FILE
                    : send_once(client, outbox, &body, &answer, &result);
    }
    if (leave == LEAVE_REFUSED && outbox != NULL)
        settle(client, outbox, &body);
    if (leave == LEAVE_OK) {
        leave = keep(client, result);
        if (leave == LEAVE_OK)
            settle(client, outbox, &body);
        if (client->json)
            client_print(answer.body.bytes);
        else
            print_plain(result, leave == LEAVE_OK);
        if (!client->json)
            organise_tell_warnings(result);
        if (client->json && leave != LEAVE_OK) { /* one document only, and that one is needed */
            fprintf(stderr, "noonarc: %s\n", client->note);
            client->told = true;
        }
    }
    json_decref(result);
    net_answer_release(&answer);
    text_release(&body);
    outbox_close(outbox);
    return leave;
}

const struct command register_command = {
    .name = "register",
    .summary = "make a playground a site",
    .operands = "",
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "The school key and the class code are printed once and kept in keys.json. Where no "
              "answer comes, run the same command again: it is the same registration. Measure "
              "the position where the gnomon will stand: 0.001 degrees of latitude are 111 m.",
    .example = "noonarc register --name \"Hillside School\" --lat 44.512 --lon 3.204 --elev 740 "
               "--zone Europe/Paris --gnomon 3180",
};
