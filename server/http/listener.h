/* SPDX-License-Identifier: MIT */
/* listener: the service's listening socket and everything between it and the
 * handlers: limits, routing, suspended writes, compression, validators, headers.
 * Two polling threads share the connections: with libmicrohttpd 0.9.75 an epoll
 * thread stalls when exactly 128, 256 ... descriptors become ready at once. */
#ifndef NOONARC_LISTENER_H
#define NOONARC_LISTENER_H

#include "server/base/err.h"
#include "server/http/limits.h"
#include "server/rules/almanac.h"
#include "server/rules/book.h"
#include "server/rules/steady.h"
#include "server/rules/writer.h"
#include "server/store/pool.h"

#define LISTENER_THREADS 2
/* As many read connections never make one wait: the threads, and who tells of results. */
#define LISTENER_READERS (LISTENER_THREADS + 1)

struct listener_options {
    const char *address; /* IPv4 or IPv6, numeric */
    unsigned port;       /* 0: a free one */
    struct listener_limits limits;
    const char *web_directory; /* of the pages; borrowed */
};

struct listener;

/* What answers are made of: borrowed until listener_free. */
struct listener_house {
    struct pool *pool;     /* of LISTENER_READERS */
    struct steady *steady; /* of LISTENER_THREADS */
    struct writer *writer;
    struct almanac *almanac;
    struct book *book;
};

/* Starts to listen and answer. ERR_NETWORK when the address cannot be listened on,
 * ERR_OUT_OF_RANGE for one that is none. */
int listener_new(const struct listener_options *options, const struct listener_house *house,
                 struct listener **out, struct err *err) __attribute__((warn_unused_result));

/* The port listened on. */
unsigned listener_port(const struct listener *listener);

/* Lets in who has connected by now and nobody else, reports "stopping" as its
 * health, and waits until every request sent so far is read and every one under
 * way is answered, timeout_s at most. The writer must
 * still run. Returns how many were left unanswered. */
int listener_drain(struct listener *listener, int timeout_s);

/* Closes. Writes already handed to the writer, which must still run, are waited
 * for. NULL is fine. */
void listener_free(struct listener *listener);

#endif
