/* SPDX-License-Identifier: MIT */
/* audit: who changed what, for organisers. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/files.h"
#include "client/screen.h"

#define LINES_DEFAULT 40
#define LINES_MAX 500

static const struct option_row rows[] = {
    {.name = "lines",
     .kind = OPTION_COUNT,
     .value = "N",
     .min = 1,
     .max = LINES_MAX,
     .help = "how many, newest first (else 40)"},
    {.name = "before",
     .kind = OPTION_COUNT,
     .value = "NUMBER",
     .min = 1,
     .max = 9007199254740991.0,
     .help = "only lines before this one"},
    {.name = "output",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "write all of it into FILE as a spreadsheet"},
};

static const struct column columns[] = {
    {.title = "number", .key = "number"}, {.title = "when", .key = "at_utc", .kind = CELL_TIME},
    {.title = "who", .key = "role"},      {.title = "name", .key = "by"},
    {.title = "did", .key = "action"},    {.title = "to", .key = "subject"},
    {.title = "detail", .key = "detail"},
};

static const enum key_kind kinds[] = {KEY_ORGANISER};

static enum leave save(struct client *client, const char *output) {
    struct net_answer answer;
    struct net_request request = {.method = "GET", .path = "/api/v1/audit.csv"};
    net_answer_init(&answer);
    enum leave leave = client_act(client, "", kinds, 1, &request, &answer, NULL);
    if (leave == LEAVE_OK &&
        files_write(output, answer.body.bytes, answer.body.length, 0600, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK && client->json)
        printf("{\"bytes\":%zu}\n", answer.body.length);
    net_answer_release(&answer);
    return leave;
}

static enum leave run(struct client *client) {
    const char *output = arguments_text(&client->args, "output", NULL);
    const double before = arguments_number(&client->args, "before", 0.0);
    char path[CLIENT_PATH_MAX];
    struct net_answer answer;
    json_t *lines = NULL;
    if (output != NULL)
        return save(client, output);
    int length = snprintf(path, sizeof path, "/api/v1/audit?limit=%.0f",
                          arguments_number(&client->args, "lines", LINES_DEFAULT));
    if (before > 0.0)
        snprintf(path + length, sizeof path - (size_t)length, "&cursor=%.0f", before);
    struct net_request request = {.method = "GET", .path = path};
    net_answer_init(&answer);
    enum leave leave = client_act(client, "", kinds, 1, &request, &answer, &lines);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        screen_table(stdout, client->terminal, columns, sizeof columns / sizeof columns[0],
                     screen_get(lines, "lines"));
    json_decref(lines);
    net_answer_release(&answer);
    return leave;
}

const struct command audit_command = {
    .name = "audit",
    .summary = "who changed what",
    .operands = "",
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "Every change by a person leaves a line: who, when, what was done, and to what, by "
              "its address. For organisers.",
    .example = "noonarc audit --lines 100",
};
