/* SPDX-License-Identifier: MIT */
/* metrics: what GET /metrics counts, and its OpenMetrics 1.0 text
 * (prometheus/OpenMetrics specification, text format). Counting is lock-free
 * and may be done from any thread. */
#ifndef NOONARC_METRICS_H
#define NOONARC_METRICS_H

#include "server/base/err.h"
#include "server/base/text.h"

struct metrics;

/* A fresh set of counters, all zero. NULL when memory is short. */
struct metrics *metrics_new(void);
void metrics_free(struct metrics *metrics);

/* One answered request. route: index into routes[], -1 for an unknown path;
 * status: 100..599. */
void metrics_request(struct metrics *metrics, int route, int status);

/* One run handed in: ERR_NONE when it was taken, otherwise why it was not. */
void metrics_run(struct metrics *metrics, enum err_code refused);

/* What the writer knows, asked when the text is made. */
struct metrics_writer {
    long waiting; /* writes in the queue now */
    long batches; /* committed since the start */
    long writes;  /* in those batches */
};

void metrics_render(struct metrics *metrics, const struct metrics_writer *writer, struct text *out);

#endif
