/* SPDX-License-Identifier: MIT */
/* metrics: what GET /metrics counts, and its OpenMetrics 1.0 text
 * (prometheus/OpenMetrics specification, text format). Counting is lock-free
 * and may be done from any thread. */
#ifndef NOONARC_METRICS_H
#define NOONARC_METRICS_H

#include <stdbool.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/base/text.h"
#include "server/http/live.h"
#include "server/rules/writer.h"

struct metrics;

/* A fresh set of counters, all zero. NULL when memory is short. */
struct metrics *metrics_new(void);
void metrics_free(struct metrics *metrics);

/* One answered request. */
struct metrics_request {
    int route;             /* index into routes[], -1 for an unknown path */
    int status;            /* of a success, or of some error code */
    enum err_code refused; /* ERR_NONE: it was not */
    int64_t took_us;       /* from the whole request to its answer, -1: not told */
};
void metrics_request(struct metrics *metrics, const struct metrics_request *request);

/* One run handed in: ERR_NONE when it was taken, otherwise why it was not. */
void metrics_run(struct metrics *metrics, enum err_code refused);

/* A write that was committed, or lost because its transaction failed. */
void metrics_commit(struct metrics *metrics, bool committed, double now_utc_s);

/* True when the last transaction failed, no longer than within_s ago. */
bool metrics_failing(struct metrics *metrics, double now_utc_s, double within_s);

/* What others know, asked when the text is made. */
struct metrics_now {
    struct writer_counts writer;
    long writing;         /* requests that wait for the writer or are in its hands */
    long long held_bytes; /* of bodies */
    long connections;     /* open */
    long given_up;        /* connections, for slowness; since the start, as the next */
    long turned_away;     /* connections, because their address had enough */
    struct live_counts live;
};

void metrics_render(struct metrics *metrics, const struct metrics_now *now, struct text *out);

#endif
