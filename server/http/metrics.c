/* SPDX-License-Identifier: MIT */
/* metrics: a table of counters by route and status. The statuses we can answer
 * with are few, so that the table is small and fixed: those of a success, and
 * those that the error codes have. */
#include "server/http/metrics.h"

#include <stdatomic.h>
#include <stdlib.h>

#include "server/http/histogram.h"
#include "server/http/routes.h"
#include "server/rules/password.h"

#define STATUSES_MAX (4 + ERR_CODE_COUNT)
static const int successes[] = {200, 201, 204, 304};

enum kind { KIND_READ, KIND_WRITE, KINDS };
static const char *const kind_labels[KINDS] = {"kind=\"read\"", "kind=\"write\""};

struct metrics {
    int status[STATUSES_MAX];
    int statuses;
    atomic_long run[ERR_CODE_COUNT];
    atomic_long refused[ERR_CODE_COUNT];
    struct histogram took[KINDS];
    atomic_llong committed_us; /* the last commit, microseconds since 1970 UTC; 0 none yet */
    atomic_llong failed_us;    /* the last transaction that failed, likewise */
    atomic_long *request;      /* (routes_count + 1) rows of statuses; the first: no route */
};

static int find_status(const struct metrics *metrics, int status) {
    int at = 0;
    while (at < metrics->statuses && metrics->status[at] != status)
        at++;
    return at;
}

static void know_status(struct metrics *metrics, int status) {
    if (find_status(metrics, status) == metrics->statuses)
        metrics->status[metrics->statuses++] = status;
}

struct metrics *metrics_new(void) {
    struct metrics *metrics = calloc(1, sizeof *metrics);
    if (metrics == NULL)
        return NULL;
    for (size_t i = 0; i < sizeof successes / sizeof successes[0]; i++)
        know_status(metrics, successes[i]);
    for (int code = ERR_NONE + 1; code < ERR_CODE_COUNT; code++)
        know_status(metrics, err_status((enum err_code)code));
    metrics->request =
        calloc((size_t)(routes_count + 1) * (size_t)metrics->statuses, sizeof(atomic_long));
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

void metrics_request(struct metrics *metrics, const struct metrics_request *request) {
    int at = find_status(metrics, request->status);
    if (at < metrics->statuses)
        atomic_fetch_add(&metrics->request[(request->route + 1) * metrics->statuses + at], 1);
    if (request->refused != ERR_NONE)
        atomic_fetch_add(&metrics->refused[request->refused], 1);
    if (request->route < 0 || request->took_us < 0)
        return;
    enum kind kind = routes[request->route].method == METHOD_GET ? KIND_READ : KIND_WRITE;
    histogram_add(&metrics->took[kind], request->took_us);
}

void metrics_run(struct metrics *metrics, enum err_code refused) {
    atomic_fetch_add(&metrics->run[refused], 1);
}

void metrics_commit(struct metrics *metrics, bool committed, double now_utc_s) {
    atomic_store(committed ? &metrics->committed_us : &metrics->failed_us,
                 (long long)(now_utc_s * 1e6));
}

bool metrics_failing(struct metrics *metrics, double now_utc_s, double within_s) {
    long long failed_us = atomic_load(&metrics->failed_us);
    return failed_us > atomic_load(&metrics->committed_us) &&
           now_utc_s - (double)failed_us * 1e-6 <= within_s;
}

static void begin(const char *name, const char *type, const char *unit, const char *help,
                  struct text *out) {
    text_format(out, "# TYPE %s %s\n", name, type);
    if (unit[0] != '\0')
        text_format(out, "# UNIT %s %s\n", name, unit);
    text_format(out, "# HELP %s %s\n", name, help);
}

static void one_counter(const char *name, const char *help, long value, struct text *out) {
    begin(name, "counter", "", help, out);
    text_format(out, "%s_total %ld\n", name, value);
}

static void one_gauge(const char *name, const char *unit, const char *help, long long value,
                      struct text *out) {
    begin(name, "gauge", unit, help, out);
    text_format(out, "%s %lld\n", name, value);
}

static void render_requests(struct metrics *metrics, struct text *out) {
    begin("noonarc_http_requests", "counter", "", "Answered requests by route and status.", out);
    for (int row = 0; row <= routes_count; row++) {
        const struct route *route = row == 0 ? NULL : &routes[row - 1];
        for (int i = 0; i < metrics->statuses; i++) {
            long count = atomic_load(&metrics->request[row * metrics->statuses + i]);
            if (count != 0)
                text_format(out,
                            "noonarc_http_requests_total{method=\"%s\",route=\"%s\","
                            "status=\"%d\"} %ld\n",
                            route == NULL ? "" : method_name(route->method),
                            route == NULL ? "none" : route->pattern, metrics->status[i], count);
        }
    }
}

static void render_reasons(const char *name, const char *help, atomic_long *counts,
                           struct text *out) {
    begin(name, "counter", "", help, out);
    for (int code = ERR_NONE + 1; code < ERR_CODE_COUNT; code++) {
        long count = atomic_load(&counts[code]);
        if (count != 0)
            text_format(out, "%s_total{reason=\"%s\"} %ld\n", name, err_name((enum err_code)code),
                        count);
    }
}

static void render_took(struct metrics *metrics, struct text *out) {
    static const char name[] = "noonarc_http_request_duration_seconds";
    begin(name, "histogram", "seconds", "From the whole request to its answer, not sent yet.", out);
    for (int kind = 0; kind < KINDS; kind++)
        histogram_render(&metrics->took[kind], name, kind_labels[kind], out);
}

static void render_commits(const struct writer_counts *writer, struct text *out) {
    static const char name[] = "noonarc_writer_commit_writes";
    long long below = 0;
    begin(name, "histogram", "", "Writes in one commit.", out);
    for (int i = 0; i < WRITER_SIZES; i++) {
        below += writer->size[i];
        text_format(out, "%s_bucket{le=\"%d.0\"} %lld\n", name, 1 << i, below);
    }
    text_format(out, "%s_bucket{le=\"+Inf\"} %lld\n%s_count %lld\n%s_sum %lld\n", name, below, name,
                below, name, (long long)writer->jobs);
}

static void render_writer(struct metrics *metrics, const struct metrics_now *now,
                          struct text *out) {
    static const char last[] = "noonarc_writer_last_commit_timestamp_seconds";
    long long committed_us = atomic_load(&metrics->committed_us);
    one_gauge("noonarc_writer_waiting", "", "Writes waiting for the writer or in its hands.",
              now->writing, out);
    one_counter("noonarc_writer_failed", "Writes lost to a failed transaction, and refused.",
                (long)now->writer.failed, out);
    render_commits(&now->writer, out);
    begin(last, "gauge", "seconds", "When a write was last committed; absent before the first.",
          out);
    if (committed_us != 0)
        text_format(out, "%s %.6f\n", last, (double)committed_us * 1e-6);
}

static void render_connections(const struct metrics_now *now, struct text *out) {
    one_gauge("noonarc_http_connections", "", "Open connections.", now->connections, out);
    one_counter("noonarc_http_connections_turned_away",
                "Connections refused because their address had all it may have.", now->turned_away,
                out);
    one_counter("noonarc_http_connections_given_up",
                "Connections closed because asking or listening took too long.", now->given_up,
                out);
    one_gauge("noonarc_http_bodies_bytes", "bytes", "Bodies of requests in memory.",
              now->held_bytes, out);
}

static void render_live(const struct live_counts *live, struct text *out) {
    one_gauge("noonarc_live_listeners", "", "Connections that watch a day.", live->listeners, out);
    one_counter("noonarc_live_events", "Events that were made to be told.", live->events, out);
    one_counter("noonarc_live_told", "Events told, to each listener one.", live->told, out);
    one_counter("noonarc_live_fell_behind", "Times a listener was too slow to hear all.",
                live->fell_behind, out);
    one_counter("noonarc_live_turned_away", "Listeners refused, because there were enough.",
                live->turned_away, out);
}

void metrics_render(struct metrics *metrics, const struct metrics_now *now, struct text *out) {
    render_requests(metrics, out);
    render_took(metrics, out);
    render_reasons("noonarc_http_requests_refused", "Requests answered with a problem, by reason.",
                   metrics->refused, out);
    one_counter("noonarc_runs_accepted", "Runs stored and reduced.",
                atomic_load(&metrics->run[ERR_NONE]), out);
    render_reasons("noonarc_runs_refused", "Runs turned away, by reason.", metrics->run, out);
    render_writer(metrics, now, out);
    one_counter("noonarc_passwords_computed",
                "Times a password was hashed, to look at it or to keep it.",
                (long)password_computations(), out);
    render_connections(now, out);
    render_live(&now->live, out);
    text_put(out, "# EOF\n");
}
