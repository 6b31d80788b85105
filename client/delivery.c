/* SPDX-License-Identifier: MIT */
/* delivery: the same run under the same key until there is an answer. */
#include "client/delivery.h"

#include <stdio.h>
#include <string.h>

#include "client/screen.h"

/* The secret the run was first sent with, so that the server sees the same sender
 * again; one given on the command line wins. */
static enum leave choose_key(struct client *client, const struct outbox_item *item,
                             const char *own_site, char *secret) {
    const enum key_kind kinds[] = {item->key_kind, KEY_SCHOOL, KEY_CLASS, KEY_ORGANISER};
    int first = item->key_kind == KEY_GIVEN; /* what was given is not kept */
    enum key_kind kind;
    bool mine = own_site == NULL || strcmp(own_site, item->site) == 0;
    bool typed = mine && (arguments_given(&client->args, "key") ||
                          arguments_given(&client->args, "key-file"));
    if (mine && (typed || item->key_kind == KEY_GIVEN))
        return client_key(client, item->site, kinds + first, 4 - first, secret, &kind);
    enum leave leave = client_kept_key(client, item->site, kinds + first, 4 - first, secret, &kind);
    if (leave != LEAVE_USAGE || !mine)
        return leave;
    err_clear(&client->err);
    return client_key(client, item->site, kinds + first, 4 - first, secret, &kind);
}

static enum leave exchange(struct client *client, const struct outbox_item *item,
                           const char *own_site, struct net_answer *answer, json_t **out) {
    char secret[KEYS_SECRET_MAX];
    char path[CLIENT_PATH_MAX];
    enum leave leave = choose_key(client, item, own_site, secret);
    if (leave != LEAVE_OK)
        return leave;
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/%s/runs", item->day, item->site);
    const struct net_request request = {.method = "POST",
                                        .path = path,
                                        .key = secret,
                                        .idempotency_key = item->idempotency_key,
                                        .content_type = "application/json",
                                        .body = item->body,
                                        .body_length = strlen(item->body)};
    leave = client_send_json(client, &request, answer, out);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && !json_is_integer(screen_get(*out, "run/id"))) {
        json_decref(*out);
        *out = NULL;
        leave = client_fail(client, LEAVE_NETWORK, ERR_NETWORK, "",
                            "%s did not answer as a noonarc server does", item->server);
    }
    return leave;
}

enum leave delivery_send(struct client *client, struct outbox *outbox,
                         const struct outbox_item *item, const char *own_site,
                         struct net_answer *answer, json_t **out) {
    const char *server = client->server;
    client->server = item->server;
    *out = NULL;
    enum leave leave = exchange(client, item, own_site, answer, out);
    client->server = server;
    enum outbox_state state = leave == LEAVE_OK        ? OUTBOX_DONE
                              : leave == LEAVE_REFUSED ? OUTBOX_REFUSED
                                                       : OUTBOX_WAITING;
    int64_t run = leave == LEAVE_OK ? json_integer_value(screen_get(*out, "run/id")) : 0;
    struct err trouble = {.code = ERR_NONE};
    if (outbox_mark(outbox, item->number, state,
                    leave == LEAVE_OK ? "" : err_name(client->err.code), client->err.text, run,
                    &trouble) != 0) {
        json_decref(*out);
        *out = NULL;
        client->err = trouble;
        return LEAVE_FILE;
    }
    return leave;
}

static void tell(FILE *out, const struct outbox_item *item, enum leave leave, const char *text,
                 const json_t *result) {
    if (out == NULL)
        return;
    fprintf(out, "outbox %lld, %s on %s: ", (long long)item->number, item->site, item->day);
    if (leave == LEAVE_OK)
        fprintf(out, "sent, run %lld", (long long)json_integer_value(screen_get(result, "run/id")));
    else
        fputs(leave == LEAVE_REFUSED ? "refused: " : "still waiting: ", out);
    if (leave != LEAVE_OK)
        screen_put(out, text);
    fputc('\n', out);
}

/* How bad an outcome is for the whole delivery; LEAVE_USAGE is a missing key. */
static int weight(enum leave leave) {
    static const int weights[] = {[LEAVE_OK] = 0,
                                  [LEAVE_REFUSED] = 1,
                                  [LEAVE_USAGE] = 2,
                                  [LEAVE_NETWORK] = 3,
                                  [LEAVE_FILE] = 4};
    return weights[leave];
}

#define SILENT_MAX 16

enum leave delivery_send_waiting(struct client *client, struct outbox *outbox, const char *own_site,
                                 int64_t before, FILE *out, struct delivery_count *count) {
    char silent[SILENT_MAX][OUTBOX_SERVER_MAX]; /* servers that did not answer */
    int silents = 0;
    enum leave worst = LEAVE_OK;
    struct err worst_err = {.code = ERR_NONE};
    struct outbox_item item = {.number = 0};
    struct net_answer answer;
    *count = (struct delivery_count){0};
    net_answer_init(&answer);
    int next = 0;
    for (int64_t after = 0; worst != LEAVE_FILE; after = item.number) {
        next = outbox_next(outbox, after, &item, &client->err);
        if (next <= 0 || item.number >= before)
            break;
        bool skip = item.state != OUTBOX_WAITING ||
                    (own_site != NULL && strcmp(client->server, item.server) != 0);
        for (int i = 0; i < silents; i++)
            if (strcmp(silent[i], item.server) == 0 && !skip) {
                skip = true;
                count->waiting++;
            }
        if (!skip) {
            json_t *result;
            enum leave leave = delivery_send(client, outbox, &item, own_site, &answer, &result);
            tell(out, &item, leave, client->err.text, result);
            json_decref(result);
            count->sent += leave == LEAVE_OK;
            count->refused += leave == LEAVE_REFUSED;
            count->waiting += leave != LEAVE_OK && leave != LEAVE_REFUSED;
            if (client->err.code == ERR_NETWORK && silents < SILENT_MAX)
                memcpy(silent[silents++], item.server, sizeof item.server);
            if (weight(leave) > weight(worst)) {
                worst = leave;
                worst_err = client->err;
            }
            err_clear(&client->err);
            text_release(&client->problem);
        }
        outbox_item_release(&item);
    }
    if (next > 0 && worst != LEAVE_FILE)
        outbox_item_release(&item);
    net_answer_release(&answer);
    if (next < 0)
        return LEAVE_FILE;
    if (worst != LEAVE_OK)
        client->err = worst_err;
    return worst;
}
