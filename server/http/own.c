/* SPDX-License-Identifier: MIT */
#include "server/http/own.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include "server/api/openapi.h"
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
    };
    response->content_type = "application/openmetrics-text; version=1.0.0; charset=utf-8";
    response->no_store = true;
    metrics_render(listener->metrics, &now, &response->body);
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
