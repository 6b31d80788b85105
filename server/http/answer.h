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
    int retry_after_s;         /* for Retry-After, 0: none but for a 503 */
};

/* status: what was sent, 304 included. */
enum MHD_Result answer_send(const struct answer_request *asked, int *status);

/* The head of an answer whose body a reader makes as it comes, until it ends the
 * stream; asked->response has the type and no body. reader and release as in
 * MHD_create_response_from_callback: release is called in any case. */
enum MHD_Result answer_stream(const struct answer_request *asked, MHD_ContentReaderCallback reader,
                              void *context, MHD_ContentReaderFreeCallback release);

/* The whole of an answer, head and problem document, for a connection on which
 * libmicrohttpd has none to give. It says that the connection is closed. Appended
 * to an empty out. */
void answer_bare(const struct err *err, int retry_after_s, struct text *out);

#endif
