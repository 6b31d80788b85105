/* SPDX-License-Identifier: MIT */
/* days, open, join, leave: measurement days and who takes part. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/field_options.h"
#include "client/listing.h"
#include "client/organise.h"
#include "client/rule_options.h"
#include "client/screen.h"
#include "server/base/instant.h"
#include "server/wire/record_write.h"

static const struct column day_columns[] = {
    {.title = "day", .key = "day"},
    {.title = "date", .key = "date"},
    {.title = "state", .key = "state"},
    {.title = "season", .key = "season"},
    {.title = "spare dates", .key = "spare_dates", .kind = CELL_LENGTH},
    {.title = "name", .key = "name"},
    {.title = "tolerance °", .key = "lon_tolerance_deg"},
    {.title = "apart at least km", .key = "min_separation_km"},
};

static enum leave run_days(struct client *client) {
    json_t *days = NULL;
    enum leave leave = listing_get_as_seen(client, "/api/v1/days", "days", &days);
    if (leave == LEAVE_OK && !client->json) {
        if (json_array_size(screen_get(days, "days")) == 0)
            puts("no day is open yet");
        else
            screen_table(stdout, client->terminal, day_columns,
                         sizeof day_columns / sizeof day_columns[0], screen_get(days, "days"));
    }
    json_decref(days);
    return leave;
}

const struct command days_command = {
    .name = "days",
    .summary = "measurement days that are open",
    .operands = "",
    .server = true,
    .run = run_days,
    .example = "noonarc days",
};

static const struct option_row open_rows[] = {
    {.name = "date", .kind = OPTION_DATE, .value = "YYYY-MM-DD", .help = "the day's date"},
    {.name = "spare",
     .kind = OPTION_DATE,
     .value = "YYYY-MM-DD",
     .many = true,
     .help = "a spare date in case of cloud; up to 8, give it again for each"},
    {.name = "name", .kind = OPTION_TEXT, .value = "TEXT", .help = "what the day is called"},
    {.name = "season", .kind = OPTION_TEXT, .value = "SEASON", .help = "the season it belongs to"},
    {.name = "planned",
     .kind = OPTION_FLAG,
     .help = "only organisers see it until `noonarc announce` (else it is announced at once)"},
    {.name = "told",
     .kind = OPTION_FLAG,
     .help = "plans tell the expected angle beforehand (else it is held back until the readings "
             "are in)"},
    RULE_OPTION_ROWS,
    CLOCK_RULE_OPTION_ROWS,
};

static enum leave take_day(struct client *client, struct day_record *day) {
    const struct arguments *args = &client->args;
    const char *identifier, *spare;
    day_record_init(day);
    enum leave leave = client_identifier(client, 0, "day", &identifier);
    if (leave != LEAVE_OK)
        return leave;
    int32_t date;
    bool names_date = date_parse(identifier, &date);
    if (!names_date && !arguments_given(args, "date"))
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "--date",
                           "give the day's date with --date");
    day->date = (int32_t)arguments_number(args, "date", names_date ? date : 0);
    snprintf(day->day, sizeof day->day, "%s", identifier);
    snprintf(day->name, sizeof day->name, "%s", identifier);
    if (field_option_take(args, &day_fields, "name", day, &client->err) != 0 ||
        field_option_take(args, &day_fields, "season", day, &client->err) != 0)
        return LEAVE_USAGE;
    day->state = arguments_given(args, "planned") ? DAY_PLANNED : DAY_ANNOUNCED;
    day->blind = !arguments_given(args, "told");
    while ((spare = arguments_nth(args, "spare", day->spares)) != NULL) {
        if (day->spares == DAY_SPARES_MAX)
            return client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--spare",
                               "a day has at most %d spare dates", DAY_SPARES_MAX);
        (void)date_parse(spare, &day->spare[day->spares++]); /* checked with the options */
    }
    day->lon_tolerance_deg = arguments_number(args, "tolerance", day->lon_tolerance_deg);
    day->min_separation_km = arguments_number(args, "min-separation", day->min_separation_km);
    day->max_sigma_km = arguments_number(args, "max-sigma", day->max_sigma_km);
    rule_options_clock(args, day);
    return LEAVE_OK;
}

static void print_opened(const json_t *day) {
    printf("day %s is %s: %s", screen_string(day, "day"),
           strcmp(screen_string(day, "state"), "planned") == 0 ? "planned" : "open",
           screen_string(day, "date"));
    size_t i;
    const json_t *spare;
    json_array_foreach(screen_get(day, "spare_dates"), i, spare)
        printf("%s %s", i == 0 ? ", spare" : ",", json_string_value(spare));
    putchar('\n');
}

static enum leave run_open(struct client *client) {
    struct day_record day;
    struct text body;
    struct json_writer json;
    json_t *result = NULL;
    enum leave leave = take_day(client, &day);
    if (leave != LEAVE_OK)
        return leave;
    text_init(&body, 65536);
    json_write_init(&json, &body);
    record_write_day(&json, NULL, &day);
    leave = organise(client, "POST", "/api/v1/days", body.bytes, &result);
    if (leave == LEAVE_OK && !client->json) {
        organise_tell_warnings(result);
        print_opened(result);
    }
    json_decref(result);
    text_release(&body);
    return leave;
}

const struct command open_command = {
    .name = "open",
    .summary = "open a measurement day (organiser)",
    .operands = "DAY",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(open_rows),
    .run = run_open,
    .detail = "DAY is the day's identifier; when it is a date, --date may be left out.",
    .example = "noonarc open 2027-03-20 --spare 2027-03-22 --name \"March equinox\"",
};

static void print_part(const struct net_answer *answer, const char *site, const char *said,
                       const char *day) {
    json_t *part = json_loadb(answer->body.bytes, answer->body.length, 0, NULL);
    const char *status = screen_string(part, "status");
    organise_tell_warnings(part);
    if (strcmp(status, "waiting") == 0)
        printf("site %s waits to take part in day %s\n", site, day);
    else if (strcmp(status, "refused") == 0)
        printf("site %s may not take part in day %s: an organiser refused it\n", site, day);
    else
        printf("site %s %s day %s\n", site, said, day);
    json_decref(part);
}

static enum leave take_part(struct client *client, const char *method, const char *said) {
    static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX], path[CLIENT_PATH_MAX];
    const char *day, *site;
    enum key_kind kind;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave == LEAVE_OK)
        leave = client_identifier(client, 1, "site", &site);
    if (leave == LEAVE_OK)
        leave = client_key(client, site, kinds, 2, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    struct net_answer answer;
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/%s", day, site);
    const struct net_request request = {.method = method, .path = path, .key = secret};
    leave = client_send(client, &request, &answer);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.length > 0 ? answer.body.bytes : "{}");
    else if (leave == LEAVE_OK)
        print_part(&answer, site, said, day);
    net_answer_release(&answer);
    return leave;
}

static enum leave run_join(struct client *client) {
    return take_part(client, "PUT", "takes part in");
}

static enum leave run_leave(struct client *client) {
    return take_part(client, "DELETE", "no longer takes part in");
}

const struct command join_command = {
    .name = "join",
    .summary = "take part in a day",
    .operands = "DAY SITE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .run = run_join,
    .example = "noonarc join 2027-03-20 hillside",
};

const struct command leave_command = {
    .name = "leave",
    .summary = "no longer take part in a day",
    .operands = "DAY SITE",
    .operands_min = 2,
    .operands_max = 2,
    .server = true,
    .run = run_leave,
    .example = "noonarc leave 2027-03-20 hillside",
};
