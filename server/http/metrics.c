/* SPDX-License-Identifier: MIT */
/* metrics: a table of counters by route and status. The statuses we can answer
 * with are few, so that the table is small and fixed. */
#include "server/http/metrics.h"

#include <stdatomic.h>
#include <stdlib.h>

#include "server/http/routes.h"

static const int statuses[] = {200, 201, 204, 304, 400, 401, 404, 405,
                               409, 413, 415, 422, 500, 502, 503};
#define STATUS_COUNT ((int)(sizeof statuses / sizeof statuses[0]))

struct metrics {
    atomic_long run[ERR_CODE_COUNT];
    atomic_long *request; /* (routes_count + 1) rows of STATUS_COUNT; the first: no route */
};

struct metrics *metrics_new(void) {
    struct metrics *metrics = calloc(1, sizeof *metrics);
    if (metrics == NULL)
        return NULL;
    metrics->request = calloc((size_t)(routes_count + 1) * STATUS_COUNT, sizeof(atomic_long));
    if (metrics->request == NULL) {
        free(metrics);
        return NULL;
    }
    return metrics;
}

void metrics_free(struct metrics *metrics) {
    if (metrics == NULL)
        return;
    free(metrics->request);
    free(metrics);
}

void metrics_request(struct metrics *metrics, int route, int status) {
    for (int i = 0; i < STATUS_COUNT; i++)
        if (statuses[i] == status)
            atomic_fetch_add(&metrics->request[(route + 1) * STATUS_COUNT + i], 1);
}

void metrics_run(struct metrics *metrics, enum err_code refused) {
    atomic_fetch_add(&metrics->run[refused], 1);
}

static void render_requests(struct metrics *metrics, struct text *out) {
    text_put(out, "# TYPE noonarc_http_requests counter\n"
                  "# HELP noonarc_http_requests Answered requests by route and status.\n");
    for (int row = 0; row <= routes_count; row++) {
        const struct route *route = row == 0 ? NULL : &routes[row - 1];
        for (int i = 0; i < STATUS_COUNT; i++) {
            long count = atomic_load(&metrics->request[row * STATUS_COUNT + i]);
            if (count != 0)
                text_format(out,
                            "noonarc_http_requests_total{method=\"%s\",route=\"%s\","
                            "status=\"%d\"} %ld\n",
                            route == NULL ? "" : method_name(route->method),
                            route == NULL ? "none" : route->pattern, statuses[i], count);
        }
    }
}

static void render_runs(struct metrics *metrics, struct text *out) {
    text_format(out,
                "# TYPE noonarc_runs_accepted counter\n"
                "# HELP noonarc_runs_accepted Runs stored and reduced.\n"
                "noonarc_runs_accepted_total %ld\n"
                "# TYPE noonarc_runs_refused counter\n"
                "# HELP noonarc_runs_refused Runs turned away, by reason.\n",
                atomic_load(&metrics->run[ERR_NONE]));
    for (int code = ERR_NONE + 1; code < ERR_CODE_COUNT; code++) {
        long count = atomic_load(&metrics->run[code]);
        if (count != 0)
            text_format(out, "noonarc_runs_refused_total{reason=\"%s\"} %ld\n",
                        err_name((enum err_code)code), count);
    }
}

void metrics_render(struct metrics *metrics, const struct metrics_writer *writer,
                    struct text *out) {
    render_requests(metrics, out);
    render_runs(metrics, out);
    text_format(out,
                "# TYPE noonarc_writer_waiting gauge\n"
                "# HELP noonarc_writer_waiting Writes waiting for the writer.\n"
                "noonarc_writer_waiting %ld\n"
                "# TYPE noonarc_writer_batches counter\n"
                "# HELP noonarc_writer_batches Transactions committed by the writer.\n"
                "noonarc_writer_batches_total %ld\n"
                "# TYPE noonarc_writer_writes counter\n"
                "# HELP noonarc_writer_writes Writes in those transactions.\n"
                "noonarc_writer_writes_total %ld\n"
                "# EOF\n",
                writer->waiting, writer->batches, writer->writes);
}
