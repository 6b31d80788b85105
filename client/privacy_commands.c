/* SPDX-License-Identifier: MIT */
/* data, remove: what is kept of a school, and its end. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/files.h"
#include "client/prompt.h"
#include "client/screen.h"

static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_ORGANISER};

static const struct option_row data_rows[] = {
    {.name = "output",
     .kind = OPTION_TEXT,
     .value = "FILE",
     .help = "write to FILE, which is replaced in one step (else to standard output)"},
};

static enum leave run_data(struct client *client) {
    const char *site, *output = arguments_text(&client->args, "output", NULL);
    char path[CLIENT_PATH_MAX];
    struct net_answer answer;
    json_t *data = NULL;
    enum leave leave = client_identifier(client, 0, "site", &site);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/sites/%s/data", site);
    struct net_request request = {.method = "GET", .path = path};
    net_answer_init(&answer);
    leave = client_act(client, site, kinds, 2, &request, &answer, &data);
    if (leave == LEAVE_OK && output == NULL)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK &&
             files_write(output, answer.body.bytes, answer.body.length, 0600, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK && output != NULL && client->json)
        printf("{\"bytes\":%zu}\n", answer.body.length);
    json_decref(data);
    net_answer_release(&answer);
    return leave;
}

const struct command data_command = {
    .name = "data",
    .summary = "take home everything that is kept of your school",
    .operands = "SITE",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(data_rows),
    .run = run_data,
    .detail = "One JSON document: the site and how its record came about, every run, all that "
              "happened, and the lines of the audit log about it.",
    .example = "noonarc data hillside --output hillside.json",
};

static const struct option_row remove_rows[] = {
    {.name = "reason", .kind = OPTION_TEXT, .value = "TEXT", .help = "why, for organisers"},
    {.name = "withdraw-runs",
     .kind = OPTION_FLAG,
     .help = "its measurements no longer count (else their numbers do)"},
    {.name = "yes", .kind = OPTION_FLAG, .help = "do not ask again"},
};

static enum leave confirm(struct client *client, const char *site) {
    char line[PROMPT_LINE_MAX];
    if (arguments_given(&client->args, "yes"))
        return LEAVE_OK;
    fprintf(stderr,
            "This erases the name, contact, exact position, keys and everything written in words "
            "of\nsite %s for good. Take its data home first: noonarc data %s\n",
            site, site);
    if (!prompt_ask("To go on, type the site's identifier: ", line) || strcmp(line, site) != 0)
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "--yes", "nothing was removed");
    return LEAVE_OK;
}

static enum leave forget_keys(struct client *client, const char *site) {
    return keys_forget(client->server, site, KEY_SCHOOL, &client->err) != 0 ||
                   keys_forget(client->server, site, KEY_CLASS, &client->err) != 0
               ? LEAVE_FILE
               : LEAVE_OK;
}

static enum leave run_remove(struct client *client) {
    const char *site, *reason = arguments_text(&client->args, "reason", NULL);
    struct net_answer answer;
    struct text path;
    json_t *result = NULL;
    enum leave leave = client_identifier(client, 0, "site", &site);
    if (leave == LEAVE_OK)
        leave = confirm(client, site);
    if (leave != LEAVE_OK)
        return leave;
    net_answer_init(&answer);
    text_init(&path, 4096);
    text_format(&path, "/api/v1/sites/%s?runs=%s", site,
                arguments_given(&client->args, "withdraw-runs") ? "withdraw" : "keep");
    if (reason != NULL) {
        text_put(&path, "&reason=");
        net_encode(&path, reason);
    }
    struct net_request request = {.method = "DELETE", .path = path.bytes};
    leave = path.failed ? client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--reason",
                                      "the reason is too long")
                        : client_act(client, site, kinds, 2, &request, &answer, &result);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    else if (leave == LEAVE_OK)
        printf("site %s is removed; its numbers stand under %s\n", site,
               screen_string(result, "site"));
    if (leave == LEAVE_OK)
        leave = forget_keys(client, site);
    json_decref(result);
    text_release(&path);
    net_answer_release(&answer);
    return leave;
}

const struct command remove_command = {
    .name = "remove",
    .summary = "take your school out",
    .operands = "SITE",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(remove_rows),
    .run = run_remove,
    .detail = "Name, contact, exact position, keys and everything written in words are erased. "
              "The numbers of its runs stay for the results of the others, without a name and "
              "with the position to 11 km; --withdraw-runs keeps them from counting. Editions "
              "that were published stay as they are.",
    .example = "noonarc remove hillside --reason \"the school has closed\"",
};
