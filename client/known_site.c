/* SPDX-License-Identifier: MIT */
/* known_site: the remembered record first: it costs no waiting in a playground. */
#include "client/known_site.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "client/screen.h"
#include "server/wire/record_read.h"

enum leave known_site_keep(struct client *client, struct outbox *outbox, const json_t *site) {
    char *body = json_dumps(site, JSON_COMPACT);
    int result = body == NULL ? err_set(&client->err, ERR_STORAGE, "", "out of memory")
                              : outbox_site_keep(outbox, client->server,
                                                 screen_string(site, "site"), body, &client->err);
    free(body);
    return result == 0 ? LEAVE_OK : LEAVE_FILE;
}

void known_site_note(struct client *client, const json_t *site) {
    struct err before = client->err;
    struct outbox *outbox = NULL;
    if (outbox_open(&outbox, &client->err) == 0)
        (void)known_site_keep(client, outbox, site);
    outbox_close(outbox);
    client->err = before;
}

bool known_site_find(struct client *client, struct outbox *outbox, const char *site,
                     struct site_record *out) {
    struct err before = client->err;
    char *body = NULL;
    bool found = outbox_site_find(outbox, client->server, site, &body, &client->err) == 1 &&
                 record_read_site(body, strlen(body), out, &client->err) == 0;
    if (!found) {
        struct net_answer answer;
        json_t *record = NULL;
        char path[CLIENT_PATH_MAX];
        snprintf(path, sizeof path, "/api/v1/sites/%s", site);
        net_answer_init(&answer);
        found = client_get(client, path, &answer, &record) == LEAVE_OK &&
                known_site_keep(client, outbox, record) == LEAVE_OK &&
                record_read_site(answer.body.bytes, answer.body.length, out, &client->err) == 0;
        json_decref(record);
        net_answer_release(&answer);
    }
    if (found)
        site_record_settle(out);
    free(body);
    client->err = before;
    text_release(&client->problem);
    return found;
}

#define SAME_PLACE_DEG 0.001

static bool alike(const struct site_record *a, const struct site_record *b) {
    if (b->site[0] != '\0')
        return strcmp(a->site, b->site) == 0;
    return strcmp(a->name, b->name) == 0 &&
           fabs(a->place.lat_deg - b->place.lat_deg) < SAME_PLACE_DEG &&
           fabs(a->place.lon_deg - b->place.lon_deg) < SAME_PLACE_DEG;
}

bool known_site_mine(struct client *client, const struct site_record *like,
                     char site[OUTBOX_WORD_MAX]) {
    struct outbox *outbox = NULL;
    struct err ignored = {.code = ERR_NONE};
    char secret[KEYS_SECRET_MAX], *body = NULL;
    bool mine = false;
    site[0] = '\0';
    if (outbox_open(&outbox, &ignored) != 0)
        return false;
    while (!mine && outbox_site_next(outbox, client->server, site, &body, &ignored) == 1) {
        struct site_record record;
        mine = record_read_site(body, strlen(body), &record, &ignored) == 0 &&
               alike(&record, like) &&
               keys_find(client->server, site, KEY_SCHOOL, secret, &ignored) == 1;
        err_clear(&ignored);
        free(body);
    }
    explicit_bzero(secret, sizeof secret);
    outbox_close(outbox);
    return mine;
}
