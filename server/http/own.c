/* SPDX-License-Identifier: MIT */
#include "server/http/own.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include "server/api/openapi.h"
#include "server/http/listener_state.h"

static const char *readiness(struct listener *listener) {
    struct err err = {0};
    if (atomic_load(&listener->stopping))
        return "stopping";
    struct db *db = pool_take(listener->pool, &err);
    if (db == NULL)
        return "store unreadable";
    pool_give(listener->pool, db);
    return writer_counts(listener->writer).waiting >= WRITER_QUEUE_MAX ? "busy" : "ready";
}

int own_health(struct listener *listener, const struct request *request, struct response *response,
               struct err *err) {
    (void)request;
    (void)err;
    const char *status = readiness(listener);
    response->status = strcmp(status, "ready") == 0 ? 200 : 503;
    response->content_type = "application/json";
    response->no_store = true;
    text_format(&response->body, "{\"status\":\"%s\"}", status);
    return 0;
}

int own_metrics(struct listener *listener, const struct request *request, struct response *response,
                struct err *err) {
    (void)request;
    (void)err;
    const struct writer_counts counts = writer_counts(listener->writer);
    const struct metrics_writer writer = {
        .waiting = counts.waiting, .batches = counts.batches, .writes = counts.jobs};
    response->content_type = "application/openmetrics-text; version=1.0.0; charset=utf-8";
    response->no_store = true;
    metrics_render(listener->metrics, &writer, &response->body);
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

static const char *media_of(const char *name) {
    static const struct {
        const char *ending, *media;
    } known[] = {
        {".html", "text/html; charset=utf-8"},
        {".css", "text/css; charset=utf-8"},
        {".js", "text/javascript; charset=utf-8"},
        {".svg", "image/svg+xml"},
        {".json", "application/json"},
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

/* name has no slash and no leading dot (see routes.c), so it cannot lead out of
 * the directory; a link that would is not followed. */
static int send_file(const struct listener *listener, const char *name, struct response *response,
                     struct err *err) {
    int directory = -1, file = -1, status = -1;
    char chunk[16384];
    ssize_t got = -1;
    response->content_type = media_of(name);
    directory = open(listener->web_directory, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (directory >= 0)
        file = openat(directory, name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
    if (file < 0 || response->content_type == NULL) {
        err_set(err, ERR_NOT_FOUND, NULL, "there is no such page");
        goto cleanup;
    }
    while ((got = read(file, chunk, sizeof chunk)) > 0)
        text_add(&response->body, chunk, (size_t)got);
    if (got < 0) {
        err_set(err, ERR_NOT_FOUND, NULL, "there is no such page");
        goto cleanup;
    }
    status = 0;
cleanup:
    if (file >= 0)
        close(file);
    if (directory >= 0)
        close(directory);
    return status;
}

int own_page(struct listener *listener, const struct request *request, struct response *response,
             struct err *err) {
    (void)request;
    return send_file(listener, "index.html", response, err);
}

int own_asset(struct listener *listener, const struct request *request, struct response *response,
              struct err *err) {
    return send_file(listener, request->param[0], response, err);
}
