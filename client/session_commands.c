/* SPDX-License-Identifier: MIT */
/* login, logout, whoami: an organiser by name and password. The token stands in for the
 * organiser's key until the log-in is over; the password is kept nowhere. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "client/commands.h"
#include "client/prompt.h"
#include "client/screen.h"
#include "server/wire/account_read.h"
#include "server/wire/json_write.h"

static const enum key_kind organiser_kinds[] = {KEY_ORGANISER};

static enum leave ask_for_session(struct client *client, const char *name, const char *password,
                                  struct net_answer *answer, json_t **out) {
    struct text body;
    struct json_writer json;
    text_init(&body, 4096);
    json_write_init(&json, &body);
    json_write_object(&json, NULL);
    json_write_text(&json, "name", name);
    json_write_text(&json, "password", password);
    json_write_end(&json);
    const struct net_request request = {.method = "POST",
                                        .path = "/api/v1/session",
                                        .content_type = "application/json",
                                        .body = body.bytes,
                                        .body_length = body.length};
    enum leave leave = client_send_json(client, &request, answer, out);
    explicit_bzero(body.bytes, body.length);
    text_release(&body);
    return leave;
}

static enum leave run_login(struct client *client) {
    char password[PASSWORD_MAX_BYTES + 2];
    const char *name;
    struct net_answer answer;
    json_t *session = NULL;
    enum leave leave = client_identifier(client, 0, "organiser", &name);
    if (leave != LEAVE_OK)
        return leave;
    if (net_server_exposed(client->server))
        fprintf(stderr,
                "noonarc: careful: %s is not https, so others on the network could read "
                "the password\n",
                client->server);
    if (!prompt_secret("password (it is not shown): ", password, sizeof password))
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "password",
                           "a log-in needs the password");
    net_answer_init(&answer);
    leave = ask_for_session(client, name, password, &answer, &session);
    explicit_bzero(password, sizeof password);
    if (leave == LEAVE_OK && keys_save(client->server, KEYS_ORGANISER_SITE, KEY_SESSION,
                                       screen_string(session, "token"), &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK && client->json) {
        json_object_del(session, "token"); /* it is kept; nobody needs to see it */
        char *text = json_dumps(session, JSON_COMPACT);
        client_print(text == NULL ? "{}" : text);
        free(text);
    } else if (leave == LEAVE_OK) {
        printf("logged in as %s until ", name);
        screen_put(stdout, screen_string(session, "expires_utc"));
        putchar('\n');
    }
    json_decref(session);
    net_answer_release(&answer);
    return leave;
}

const struct command login_command = {
    .name = "login",
    .summary = "log in as an organiser",
    .operands = "NAME",
    .operands_min = 1,
    .operands_max = 1,
    .server = true,
    .run = run_login,
    .detail = "The password is asked for and not shown; in a script, give it on standard input. "
              "The log-in ends by itself after half a day. Until then it is used where an "
              "organiser is needed, before an organiser's key that is kept here.",
    .example = "noonarc login maro --server https://noon.example.org",
};

static enum leave run_logout(struct client *client) {
    char token[KEYS_SECRET_MAX];
    struct net_answer answer;
    int found = keys_find(client->server, KEYS_ORGANISER_SITE, KEY_SESSION, token, &client->err);
    if (found < 0)
        return LEAVE_FILE;
    if (found == 0)
        return client_fail(client, LEAVE_REFUSED, ERR_NOT_FOUND, "", "nobody is logged in at %s",
                           client->server);
    net_answer_init(&answer);
    const struct net_request request = {
        .method = "DELETE", .path = "/api/v1/session", .key = token};
    enum leave leave = client_send(client, &request, &answer);
    explicit_bzero(token, sizeof token);
    net_answer_release(&answer);
    /* A log-in that is over already is out all the same. */
    if (leave == LEAVE_REFUSED && client->err.code == ERR_WRONG_KEY) {
        err_clear(&client->err);
        text_release(&client->problem);
        leave = LEAVE_OK;
    }
    if (leave == LEAVE_OK &&
        keys_forget(client->server, KEYS_ORGANISER_SITE, KEY_SESSION, &client->err) != 0)
        leave = LEAVE_FILE;
    if (leave == LEAVE_OK)
        puts(client->json ? "{}" : "logged out");
    return leave;
}

const struct command logout_command = {
    .name = "logout",
    .summary = "end a log-in",
    .operands = "",
    .server = true,
    .run = run_logout,
    .example = "noonarc logout",
};

static enum leave run_whoami(struct client *client) {
    static const enum key_kind site_kinds[] = {KEY_SCHOOL, KEY_CLASS};
    const char *site = NULL;
    struct net_answer answer;
    json_t *caller = NULL;
    enum leave leave =
        client->args.operands == 0 ? LEAVE_OK : client_identifier(client, 0, "site", &site);
    if (leave != LEAVE_OK)
        return leave;
    struct net_request request = {.method = "GET", .path = "/api/v1/session"};
    net_answer_init(&answer);
    leave = site == NULL ? client_act(client, "", organiser_kinds, 1, &request, &answer, &caller)
                         : client_act(client, site, site_kinds, 2, &request, &answer, &caller);
    if (leave == LEAVE_OK && client->json) {
        client_print(answer.body.bytes);
    } else if (leave == LEAVE_OK) {
        const char *expires = screen_string(caller, "expires_utc");
        screen_put(stdout, screen_string(caller, "role"));
        putchar(' ');
        screen_put(stdout, screen_string(caller, site == NULL ? "name" : "site"));
        fputs(*expires == '\0' ? ", until the key is renewed" : ", until ", stdout);
        screen_put(stdout, expires);
        putchar('\n');
    }
    json_decref(caller);
    net_answer_release(&answer);
    return leave;
}

const struct command whoami_command = {
    .name = "whoami",
    .summary = "as whom the key kept here acts, and until when",
    .operands = "[SITE]",
    .operands_max = 1,
    .server = true,
    .run = run_whoami,
    .detail = "Without SITE the organiser's log-in or key, with SITE the school's key or else the "
              "class's code.",
    .example = "noonarc whoami hillside",
};
