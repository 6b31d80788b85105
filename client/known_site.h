/* SPDX-License-Identifier: MIT */
/* known_site: a site's record from the server, or as it was last seen, so that
 * an angle can be worked out in a playground without network. */
#ifndef NOONARC_KNOWN_SITE_H
#define NOONARC_KNOWN_SITE_H

#include "client/client.h"
#include "client/outbox.h"
#include "server/wire/records.h"

/* Remembers a record as the server wrote it (JSON object of the site). */
enum leave known_site_keep(struct client *client, struct outbox *outbox, const json_t *site);

/* What is remembered, else what the server says now. false when neither knows;
 * client->err stays as it was. */
bool known_site_find(struct client *client, struct outbox *outbox, const char *site,
                     struct site_record *out);

/* Remembers without an outbox at hand; trouble with it is no trouble here. */
void known_site_note(struct client *client, const json_t *site);

/* Whether this computer holds the school key of a site of the same identifier, or
 * of the same name and place, at client->server; site: which. */
bool known_site_mine(struct client *client, const struct site_record *like,
                     char site[OUTBOX_WORD_MAX]);

#endif
