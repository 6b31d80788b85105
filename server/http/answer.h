/* SPDX-License-Identifier: MIT */
/* answer: a finished response onto the connection: compression, validator,
 * caching and the security headers that every answer carries. */
#ifndef NOONARC_ANSWER_H
#define NOONARC_ANSWER_H

#include <microhttpd.h>
#include <stdbool.h>

#include "server/api/exchange.h"

struct answer_request {
    struct MHD_Connection *connection;
    struct response *response; /* its body is taken */
    bool cacheable;            /* it answers a GET or HEAD */
    unsigned allowed;          /* for Allow, 0: no such header */
    bool close;                /* the connection ends with this answer */
};

/* status: what was sent, 304 included. */
enum MHD_Result answer_send(const struct answer_request *asked, int *status);

#endif
