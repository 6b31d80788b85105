/* SPDX-License-Identifier: MIT */
/* live: those who watch a day, each on a connection that stays open, and what they
 * are told as it happens (server-sent events; see api/live_event.h).
 *
 * The writer only puts down what was said; a thread of its own makes events of it
 * at most four times a second and wakes who sleeps. At most LIVE_TELL_MAX events
 * are told each time, the others the next time, and a result once a second: so a
 * listener costs the same however much comes in. A listener holds a place in the
 * ring and no event of its own. One that reads too slowly to keep its place is not
 * waited for: it hears `start` with missed, and goes on from there; one that takes
 * nothing at all is cut off like any other answer nobody reads (patience.h). */
#ifndef NOONARC_LIVE_H
#define NOONARC_LIVE_H

#include <microhttpd.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/http/door.h"
#include "server/http/limits.h"
#include "server/rules/book.h"
#include "server/rules/writer.h"
#include "server/store/pool.h"

#define LIVE_TELL_MS 250
#define LIVE_TELL_MAX 128      /* events a time */
#define LIVE_WAITING_MAX 16384 /* that wait to be told; with more, all are told to look again */
#define LIVE_BEAT_S 12         /* a comment line at least so often */
#define LIVE_KEEP_S 600        /* events are kept so long after the last listener left */

struct live;
struct seat;

/* pool, book and door are borrowed until live_free. Errors: ERR_INTERNAL. */
int live_new(const struct listener_limits *limits, struct pool *pool, struct book *book,
             struct door *door, struct live **out, struct err *err)
    __attribute__((warn_unused_result));

/* For writer_tell; context is the struct live. */
void live_told(void *context, const struct change *change);

/* Ends all streams, now and from now on; wakes who sleeps, so that the daemon may be
 * stopped. */
void live_close(struct live *live);

/* No listener is left, and the writer tells nothing any more. NULL is fine. */
void live_free(struct live *live);

struct live_request {
    const char *day;           /* identifier */
    const char *last_event_id; /* the header, NULL none */
    int for_s;                 /* the stream ends after so long, 0: it does not */
    const struct address *address;
    struct MHD_Connection *connection;
    struct stay *stay; /* of the connection */
};

/* A place for one listener. ERR_NOT_FOUND, ERR_TOO_MANY_REQUESTS (the address has
 * all it may have), ERR_BUSY (all have). */
int live_enter(struct live *live, const struct live_request *request, struct seat **out,
               struct err *err) __attribute__((warn_unused_result));

/* The seat's stream, for MHD_create_response_from_callback; and its end. */
ssize_t live_read(void *seat, uint64_t position, char *buffer, size_t size);
void live_leave(void *seat);

struct live_counts {
    long listeners;   /* now */
    long events;      /* made since the start, as all below */
    long told;        /* events told, to each listener one */
    long fell_behind; /* times a listener lost its place */
    long turned_away; /* listeners */
};
struct live_counts live_counts(struct live *live);

#endif
