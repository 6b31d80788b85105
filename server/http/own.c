/* SPDX-License-Identifier: MIT */
#include "server/http/own.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "server/api/openapi.h"
#include "server/base/instant.h"
#include "server/http/clock.h"
#include "server/http/listener_state.h"

/* A transaction that failed this lately means that the next one may fail too; who
 * asked later than that is let in to try. */
#define FAILURE_HOLDS_S 30.0

static const char *readiness(struct listener *listener, double now_utc_s) {
    struct err err = {0};
    if (atomic_load(&listener->stopping))
        return "stopping";
    struct db *db = pool_take(listener->pool, &err);
    if (db == NULL)
        return "store unreadable";
    pool_give(listener->pool, db);
    if (metrics_failing(listener->metrics, now_utc_s, FAILURE_HOLDS_S))
        return "store unwritable";
    return atomic_load(&listener->writing) >= listener->limits.queue ? "busy" : "ready";
}

static void say_status(const char *status, struct response *response) {
    response->content_type = "application/json";
    response->no_store = true;
    text_format(&response->body, "{\"status\":\"%s\"}", status);
}

int own_health(struct listener *listener, const struct request *request, struct response *response,
               struct err *err) {
    (void)err;
    const char *status = readiness(listener, request->now_utc_s);
    response->status = strcmp(status, "ready") == 0 ? 200 : 503;
    say_status(status, response);
    return 0;
}

int own_alive(struct listener *listener, const struct request *request, struct response *response,
              struct err *err) {
    (void)listener;
    (void)request;
    (void)err;
    say_status("alive", response);
    return 0;
}

int own_metrics(struct listener *listener, const struct request *request, struct response *response,
                struct err *err) {
    (void)request;
    (void)err;
    struct patience *patience = door_patience(listener->door);
    const struct metrics_now now = {
        .writer = writer_counts(listener->writer),
        .writing = atomic_load(&listener->writing),
        .held_bytes = atomic_load(&listener->held),
        .connections = patience_connections(patience),
        .given_up = patience_given_up(patience),
        .turned_away = door_turned_away(listener->door),
        .live = live_counts(listener->live),
    };
    response->content_type = "application/openmetrics-text; version=1.0.0; charset=utf-8";
    response->no_store = true;
    metrics_render(listener->metrics, &now, &response->body);
    return 0;
}

/* Of this moment, not of the request's beginning: clocks are measured against it. */
int own_time(struct listener *listener, const struct request *request, struct response *response,
             struct err *err) {
    char utc[INSTANT_TEXT];
    (void)listener;
    (void)request;
    (void)err;
    instant_format(clock_utc_s(), 6, utc, sizeof utc);
    response->content_type = "application/json";
    response->no_store = true;
    text_format(&response->body, "{\"utc\":\"%s\"}", utc);
    return 0;
}

int own_openapi(struct listener *listener, const struct request *request, struct response *response,
                struct err *err) {
    (void)listener;
    (void)request;
    (void)err;
    response->content_type = "application/json";
    text_put(&response->body, openapi_json);
    return 0;
}

int own_live(struct listener *listener, const struct request *request, struct response *response,
             struct err *err) {
    (void)listener;
    (void)request;
    (void)response;
    return err_set(err, ERR_INTERNAL, NULL, "a stream is no answer that ends");
}

static const char *media_of(const char *name) {
    static const struct {
        const char *ending, *media;
    } known[] = {
        {".html", "text/html; charset=utf-8"},
        {".css", "text/css; charset=utf-8"},
        {".js", "text/javascript; charset=utf-8"},
        {".svg", "image/svg+xml"},
        {".json", "application/json"},
        {".webmanifest", "application/manifest+json"},
        {".png", "image/png"},
        {".wasm", "application/wasm"},
    };
    size_t length = strlen(name);
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        size_t ending = strlen(known[i].ending);
        if (length > ending && strcmp(name + length - ending, known[i].ending) == 0)
            return known[i].media;
    }
    return NULL;
}

/* Most characters of a file's name below the folder of the pages. */
#define FILE_NAME_MAX 120

/* The bytes of a file, appended; false when there is no such file. name has no
 * leading dot and no .. (see routes.c), so it cannot lead out of the folder; a link
 * that would is not followed. */
static bool read_file(int folder, const char *name, struct text *out) {
    char chunk[16384];
    ssize_t got;
    int file = openat(folder, name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
    if (file < 0)
        return false;
    while ((got = read(file, chunk, sizeof chunk)) > 0)
        text_add(out, chunk, (size_t)got);
    close(file);
    return got == 0;
}

/* Beside each file that gains by it lies its gzip form, made when the pages were built. */
static int send_file(const struct listener *listener, const char *name,
                     const struct request *request, struct response *response, struct err *err) {
    char packed[FILE_NAME_MAX + 4];
    int status = -1;
    int folder = open(listener->web_directory, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    response->content_type = media_of(name);
    snprintf(packed, sizeof packed, "%s.gz", name);
    if (folder < 0 || response->content_type == NULL)
        goto cleanup;
    response->packed = request->takes_gzip && read_file(folder, packed, &response->body);
    if (response->packed || read_file(folder, name, &response->body))
        status = 0;
    response->is_page = status == 0;
cleanup:
    if (folder >= 0)
        close(folder);
    return status == 0 ? 0 : err_set(err, ERR_NOT_FOUND, NULL, "there is no such page");
}

/* The file of a page is named by the fixed words of its address: index.html for /,
 * days-day-sites-site.html for /days/{day}/sites/{site}. */
static void page_name(const char *pattern, char out[FILE_NAME_MAX]) {
    size_t length = 0;
    for (const char *at = pattern + 1; *at != '\0' && length < FILE_NAME_MAX - 6; at++)
        if (*at != '{' && *at != '}')
            out[length++] = *at == '/' ? '-' : *at;
    snprintf(out + length, FILE_NAME_MAX - length, "%s.html", length == 0 ? "index" : "");
}

int own_page(struct listener *listener, const struct request *request, struct response *response,
             struct err *err) {
    char name[FILE_NAME_MAX];
    page_name(request->pattern, name);
    return send_file(listener, name, request, response, err);
}

/* Names of assets carry a hash of their content. */
int own_asset(struct listener *listener, const struct request *request, struct response *response,
              struct err *err) {
    char name[FILE_NAME_MAX];
    response->lasting = true;
    snprintf(name, sizeof name, "assets/%s", request->param[0]);
    return send_file(listener, name, request, response, err);
}

int own_worker(struct listener *listener, const struct request *request, struct response *response,
               struct err *err) {
    return send_file(listener, "worker.js", request, response, err);
}

bool own_missing(struct listener *listener, const struct request *request,
                 struct response *response) {
    struct err err = {0};
    if (send_file(listener, "missing.html", request, response, &err) != 0)
        return false;
    response->status = 404;
    return true;
}
