/* SPDX-License-Identifier: MIT */
/* organisers: who runs the programme, for organisers. */
#include <stdio.h>
#include <string.h>

#include "client/commands.h"
#include "client/prompt.h"
#include "client/screen.h"
#include "server/wire/account_read.h"
#include "server/wire/json_write.h"

static const struct option_row rows[] = {
    {.name = "key-only",
     .kind = OPTION_FLAG,
     .help = "add: a key instead of a password, printed once"},
};

static const struct column columns[] = {
    {.title = "organiser", .key = "organiser"},
    {.title = "name", .key = "name"},
    {.title = "comes with", .key = "comes_with"},
    {.title = "since", .key = "since_utc", .kind = CELL_TIME},
};

static const enum key_kind kinds[] = {KEY_ORGANISER};

static enum leave act(struct client *client, const char *method, const char *path,
                      struct text *body, struct net_answer *answer, json_t **out) {
    struct net_request request = {.method = method, .path = path};
    if (body != NULL) {
        request.content_type = "application/json";
        request.body = body->bytes;
        request.body_length = body->length;
    }
    return client_act(client, "", kinds, 1, &request, answer, out);
}

static enum leave list(struct client *client, struct net_answer *answer) {
    json_t *result = NULL;
    enum leave leave = act(client, "GET", "/api/v1/organisers", NULL, answer, &result);
    if (leave == LEAVE_OK && client->json)
        client_print(answer->body.bytes);
    else if (leave == LEAVE_OK)
        screen_table(stdout, client->terminal, columns, sizeof columns / sizeof columns[0],
                     screen_get(result, "organisers"));
    json_decref(result);
    return leave;
}

/* Asks for what the body of a log-in's owner needs. */
static enum leave ask(struct client *client, const char *question, const char *member,
                      struct json_writer *json) {
    char password[PASSWORD_MAX_BYTES + 2];
    if (!prompt_secret(question, password, sizeof password) || password[0] == '\0')
        return client_fail(client, LEAVE_USAGE, ERR_MISSING_FIELD, "password",
                           "a password is needed: on standard input, one line each");
    json_write_text(json, member, password);
    explicit_bzero(password, sizeof password);
    return LEAVE_OK;
}

static enum leave add(struct client *client, const char *name, struct text *body,
                      struct net_answer *answer) {
    struct json_writer json;
    json_t *result = NULL;
    enum leave leave = LEAVE_OK;
    json_write_init(&json, body);
    json_write_object(&json, NULL);
    json_write_text(&json, "name", name);
    if (!arguments_given(&client->args, "key-only"))
        leave = ask(client, "their password (it is not shown): ", "password", &json);
    json_write_end(&json);
    if (leave == LEAVE_OK)
        leave = act(client, "POST", "/api/v1/organisers", body, answer, &result);
    if (leave == LEAVE_OK && client->json) {
        client_print(answer->body.bytes);
    } else if (leave == LEAVE_OK) {
        const char *key = screen_string(result, "key");
        printf("%s is an organiser now\n", name);
        if (*key != '\0')
            printf("key  %s\nIt is shown only this once.\n", keys_secret_valid(key) ? key : "?");
    }
    json_decref(result);
    return leave;
}

static enum leave say_done(struct client *client, enum leave leave, const char *name,
                           const char *what) {
    if (leave == LEAVE_OK && client->json)
        puts("{}");
    else if (leave == LEAVE_OK)
        printf("%s %s\n", name, what);
    return leave;
}

static enum leave set_password(struct client *client, const char *name, const char *path,
                               struct text *body, struct net_answer *answer) {
    struct json_writer json;
    char old[PASSWORD_MAX_BYTES + 2];
    json_write_init(&json, body);
    json_write_object(&json, NULL);
    enum leave leave = ask(client, "the new password (it is not shown): ", "password", &json);
    /* Of another organiser nobody knows the old one, and it is not asked for. */
    if (leave == LEAVE_OK && prompt_secret("the old one, if it is your own: ", old, sizeof old) &&
        old[0] != '\0')
        json_write_text(&json, "old_password", old);
    explicit_bzero(old, sizeof old);
    json_write_end(&json);
    if (leave == LEAVE_OK)
        leave = act(client, "PUT", path, body, answer, NULL);
    return say_done(client, leave, name, "has a new password");
}

static enum leave run(struct client *client) {
    const struct arguments *args = &client->args;
    const char *word = args->operands == 0 ? "list" : args->operand[0], *name = NULL;
    char path[CLIENT_PATH_MAX];
    struct net_answer answer;
    struct text body;
    if (args->operands == 2) {
        enum leave leave = client_identifier(client, 1, "organiser", &name);
        if (leave != LEAVE_OK)
            return leave;
    }
    net_answer_init(&answer);
    text_init(&body, 4096);
    enum leave leave;
    snprintf(path, sizeof path, "/api/v1/organisers/%s", name == NULL ? "" : name);
    if (strcmp(word, "list") == 0 && name == NULL)
        leave = list(client, &answer);
    else if (strcmp(word, "add") == 0 && name != NULL)
        leave = add(client, name, &body, &answer);
    else if (strcmp(word, "remove") == 0 && name != NULL)
        leave = say_done(client, act(client, "DELETE", path, NULL, &answer, NULL), name,
                         "is no organiser any more");
    else if (strcmp(word, "password") == 0 && name != NULL) {
        strncat(path, "/password", sizeof path - strlen(path) - 1);
        leave = set_password(client, name, path, &body, &answer);
    } else
        leave = client_fail(client, LEAVE_USAGE, ERR_UNKNOWN_FIELD, "organisers",
                            "say organisers list, add NAME, remove NAME or password NAME");
    if (body.length > 0)
        explicit_bzero(body.bytes, body.length);
    text_release(&body);
    net_answer_release(&answer);
    return leave;
}

const struct command organisers_command = {
    .name = "organisers",
    .summary = "who organises; add, remove, new passwords",
    .operands = "[list | add NAME | remove NAME | password NAME]",
    .operands_max = 2,
    .server = true,
    .options = OPTION_TABLE(rows),
    .run = run,
    .detail = "Passwords are asked for and not shown; in a script, give them on standard input, "
              "one line each: the new one, and for your own the old one. A password has 12 "
              "characters at least.",
    .example = "noonarc organisers add maro",
};
