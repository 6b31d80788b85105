/* SPDX-License-Identifier: MIT */
/* net: one HTTP exchange with the server. Certificates are checked, redirects
 * are not followed (a key must not travel to another place), an answer is at
 * most 64 MB, connecting takes at most 5 s and the whole exchange 30 s. */
#ifndef NOONARC_NET_H
#define NOONARC_NET_H

#include <stdbool.h>

#include "server/base/err.h"
#include "server/base/text.h"

#define NET_ANSWER_MAX ((size_t)64 << 20)
#define NET_CONNECT_S 5L
#define NET_TOTAL_S 30L

struct net_request {
    const char *method;          /* "GET", "POST", "PUT", "DELETE" */
    const char *path;            /* from "/api/v1/..." on, with its query */
    const char *key;             /* secret for Authorization, NULL: none */
    const char *idempotency_key; /* NULL: none */
    const char *content_type;    /* of the body */
    const char *body;            /* NULL: none */
    size_t body_length;
};

struct net_answer {
    int status;
    double asked_utc_s, heard_utc_s; /* by this computer's clock: the request was about to go out,
                                        the answer began to come; the connection stood */
    struct text body;
};

void net_answer_init(struct net_answer *answer);
void net_answer_release(struct net_answer *answer);

/* "http(s)://host[:port][/prefix]" without user, query or fragment. */
bool net_server_valid(const char *server);

/* True when a key sent there could be read on the way: plain http to another machine. */
bool net_server_exposed(const char *server);

/* Sends and waits for the whole answer, whatever its status. Returns -1 with
 * ERR_NETWORK when there was none: the server may or may not have acted. */
int net_exchange(const char *server, const struct net_request *request, struct net_answer *answer,
                 struct err *err) __attribute__((warn_unused_result));

/* A stream that goes on: every piece of it as it comes. take returns false to end it. */
struct net_stream {
    const char *path;          /* from "/api/v1/..." on, with its query */
    const char *last_event_id; /* "" none */
    bool (*take)(void *context, const char *bytes, size_t length);
    void *context;
};

/* Listens until the stream ends, or take ends it. The body of an answer that is not a
 * 2xx goes to answer, as does the status of any. Silence for NET_SILENCE_S is no answer. Returns
 * -1 with ERR_NETWORK when the connection fails or falls silent. */
#define NET_SILENCE_S 40
int net_listen(const char *server, const struct net_stream *stream, struct net_answer *answer,
               struct err *err) __attribute__((warn_unused_result));

/* Appends a query value, percent-encoded (RFC 3986). */
void net_encode(struct text *out, const char *value);

#endif
