/* SPDX-License-Identifier: MIT */
/* deadend: a listener that treats connections badly, one after the other, as
 * networks and dying servers do, and remembers what was sent to it. */
#ifndef NOONARC_DEADEND_H
#define NOONARC_DEADEND_H

#include <pthread.h>

#define DEADEND_REQUESTS_MAX 16

enum deed {
    DEED_CLOSE,  /* reads the request and closes without a word */
    DEED_HALF,   /* closes in the middle of an answer */
    DEED_PAGE,   /* 200 and a page of HTML, as sign-in pages of networks do */
    DEED_AWAY,   /* 302 to somewhere else */
    DEED_BUSY,   /* 503 with a problem document */
    DEED_RATE,   /* 429 with a problem document */
    DEED_REFUSE, /* 422 with a problem document */
    DEED_ACCEPT, /* 201 with run 7 */
    DEED_HANG    /* reads the request and keeps the line open until deadend_stop */
};

struct deadend {
    char base[64];
    int listener;
    pthread_t thread;
    const enum deed *deed; /* borrowed */
    int deeds;
    int requests;                        /* received; whole once deadend_stop returned */
    char *request[DEADEND_REQUESTS_MAX]; /* owned, header and body */
    int held;                            /* connection kept open, -1 none */
};

/* Listens on a free loopback port and does one deed per connection; connections
 * beyond them are refused. */
void deadend_start(struct deadend *deadend, const enum deed *deeds, int count);
void deadend_stop(struct deadend *deadend);

/* Waits until so many requests have come in. */
void deadend_await(struct deadend *deadend, int requests);

/* The value of a header of the nth request; "" when there is none. Static memory. */
const char *deadend_header(const struct deadend *deadend, int nth, const char *name);

/* The body of the nth request. */
const char *deadend_body(const struct deadend *deadend, int nth);

/* A loopback address where nobody listens. */
void deadend_nobody(char *base, int size);

#endif
