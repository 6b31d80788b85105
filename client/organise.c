/* SPDX-License-Identifier: MIT */
/* organise: key, request, answer. */
#include "client/organise.h"

#include <stdio.h>
#include <string.h>

#include "client/screen.h"

enum leave organise(struct client *client, const char *method, const char *path, const char *body,
                    json_t **out) {
    static const enum key_kind kinds[] = {KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX];
    enum key_kind kind;
    enum leave leave = client_key(client, "", kinds, 1, secret, &kind);
    if (leave != LEAVE_OK)
        return leave;
    struct net_answer answer;
    net_answer_init(&answer);
    const struct net_request request = {.method = method,
                                        .path = path,
                                        .key = secret,
                                        .content_type = body != NULL ? "application/json" : NULL,
                                        .body = body,
                                        .body_length = body != NULL ? strlen(body) : 0};
    leave = client_send_json(client, &request, &answer, out);
    explicit_bzero(secret, sizeof secret);
    if (leave == LEAVE_OK && client->json)
        client_print(answer.body.bytes);
    net_answer_release(&answer);
    return leave;
}

void organise_tell_warnings(const json_t *answer) {
    size_t i;
    const json_t *warning;
    json_array_foreach(screen_get(answer, "warnings"), i, warning) {
        char text[512];
        snprintf(text, sizeof text, "careful: %s", screen_string(warning, "detail"));
        screen_wrapped(stderr, 0, text);
    }
}
