/* SPDX-License-Identifier: MIT */
/* withdraw: takes a run out of the results; the record of it stays. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/screen.h"

static const struct option_row rows[] = {
    {.name = "reason", .kind = OPTION_TEXT, .value = "TEXT", .help = "why, for the record"},
};

/* The site a run belongs to tells which key may withdraw it. */
static enum leave find_site(struct client *client, const char *run, char *site, size_t size) {
    struct net_answer answer;
    json_t *view = NULL;
    char path[CLIENT_PATH_MAX];
    net_answer_init(&answer);
    snprintf(path, sizeof path, "/api/v1/runs/%s", run);
    enum leave leave = client_get(client, path, &answer, &view);
    if (leave == LEAVE_OK)
        snprintf(site, size, "%s", screen_string(view, "run/site"));
    json_decref(view);
    net_answer_release(&answer);
    return leave;
}

static enum leave run(struct client *client) {
    static const enum key_kind kinds[] = {KEY_SCHOOL, KEY_ORGANISER};
    char site[64], secret[KEYS_SECRET_MAX];
    const char *number;
    enum key_kind kind;
    enum leave leave = client_identifier(client, 0, "run", &number);
    if (leave == LEAVE_OK)
        leave = find_site(client, number, site, sizeof site);
    if (leave == LEAVE_OK)
        leave = client_key(client, site, kinds, 2, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    struct net_answer answer;
    struct text path;
    net_answer_init(&answer);
    text_init(&path, 4096);
    text_format(&path, "/api/v1/runs/%s", number);
    const char *reason = arguments_text(&client->args, "reason", NULL);
    if (reason != NULL) {
        text_put(&path, "?reason=");
        net_encode(&path, reason);
    }
    const struct net_request request = {.method = "DELETE", .path = path.bytes, .key = secret};
    leave = path.failed ? client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--reason",
                                      "the reason is too long")
                        : client_send(client, &request, &answer);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.length > 0 ? answer.body.bytes : "{}");
    else if (leave == LEAVE_OK)
        printf("run %s is withdrawn: results no longer use it\n", number);
    text_release(&path);
    net_answer_release(&answer);
    return leave;
}

const struct command withdraw_command = {
    .name = "withdraw",
    .summary = "take a run out of the results",
    .operands = "RUN",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "The run stays on record, marked as withdrawn. RUN is its number, as submit and show "
              "runs tell it.",
    .example = "noonarc withdraw 17 --reason \"the pole was bumped\"",
};
