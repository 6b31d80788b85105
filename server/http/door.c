/* SPDX-License-Identifier: MIT */
#include "server/http/door.h"

#include <stdatomic.h>
#include <stdlib.h>
#include <strings.h>
#include <sys/socket.h>

#include "server/http/answer.h"
#include "server/http/crowd.h"

#define TURNED_AWAY_RETRY_S 2

struct door {
    struct patience *patience;
    struct crowd *crowd;
    bool has_proxy;
    struct address proxy;
    struct text turned_away; /* a whole answer */
    atomic_long turned_away_count;
};

static void compose_turned_away(const struct listener_limits *limits, struct text *out) {
    struct err err = {0};
    err_set(&err, ERR_TOO_MANY_REQUESTS, NULL,
            "an address may have %d connections at once; use fewer", limits->address_connections);
    answer_bare(&err, TURNED_AWAY_RETRY_S, out);
}

int door_new(const struct listener_limits *limits, struct door **out, struct err *err) {
    struct door *door = calloc(1, sizeof *door);
    if (door == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "memory is short");
    door->has_proxy = limits->proxy[0] != '\0';
    compose_turned_away(limits, &door->turned_away);
    if (door->has_proxy && !address_parse(limits->proxy, &door->proxy)) {
        err_set(err, ERR_OUT_OF_RANGE, "proxy", "\"%s\" is not a numeric address", limits->proxy);
        goto cleanup;
    }
    door->crowd = crowd_new(limits->address_connections);
    if (door->crowd == NULL) {
        err_set(err, ERR_INTERNAL, NULL, "memory is short");
        goto cleanup;
    }
    if (patience_new(limits, &door->patience, err) != 0)
        goto cleanup;
    *out = door;
    return 0;
cleanup:
    door_free(door);
    return -1;
}

void door_free(struct door *door) {
    if (door == NULL)
        return;
    patience_free(door->patience);
    crowd_free(door->crowd);
    text_release(&door->turned_away);
    free(door);
}

/* It hears why at once. What it sends is still read, for unread bytes would make
 * the kernel drop the answer on its way. */
static void turn_away(struct door *door, struct guest *guest) {
    guest->dismissed = true;
    (void)!send(guest->stay.socket, door->turned_away.bytes, door->turned_away.length,
                MSG_NOSIGNAL | MSG_DONTWAIT);
    shutdown(guest->stay.socket, SHUT_WR);
    patience_dismiss(door->patience, &guest->stay);
    atomic_fetch_add(&door->turned_away_count, 1);
}

static void leave(struct door *door, struct guest *guest) {
    patience_end(door->patience, &guest->stay);
    if (guest->counted)
        crowd_leave(door->crowd, &guest->address);
    free(guest);
}

static struct guest *enter(struct door *door, struct MHD_Connection *connection) {
    const union MHD_ConnectionInfo *from =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    const union MHD_ConnectionInfo *at =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    struct guest *guest = calloc(1, sizeof *guest);
    if (guest == NULL || at == NULL) {
        free(guest);
        return NULL;
    }
    address_of(from == NULL ? NULL : from->client_addr, &guest->address);
    guest->proxy = door->has_proxy && address_equal(&guest->address, &door->proxy);
    patience_begin(door->patience, &guest->stay, at->connect_fd);
    if (guest->proxy)
        return guest;
    enum crowd_entry entry = crowd_enter(door->crowd, &guest->address);
    guest->counted = entry == CROWD_ENTERED;
    if (entry == CROWD_FULL)
        turn_away(door, guest);
    if (entry != CROWD_NO_MEMORY)
        return guest;
    leave(door, guest);
    return NULL;
}

void door_notify(void *cls, struct MHD_Connection *connection, void **slot,
                 enum MHD_ConnectionNotificationCode what) {
    struct door *door = cls;
    if (what == MHD_CONNECTION_NOTIFY_STARTED) {
        *slot = enter(door, connection);
    } else if (*slot != NULL) {
        leave(door, *slot);
        *slot = NULL;
    }
}

struct guest *door_guest(struct MHD_Connection *connection) {
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    return info == NULL ? NULL : info->socket_context;
}

static enum MHD_Result take_forwarded(void *cls, enum MHD_ValueKind kind, const char *name,
                                      const char *value) {
    const char **last = cls;
    (void)kind;
    if (strcasecmp(name, "X-Forwarded-For") == 0 && value != NULL)
        *last = value;
    return MHD_YES;
}

void door_caller(const struct guest *guest, struct MHD_Connection *connection,
                 struct address *out) {
    const char *forwarded = NULL;
    if (guest->proxy)
        MHD_get_connection_values(connection, MHD_HEADER_KIND, take_forwarded, &forwarded);
    if (forwarded == NULL || !address_forwarded(forwarded, out))
        *out = guest->address;
}

struct patience *door_patience(struct door *door) {
    return door->patience;
}

long door_turned_away(const struct door *door) {
    return atomic_load(&door->turned_away_count);
}
