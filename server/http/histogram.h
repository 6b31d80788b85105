/* SPDX-License-Identifier: MIT */
/* histogram: how long things took, counted by upper bounds, lock-free. Written
 * as one metric of an OpenMetrics histogram family. */
#ifndef NOONARC_HISTOGRAM_H
#define NOONARC_HISTOGRAM_H

#include <stdatomic.h>
#include <stdint.h>

#include "server/base/text.h"

#define HISTOGRAM_BOUNDS 14 /* from 0.0005 s to 10 s */

/* Zeroed memory is an empty one. */
struct histogram {
    atomic_long count[HISTOGRAM_BOUNDS + 1]; /* not cumulative; the last: beyond all bounds */
    atomic_llong sum_us;
};

void histogram_add(struct histogram *histogram, int64_t took_us);

/* Lines NAME_bucket, NAME_count, NAME_sum. label: "kind=\"read\"". */
void histogram_render(struct histogram *histogram, const char *name, const char *label,
                      struct text *out);

#endif
