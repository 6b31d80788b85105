/* SPDX-License-Identifier: MIT */
/* seasons, season, approve, refuse: programmes of days and who may take part. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/listing.h"
#include "client/organise.h"
#include "client/screen.h"
#include "server/wire/json_write.h"

#define BODY_MAX 8192

static const struct column season_columns[] = {
    {.title = "season", .key = "season"},
    {.title = "name", .key = "name"},
    {.title = "with approval", .key = "approval", .kind = CELL_YES},
};

static enum leave run_seasons(struct client *client) {
    json_t *seasons = NULL;
    enum leave leave = listing_get(client, "/api/v1/seasons", "seasons", &seasons);
    if (leave == LEAVE_OK && !client->json) {
        if (json_array_size(screen_get(seasons, "seasons")) == 0)
            puts("there is no season yet");
        else
            screen_table(stdout, client->terminal, season_columns,
                         sizeof season_columns / sizeof season_columns[0],
                         screen_get(seasons, "seasons"));
    }
    json_decref(seasons);
    return leave;
}

const struct command seasons_command = {
    .name = "seasons",
    .summary = "seasons there are",
    .operands = "",
    .server = true,
    .run = run_seasons,
    .example = "noonarc seasons",
};

static const struct option_row season_rows[] = {
    {.name = "name", .kind = OPTION_TEXT, .value = "TEXT", .help = "what the season is called"},
    {.name = "approval",
     .kind = OPTION_FLAG,
     .help = "an organiser approves who takes part in its days (else everyone may)"},
    {.name = "change", .kind = OPTION_FLAG, .help = "change the season there is, do not open one"},
};

static enum leave run_season(struct client *client) {
    const char *season, *name = arguments_text(&client->args, "name", NULL);
    bool change = arguments_given(&client->args, "change");
    char path[CLIENT_PATH_MAX] = "/api/v1/seasons";
    struct text body;
    struct json_writer json;
    json_t *answer = NULL;
    enum leave leave = client_identifier(client, 0, "season", &season);
    if (leave == LEAVE_OK && name == NULL)
        leave = client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "--name",
                            "say with --name what the season is called");
    if (leave != LEAVE_OK)
        return leave;
    if (change)
        snprintf(path, sizeof path, "/api/v1/seasons/%s", season);
    text_init(&body, BODY_MAX);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_text(&json, "season", season);
    json_write_text(&json, "name", name);
    json_write_bool(&json, "approval", arguments_given(&client->args, "approval"));
    json_write_end(&json);
    leave = organise(client, change ? "PUT" : "POST", path, body.bytes, &answer);
    if (leave == LEAVE_OK && !client->json)
        printf("season %s is %s: %s\n", season, change ? "changed" : "open",
               json_is_true(screen_get(answer, "approval")) ? "an organiser approves who takes part"
                                                            : "every school may take part");
    json_decref(answer);
    text_release(&body);
    return leave;
}

const struct command season_command = {
    .name = "season",
    .summary = "open a season, or change one (organiser)",
    .operands = "SEASON",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(season_rows),
    .run = run_season,
    .detail = "A season holds days: open them with `noonarc open DAY --season SEASON`.",
    .example = "noonarc season 2027 --name \"Andes Noon 2027\" --approval",
};

static enum leave say(struct client *client, bool approved) {
    const char *day, *site, *reason = arguments_text(&client->args, "reason", NULL);
    char path[CLIENT_PATH_MAX];
    struct text body;
    struct json_writer json;
    json_t *answer = NULL;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave == LEAVE_OK)
        leave = client_identifier(client, 1, "site", &site);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/%s/approval", day, site);
    text_init(&body, BODY_MAX);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_bool(&json, "approved", approved);
    if (reason != NULL)
        json_write_text(&json, "reason", reason);
    json_write_end(&json);
    leave = organise(client, "PUT", path, body.bytes, &answer);
    if (leave == LEAVE_OK && !client->json)
        printf("site %s %s day %s\n", site, approved ? "takes part in" : "is refused for", day);
    json_decref(answer);
    text_release(&body);
    return leave;
}

static enum leave run_approve(struct client *client) {
    return say(client, true);
}

static enum leave run_refuse(struct client *client) {
    return say(client, false);
}

static const struct option_row reason_rows[] = {
    {.name = "reason", .kind = OPTION_TEXT, .value = "TEXT", .help = "why, for the record"},
};

const struct command approve_command = {
    .name = "approve",
    .summary = "let a school that joined take part (organiser)",
    .operands = "DAY SITE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(reason_rows),
    .run = run_approve,
    .detail = "`noonarc show waiting DAY` lists who waits.",
    .example = "noonarc approve 2027-03-20 hillside",
};

const struct command refuse_command = {
    .name = "refuse",
    .summary = "do not let a school that joined take part (organiser)",
    .operands = "DAY SITE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(reason_rows),
    .run = run_refuse,
    .detail = "It needs a reason. A school whose run is in cannot be refused.",
    .example = "noonarc refuse 2027-03-20 hillside --reason \"no such school\"",
};
