/* SPDX-License-Identifier: MIT */
/* visit_state: what the files that handle one request share about it. */
#ifndef NOONARC_VISIT_STATE_H
#define NOONARC_VISIT_STATE_H

#include "server/http/door.h"
#include "server/http/listener_state.h"
#include "server/http/routes.h"

enum visit_phase { VISIT_RECEIVING, VISIT_WRITING, VISIT_ANSWERABLE };

struct visit {
    struct listener *listener;
    struct MHD_Connection *connection;
    struct guest *guest;       /* lives as long as the connection */
    const struct route *route; /* NULL: refused, or OPTIONS */
    struct exchange exchange;
    struct text body;
    size_t received;  /* bytes of body, kept or not */
    size_t held;      /* of those, kept, and counted in the listener */
    unsigned allowed; /* methods of the path, for Allow */
    bool head;
    bool options;
    enum visit_phase phase;
    int64_t complete_us; /* when the request was there whole; steady clock */
    int retry_after_s;   /* with err, 0: as the status has it */
    struct err err;
    struct errand errand;
    struct job job;
    bool handed_over; /* to another thread, at some time */
    struct seat
        *seat; /* the answer is a stream, whose owner libmicrohttpd becomes; NULL: it is not */
};

/* A header of the request, NULL when it was not sent. */
const char *visit_header(const struct visit *visit, const char *name);

#endif
