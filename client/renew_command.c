/* SPDX-License-Identifier: MIT */
/* renew: a new school key or class code in the place of one that was lost or has got
 * about. The school does it itself; where its key was lost, an organiser does. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/screen.h"
#include "server/wire/account_read.h"

static const struct option_row rows[] = {
    {.name = "class-code",
     .kind = OPTION_FLAG,
     .help = "the class code (else the school key); the old one stops working"},
    {.name = "hours",
     .kind = OPTION_NUMBER,
     .value = "H",
     .min = CLASS_CODE_VALID_MIN_H,
     .max = CLASS_CODE_VALID_MAX_H,
     .help = "a class code that works for so long (else a year)"},
    {.name = "revoke",
     .kind = OPTION_FLAG,
     .help = "the class code stops working and there is no new one"},
};

static const enum key_kind kinds[] = {KEY_ORGANISER, KEY_SCHOOL};

static enum leave revoke(struct client *client, const char *site, const char *path) {
    struct net_answer answer;
    struct net_request request = {.method = "DELETE", .path = path};
    net_answer_init(&answer);
    enum leave leave = client_act(client, site, kinds, 2, &request, &answer, NULL);
    if (leave == LEAVE_OK && keys_forget(client->server, site, KEY_CLASS, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK && client->json)
        puts("{}");
    else if (leave == LEAVE_OK)
        printf("site %s has no class code any more\n", site);
    net_answer_release(&answer);
    return leave;
}

static void print_plain(const json_t *result, const char *member) {
    const char *expires = screen_string(result, "expires_utc");
    fputs(strcmp(member, "class_code") == 0 ? "new class code  " : "new school key  ", stdout);
    screen_put(stdout, screen_string(result, member));
    if (*expires != '\0') {
        fputs("\nworks until     ", stdout);
        screen_put(stdout, expires);
    }
    fputs("\n\nIt is shown only this once, and kept on this computer. The old one has stopped "
          "working.\n",
          stdout);
}

static enum leave renew(struct client *client, const char *site, const char *path,
                        const char *member, enum key_kind kind) {
    char body[64] = "";
    double hours_h = arguments_number(&client->args, "hours", (double)NAN);
    struct net_answer answer;
    json_t *result = NULL;
    struct net_request request = {.method = "POST", .path = path};
    if (!isnan(hours_h)) {
        snprintf(body, sizeof body, "{\"valid_h\":%.17g}", hours_h);
        request.content_type = "application/json";
        request.body = body;
        request.body_length = strlen(body);
    }
    net_answer_init(&answer);
    enum leave leave = client_act(client, site, kinds, 2, &request, &answer, &result);
    if (leave == LEAVE_OK) {
        if (client->json)
            client_print(answer.body.bytes);
        else
            print_plain(result, member);
        if (keys_save(client->server, site, kind, screen_string(result, member), &client->err) != 0)
            leave = LEAVE_FILE;
    }
    json_decref(result);
    net_answer_release(&answer);
    return leave;
}

static enum leave run(struct client *client) {
    const struct arguments *args = &client->args;
    bool code = arguments_given(args, "class-code") || arguments_given(args, "hours") ||
                arguments_given(args, "revoke");
    char path[CLIENT_PATH_MAX];
    const char *site;
    enum leave leave = client_identifier(client, 0, "site", &site);
    if (leave != LEAVE_OK)
        return leave;
    if (arguments_given(args, "revoke") && arguments_given(args, "hours"))
        return client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--revoke",
                           "what is revoked has no hours: give --revoke or --hours");
    snprintf(path, sizeof path, "/api/v1/sites/%s/%s", site, code ? "class_code" : "school_key");
    if (arguments_given(args, "revoke"))
        return revoke(client, site, path);
    return code ? renew(client, site, path, "class_code", KEY_CLASS)
                : renew(client, site, path, "school_key", KEY_SCHOOL);
}

const struct command renew_command = {
    .name = "renew",
    .summary = "a new school key or class code; the old one stops working",
    .operands = "SITE",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "The school renews its own with the key kept here. A school that has lost its key "
              "asks an organiser, who logs in and does the same.",
    .example = "noonarc renew hillside --class-code --hours 48",
};
