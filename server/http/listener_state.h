/* SPDX-License-Identifier: MIT */
/* listener_state: what the files of the HTTP edge share about it. */
#ifndef NOONARC_LISTENER_STATE_H
#define NOONARC_LISTENER_STATE_H

#include <microhttpd.h>
#include <stdatomic.h>

#include "server/http/door.h"
#include "server/http/listener.h"
#include "server/http/live.h"
#include "server/http/metrics.h"
#include "server/http/quota.h"
#include "server/rules/labourer.h"

struct listener {
    struct MHD_Daemon *daemon;
    struct pool *pool;
    struct steady *steady;
    struct writer *writer;
    struct labourer *labourer; /* owned */
    struct almanac *almanac;
    struct book *book;
    struct metrics *metrics;
    struct door *door;
    struct quota *quota;
    struct live *live;
    struct listener_limits limits;
    const char *web_directory;
    unsigned port;
    atomic_int under_way; /* requests begun and not yet answered */
    atomic_int writing;   /* of those, asleep until writer and labourer are done */
    atomic_llong held;    /* bytes of bodies in memory */
    atomic_bool stopping; /* new callers are refused */
    atomic_bool closing;  /* new writes too */
};

#endif
