/* SPDX-License-Identifier: MIT */
/* sky: the sky board, or a word of one's own for it. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/listing.h"
#include "client/screen.h"
#include "server/wire/sky.h"

static const struct column columns[] = {
    {.title = "site", .key = "site"},
    {.title = "sky", .key = "sky"},
    {.title = "since UTC", .key = "reported_utc", .kind = CELL_TIME},
    {.title = "readings", .key = "readings"},
    {.title = "name", .key = "name"},
};

static void print_counts(const json_t *counts) {
    printf("%.0f of %.0f schools handed in, %.0f readings\n", screen_number(counts, "runs"),
           screen_number(counts, "sites"), screen_number(counts, "readings"));
    printf("sky: %.0f clear, %.0f broken, %.0f overcast, %.0f gone home, %.0f not said\n\n",
           screen_number(counts, "clear"), screen_number(counts, "broken"),
           screen_number(counts, "overcast"), screen_number(counts, "gone_home"),
           screen_number(counts, "untold"));
}

static enum leave show_board(struct client *client, const char *day) {
    char path[CLIENT_PATH_MAX];
    json_t *board = NULL;
    snprintf(path, sizeof path, "/api/v1/days/%s/sky", day);
    enum leave leave = listing_get(client, path, "sites", &board);
    if (leave == LEAVE_OK && !client->json) {
        print_counts(screen_get(board, "counts"));
        screen_table(stdout, client->terminal, columns, sizeof columns / sizeof columns[0],
                     screen_get(board, "sites"));
    }
    json_decref(board);
    return leave;
}

/* "gone home", "gone-home" and "gone_home" are the same word. */
static enum leave take_word(struct client *client, enum sky *out) {
    char word[16];
    const char *typed = client->args.operand[2];
    snprintf(word, sizeof word, "%s", typed);
    for (char *at = word; *at != '\0'; at++)
        if (*at == '-' || *at == ' ')
            *at = '_';
    if (strlen(typed) < sizeof word && sky_parse(word, out))
        return LEAVE_OK;
    return client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "SKY",
                       "the sky is clear, broken, overcast or gone_home");
}

static enum leave send_word(struct client *client, const char *day, const char *site,
                            enum sky sky) {
    static const enum key_kind kinds[] = {KEY_CLASS, KEY_SCHOOL, KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX], path[CLIENT_PATH_MAX], body[40];
    enum key_kind kind;
    struct net_answer answer;
    json_t *result = NULL;
    enum leave leave = client_key(client, site, kinds, 3, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/%s/sky", day, site);
    snprintf(body, sizeof body, "{\"sky\":\"%s\"}", sky_name(sky));
    const struct net_request request = {.method = "PUT",
                                        .path = path,
                                        .key = secret,
                                        .content_type = "application/json",
                                        .body = body,
                                        .body_length = strlen(body)};
    net_answer_init(&answer);
    leave = client_send_json(client, &request, &answer, &result);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        printf("said for %s: %s\n", site, screen_string(result, "report/sky"));
    json_decref(result);
    net_answer_release(&answer);
    return leave;
}

static enum leave run_sky(struct client *client) {
    const char *day, *site;
    enum sky sky = SKY_UNTOLD;
    enum leave leave = client_identifier(client, 0, "day", &day);
    if (leave != LEAVE_OK)
        return leave;
    if (client->args.operands == 1)
        return show_board(client, day);
    if (client->args.operands == 2)
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "SKY",
                           "say how the sky is: clear, broken, overcast or gone_home");
    leave = client_identifier(client, 1, "site", &site);
    if (leave == LEAVE_OK)
        leave = take_word(client, &sky);
    return leave == LEAVE_OK ? send_word(client, day, site, sky) : leave;
}

const struct command sky_command = {
    .name = "sky",
    .summary = "the sky board of a day, or your own word for it",
    .operands = "DAY [SITE SKY]",
    .operands_min = 1,
    .operands_max = 3,
    .server = true,
    .run = run_sky,
    .detail = "SKY is clear, broken (the Sun comes and goes), overcast or gone_home. A class code "
              "is enough.\nYour partner sees it at once, and is offered another school when you "
              "cannot go on.",
    .example = "noonarc sky 2027-03-20 hillside broken",
};
