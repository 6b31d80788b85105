/* SPDX-License-Identifier: MIT */
/* door: connections as they come and go. Each becomes a guest, with the address
 * it counts for and its deadline; who has all the connections an address may
 * have is told so (429) and gets no further. */
#ifndef NOONARC_DOOR_H
#define NOONARC_DOOR_H

#include <microhttpd.h>
#include <stdbool.h>

#include "server/base/err.h"
#include "server/http/address.h"
#include "server/http/limits.h"
#include "server/http/patience.h"

struct door;

struct guest {
    struct stay stay;
    struct address address; /* of the other end of the connection */
    bool proxy;             /* which is the proxy, that speaks for others */
    bool counted;
    bool dismissed; /* whatever it asks is not to be answered */
};

/* Errors: ERR_OUT_OF_RANGE (a proxy that is no address), ERR_INTERNAL. */
int door_new(const struct listener_limits *limits, struct door **out, struct err *err)
    __attribute__((warn_unused_result));
/* All guests are gone. NULL is fine. */
void door_free(struct door *door);

/* For MHD_OPTION_NOTIFY_CONNECTION; cls is the struct door. */
void door_notify(void *cls, struct MHD_Connection *connection, void **slot,
                 enum MHD_ConnectionNotificationCode what);

/* The guest on a connection; NULL when memory was too short for one: then the
 * connection is to be closed. */
struct guest *door_guest(struct MHD_Connection *connection);

/* Whose request it is: the guest's own address, or, from the proxy, the one that
 * the proxy names; its own where it names none. */
void door_caller(const struct guest *guest, struct MHD_Connection *connection, struct address *out);

struct patience *door_patience(struct door *door);

/* Connections turned away since the start, because their address had enough. */
long door_turned_away(const struct door *door);

#endif
