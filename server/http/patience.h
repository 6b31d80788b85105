/* SPDX-License-Identifier: MIT */
/* patience: a deadline for every connection, so that a byte a second holds none
 * for ever. A head has the idle time and the patience to come whole; a body and
 * an answer have the patience and a second more for every LIMITS_BYTES_PER_S; a
 * request at work has no deadline. One thread looks twice a second, says why
 * (408) to whoever was slow in asking, and shuts the socket down; libmicrohttpd
 * then closes it. When nine tenths of all connections are in use, asking has to
 * be done with LIMITS_HASTE_S of patience. */
#ifndef NOONARC_PATIENCE_H
#define NOONARC_PATIENCE_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/http/limits.h"

struct patience;

/* A connection's deadline, part of what its owner keeps about it. */
struct stay {
    int socket;
    bool mute; /* not told why: it was told before */
    atomic_llong until;
    struct stay *next, *previous;
};

/* Starts the thread. limits are copied. */
int patience_new(const struct listener_limits *limits, struct patience **out, struct err *err)
    __attribute__((warn_unused_result));
/* All stays have ended. NULL is fine. */
void patience_free(struct patience *patience);

/* A connection from its beginning to just before its socket is closed. */
void patience_begin(struct patience *patience, struct stay *stay, int socket);
void patience_end(struct patience *patience, struct stay *stay);

/* What it does now; false when it was given up already and nothing can come of
 * it. A head is awaited from patience_begin on. Only by the thread that has the
 * connection. */
bool patience_head(struct patience *patience, struct stay *stay);
bool patience_body(struct patience *patience, struct stay *stay);
bool patience_came(struct stay *stay, size_t bytes); /* of that body */
bool patience_work(struct stay *stay);
bool patience_answer(struct patience *patience, struct stay *stay, size_t bytes);
/* It is turned away and has been told: a second to hear it. */
void patience_dismiss(struct patience *patience, struct stay *stay);

/* Connections on which something has come that nobody has read yet. */
long patience_unread(struct patience *patience);

/* Connections there are, and how many were given up since the start. */
long patience_connections(struct patience *patience);
long patience_given_up(struct patience *patience);

#endif
