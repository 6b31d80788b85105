/* SPDX-License-Identifier: MIT */
/* listing: pages by cursor, until there is no next one. */
#include "client/listing.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "client/screen.h"

#define LISTING_LIMIT 500
#define LISTING_PAGES_MAX 20000 /* a server that never ends its list */

/* key: NULL for a list that everyone may read. */
static enum leave get_page(struct client *client, const char *key, const char *path,
                           const char *cursor, struct net_answer *answer, json_t **page) {
    struct text url;
    text_init(&url, 4096);
    text_format(&url, "%s%climit=%d", path, strchr(path, '?') != NULL ? '&' : '?', LISTING_LIMIT);
    if (*cursor != '\0') {
        text_put(&url, "&cursor=");
        net_encode(&url, cursor);
    }
    const struct net_request request = {.method = "GET", .path = url.bytes, .key = key};
    enum leave leave = url.failed ? client_fail(client, LEAVE_NETWORK, ERR_NETWORK, "",
                                                "the server's list does not go on as it should")
                                  : client_send_json(client, &request, answer, page);
    text_release(&url);
    return leave;
}

static enum leave get_all(struct client *client, const char *key, const char *path,
                          const char *member, json_t **out) {
    json_t *whole = NULL;
    struct net_answer answer;
    net_answer_init(&answer);
    enum leave leave = get_page(client, key, path, "", &answer, &whole);
    int pages = 1;
    for (; leave == LEAVE_OK && *screen_string(whole, "next_cursor") != '\0'; pages++) {
        json_t *page = NULL;
        leave =
            pages < LISTING_PAGES_MAX
                ? get_page(client, key, path, screen_string(whole, "next_cursor"), &answer, &page)
                : client_fail(client, LEAVE_NETWORK, ERR_NETWORK, "",
                              "the server's list has no end");
        if (leave == LEAVE_OK) {
            json_array_extend(json_object_get(whole, member), json_object_get(page, member));
            json_object_set(whole, "next_cursor", json_object_get(page, "next_cursor"));
        }
        json_decref(page);
    }
    if (leave == LEAVE_OK && client->json && pages == 1)
        client_print(answer.body.bytes);
    if (leave == LEAVE_OK && client->json && pages > 1) {
        char *text = json_dumps(whole, JSON_COMPACT);
        if (text != NULL)
            client_print(text);
        free(text);
    }
    net_answer_release(&answer);
    if (leave == LEAVE_OK)
        *out = whole;
    else
        json_decref(whole);
    return leave;
}

enum leave listing_get(struct client *client, const char *path, const char *member, json_t **out) {
    return get_all(client, NULL, path, member, out);
}

enum leave listing_get_as_organiser(struct client *client, const char *path, const char *member,
                                    json_t **out) {
    static const enum key_kind kinds[] = {KEY_ORGANISER};
    char secret[KEYS_SECRET_MAX];
    enum key_kind kind;
    enum leave leave = client_key(client, "", kinds, 1, secret, &kind);
    if (leave == LEAVE_OK)
        leave = get_all(client, secret, path, member, out);
    explicit_bzero(secret, sizeof secret);
    return leave;
}

enum leave listing_get_as_seen(struct client *client, const char *path, const char *member,
                               json_t **out) {
    char secret[KEYS_SECRET_MAX];
    if (!client_organiser_key(client, secret))
        return listing_get(client, path, member, out);
    enum leave leave = get_all(client, secret, path, member, out);
    explicit_bzero(secret, sizeof secret);
    if (leave != LEAVE_REFUSED || client->err.code != ERR_WRONG_KEY)
        return leave;
    err_clear(&client->err);
    text_release(&client->problem);
    return listing_get(client, path, member, out);
}
