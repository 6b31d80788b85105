/* SPDX-License-Identifier: MIT */
/* client: the shared steps of the commands: keys, exchanges, answers. */
#include "client/client.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "client/files.h"
#include "client/screen.h"
#include "server/wire/field.h"

enum leave client_fail(struct client *client, enum leave leave, enum err_code code,
                       const char *field, const char *format, ...) {
    char text[sizeof client->err.text];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    err_set(&client->err, code, field, "%s", text);
    return leave;
}

enum leave client_leave(const struct client *client, enum leave fallback) {
    if (client->err.code == ERR_STORAGE)
        return LEAVE_FILE;
    if (client->err.code == ERR_NETWORK)
        return LEAVE_NETWORK;
    return fallback;
}

enum leave client_identifier(struct client *client, int nth, const char *what, const char **out) {
    const char *word = client->args.operand[nth];
    if (!field_is_id(word))
        return client_fail(client, LEAVE_USAGE, ERR_BAD_TEXT, what,
                           "\"%.60s\" cannot be the identifier of a %s: letters, digits and . _ - "
                           "only, at most 40",
                           word, what);
    *out = word;
    return LEAVE_OK;
}

static enum leave key_from_file(struct client *client, const char *path, char *secret) {
    struct text bytes;
    text_init(&bytes, 4096);
    enum leave leave = LEAVE_OK;
    if (files_read(path, &bytes, &client->err) != 0) {
        leave = LEAVE_FILE;
    } else {
        size_t length = strcspn(bytes.bytes, "\r\n");
        snprintf(secret, KEYS_SECRET_MAX, "%.*s", (int)(length < 200 ? length : 200), bytes.bytes);
        if (length >= KEYS_SECRET_MAX)
            secret[0] = '\0';
    }
    explicit_bzero(bytes.bytes, bytes.length);
    text_release(&bytes);
    return leave;
}

/* The secret given by hand, "" when none was. */
static enum leave given_key(struct client *client, char *secret) {
    const char *typed = arguments_text(&client->args, "key", NULL);
    const char *path = arguments_text(&client->args, "key-file", NULL);
    const char *environment = getenv("NOONARC_KEY");
    secret[0] = '\0';
    if (typed != NULL && path != NULL)
        return client_fail(client, LEAVE_USAGE, ERR_OUT_OF_RANGE, "--key",
                           "give --key or --key-file, not both");
    enum leave leave = LEAVE_OK;
    if (path != NULL)
        leave = key_from_file(client, path, secret);
    else if (typed != NULL || (environment != NULL && *environment != '\0'))
        snprintf(secret, KEYS_SECRET_MAX, "%s", typed != NULL ? typed : environment);
    else
        return LEAVE_OK;
    if (leave == LEAVE_OK && !keys_secret_valid(secret))
        return client_fail(client, LEAVE_USAGE, ERR_WRONG_KEY,
                           path != NULL ? "--key-file" : "--key", "that is not a key");
    return leave;
}

enum leave client_key(struct client *client, const char *site, const enum key_kind *kinds,
                      int count, char *secret, enum key_kind *kind) {
    enum leave leave = given_key(client, secret);
    *kind = KEY_GIVEN;
    if (leave != LEAVE_OK || secret[0] != '\0')
        return leave;
    return client_kept_key(client, site, kinds, count, secret, kind);
}

enum leave client_kept_key(struct client *client, const char *site, const enum key_kind *kinds,
                           int count, char *secret, enum key_kind *kind) {
    for (int i = 0; i < count; i++) {
        const char *of = kinds[i] == KEY_ORGANISER ? KEYS_ORGANISER_SITE : site;
        int found = 0;
        if (kinds[i] == KEY_ORGANISER)
            found = keys_find(client->server, of, KEY_SESSION, secret, &client->err);
        client->logged_in = found > 0;
        if (found == 0)
            found = keys_find(client->server, of, kinds[i], secret, &client->err);
        if (found < 0)
            return LEAVE_FILE;
        if (found > 0) {
            *kind = kinds[i];
            return LEAVE_OK;
        }
    }
    if (count == 1 && kinds[0] == KEY_ORGANISER)
        return client_fail(client, LEAVE_USAGE, ERR_WRONG_KEY, "--key",
                           "this needs an organiser: log in with `noonarc login NAME`, keep "
                           "the key once with `noonarc keep --organiser`, or give it in "
                           "NOONARC_KEY or with --key-file");
    return client_fail(client, LEAVE_USAGE, ERR_WRONG_KEY, "--key",
                       "no key is kept here for site %s at %s: keep one with `noonarc keep %s`, or "
                       "give it in NOONARC_KEY or with --key-file",
                       site, client->server, site);
}

/* Takes the server's refusal in; false when the body is not a problem document. */
static bool take_problem(struct client *client, const struct net_answer *answer) {
    json_t *problem = json_loadb(answer->body.bytes, answer->body.length, 0, NULL);
    const char *code = screen_string(problem, "code");
    bool is_problem = *code != '\0';
    if (is_problem) {
        const char *detail = screen_string(problem, "detail");
        const char *said = *detail != '\0' ? detail : screen_string(problem, "title");
        err_set(&client->err, err_from_name(code), screen_string(problem, "field"), "%s", said);
        text_release(&client->problem);
        text_add(&client->problem, answer->body.bytes, answer->body.length);
    }
    json_decref(problem);
    return is_problem;
}

static void warn_exposed(struct client *client) {
    if (client->warned || !net_server_exposed(client->server))
        return;
    client->warned = true;
    fprintf(stderr,
            "noonarc: careful: %s is not https, so others on the network could read the "
            "key\n",
            client->server);
}

enum leave client_send(struct client *client, const struct net_request *request,
                       struct net_answer *answer) {
    if (request->key != NULL)
        warn_exposed(client);
    if (net_exchange(client->server, request, answer, &client->err) != 0)
        return client_leave(client, LEAVE_NETWORK);
    return answer->status >= 200 && answer->status < 300 ? LEAVE_OK
                                                         : client_refusal(client, answer);
}

enum leave client_refusal(struct client *client, const struct net_answer *answer) {
    int status = answer->status;
    bool is_problem = take_problem(client, answer);
    if (status == 401 && client->logged_in)
        snprintf(client->note, sizeof client->note,
                 "you are logged in by name; that may be over: try `noonarc login`");
    if (is_problem && status >= 400 && status < 500 && status != 408 && status != 429)
        return LEAVE_REFUSED;
    if (!is_problem)
        client_fail(client, LEAVE_NETWORK, ERR_NETWORK, "",
                    "%s answered with status %d, and not as a noonarc server does", client->server,
                    status);
    return LEAVE_NETWORK;
}

enum leave client_send_json(struct client *client, const struct net_request *request,
                            struct net_answer *answer, json_t **out) {
    enum leave leave = client_send(client, request, answer);
    if (leave != LEAVE_OK)
        return leave;
    json_t *object = json_loadb(answer->body.bytes, answer->body.length, 0, NULL);
    if (!json_is_object(object)) {
        json_decref(object);
        return client_fail(client, LEAVE_NETWORK, ERR_NETWORK, "",
                           "%s did not answer as a noonarc server does: is there a sign-in page in "
                           "between?",
                           client->server);
    }
    *out = object;
    return LEAVE_OK;
}

enum leave client_act(struct client *client, const char *site, const enum key_kind *kinds,
                      int count, struct net_request *request, struct net_answer *answer,
                      json_t **out) {
    char secret[KEYS_SECRET_MAX];
    enum key_kind kind;
    enum leave leave = client_key(client, site, kinds, count, secret, &kind);
    request->key = secret;
    if (leave == LEAVE_OK)
        leave = out == NULL ? client_send(client, request, answer)
                            : client_send_json(client, request, answer, out);
    request->key = NULL;
    explicit_bzero(secret, sizeof secret);
    return leave;
}

enum leave client_get(struct client *client, const char *path, struct net_answer *answer,
                      json_t **out) {
    const struct net_request request = {.method = "GET", .path = path};
    return client_send_json(client, &request, answer, out);
}

bool client_organiser_key(struct client *client, char *secret) {
    static const enum key_kind kinds[] = {KEY_ORGANISER};
    struct err before = client->err;
    enum key_kind kind;
    bool found = client_key(client, "", kinds, 1, secret, &kind) == LEAVE_OK;
    client->err = before;
    return found;
}

enum leave client_get_as_seen(struct client *client, const char *path, struct net_answer *answer,
                              json_t **out) {
    char secret[KEYS_SECRET_MAX];
    if (!client_organiser_key(client, secret))
        return client_get(client, path, answer, out);
    const struct net_request request = {.method = "GET", .path = path, .key = secret};
    enum leave leave = client_send_json(client, &request, answer, out);
    explicit_bzero(secret, sizeof secret);
    if (leave != LEAVE_REFUSED || client->err.code != ERR_WRONG_KEY)
        return leave;
    err_clear(&client->err);
    text_release(&client->problem);
    return client_get(client, path, answer, out);
}

void client_print(const char *json) {
    size_t length = strlen(json);
    fputs(json, stdout);
    if (length == 0 || json[length - 1] != '\n')
        fputc('\n', stdout);
}
