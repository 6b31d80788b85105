/* SPDX-License-Identifier: MIT */
/* delivery: waiting runs of the outbox -> the server. */
#ifndef NOONARC_DELIVERY_H
#define NOONARC_DELIVERY_H

#include "client/client.h"
#include "client/outbox.h"

struct delivery_count {
    int sent, refused, waiting;
};

/* Sends one waiting run under its own idempotency key to its own server and notes
 * what came of it. A key given by option or environment serves runs of own_site
 * alone (NULL: of any), other runs are sent with the keys kept here. Outcomes: done on an answer
 * with the run's number; refused on a refusal; waiting, with LEAVE_NETWORK, on anything else. On
 * LEAVE_OK *out is the answer, owned by the caller, and answer holds its bytes. */
enum leave delivery_send(struct client *client, struct outbox *outbox,
                         const struct outbox_item *item, const char *own_site,
                         struct net_answer *answer, json_t **out);

/* Sends the waiting runs numbered below before, oldest first: those of every server
 * when own_site is NULL, else those of client->server. A server that does not answer is not asked
 * again. Tells each outcome in a line on out, when not NULL. Returns the worst outcome: LEAVE_FILE
 * ends it, then LEAVE_NETWORK (something waits), then LEAVE_REFUSED; err is the first of that kind.
 */
enum leave delivery_send_waiting(struct client *client, struct outbox *outbox, const char *own_site,
                                 int64_t before, FILE *out, struct delivery_count *count);

#endif
