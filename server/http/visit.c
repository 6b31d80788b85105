/* SPDX-License-Identifier: MIT */
/* visit: the states of one request. Everything it owns lives in struct visit,
 * which libmicrohttpd keeps for us and hands back at the end. */
#include "server/http/visit.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

#include "server/api/problem.h"
#include "server/api/resources.h"
#include "server/base/log.h"
#include "server/http/answer.h"
#include "server/http/routes.h"
#include "server/rules/caller.h"

/* A body that is refused is read on to here, so that the client has ears for the
 * answer; whoever sends more than this is cut off. */
#define DISCARD_MAX ((size_t)8 * 1024 * 1024)

enum state { STATE_RECEIVING, STATE_WRITING, STATE_ANSWERABLE };

struct visit {
    struct listener *listener;
    struct MHD_Connection *connection;
    const struct route *route; /* NULL: refused, or OPTIONS */
    struct exchange exchange;
    struct text body;
    size_t received;  /* bytes of body, kept or not */
    unsigned allowed; /* methods of the path, for Allow */
    bool head;
    bool options;
    enum state state;
    struct err err;
    struct job job;
};

static const char *header(const struct visit *visit, const char *name) {
    return MHD_lookup_connection_value(visit->connection, MHD_HEADER_KIND, name);
}

static double now_utc_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* "application/json; charset=utf-8" is application/json. */
static bool media_is(const char *content_type, const char *wanted) {
    if (content_type == NULL)
        return false;
    size_t length = strcspn(content_type, "; \t");
    return length == strlen(wanted) && strncasecmp(content_type, wanted, length) == 0;
}

static enum MHD_Result take_query(void *cls, enum MHD_ValueKind kind, const char *name,
                                  const char *value) {
    struct visit *visit = cls;
    struct request *request = &visit->exchange.request;
    (void)kind;
    if (!route_takes_query(visit->route, name) || request->queries == EXCHANGE_QUERY_MAX ||
        request_query(request, name) != NULL) {
        err_set(&visit->err, ERR_BAD_QUERY, name, "this address takes %s%s, each once at most",
                visit->route->query[0] == '\0' ? "no query parameter" : "only ",
                visit->route->query);
        return MHD_NO;
    }
    request->query[request->queries++] =
        (struct query_value){.name = name, .value = value == NULL ? "" : value};
    return MHD_YES;
}

static int check_media(struct visit *visit) {
    static const char *const wanted[] = {
        [BODY_NONE] = NULL, [BODY_JSON] = "application/json", [BODY_CSV] = "text/csv"};
    const char *media = wanted[visit->route->body];
    if (media == NULL || media_is(visit->exchange.request.content_type, media))
        return 0;
    return err_set(&visit->err, ERR_MEDIA_TYPE, "Content-Type", "send the body as %s", media);
}

/* Everything that can be said before the body is there. */
static void admit(struct visit *visit, const char *method, const char *path) {
    struct request *request = &visit->exchange.request;
    visit->head = strcmp(method, "HEAD") == 0;
    visit->options = strcmp(method, "OPTIONS") == 0;
    request->method = visit->head ? METHOD_GET : method_parse(method);
    request->path = path;
    request->authorization = header(visit, MHD_HTTP_HEADER_AUTHORIZATION);
    request->idempotency_key = header(visit, "Idempotency-Key");
    request->content_type = header(visit, MHD_HTTP_HEADER_CONTENT_TYPE);
    request->now_utc_s = now_utc_s();

    const struct route *route = routes_find(request, &visit->allowed);
    if (visit->allowed == 0)
        err_set(&visit->err, ERR_NOT_FOUND, NULL, "there is nothing at this address");
    else if (route == NULL && !visit->options)
        err_set(&visit->err, ERR_METHOD_NOT_ALLOWED, NULL,
                "see the header Allow for what this address takes");
    visit->route = route;
    if (route == NULL)
        return;

    text_init(&visit->body, route_body_max(route));
    if (route->caller != CALLER_ANYONE && request->authorization == NULL) {
        /* The very words of a wrong key. */
        const struct caller nobody = {.role = ROLE_ANYONE};
        if (caller_may(&nobody, ROLE_ORGANISER, NULL, &visit->err) != 0)
            return;
    }
    if (check_media(visit) != 0)
        return;
    if (route->query != NULL)
        MHD_get_connection_values(visit->connection, MHD_GET_ARGUMENT_KIND, take_query, visit);
}

static int work_write(struct change *change, void *context) {
    struct visit *visit = context;
    return visit->route->write(change, &visit->exchange, &visit->err);
}

/* The visit may be over as soon as the connection goes on. */
static void wake(struct visit *visit) {
    struct listener *listener = visit->listener;
    visit->state = STATE_ANSWERABLE;
    MHD_resume_connection(visit->connection);
    atomic_fetch_sub(&listener->writing, 1);
}

/* On the writer's thread: from here on the connection may go on at once. */
static void work_done(void *context, bool committed) {
    struct visit *visit = context;
    if (!committed)
        err_set(&visit->err, ERR_STORAGE, NULL, "it could not be stored; try again");
    wake(visit);
}

static int run_read(struct visit *visit) {
    struct listener *listener = visit->listener;
    struct db *db = pool_take(listener->pool, &visit->err);
    if (db == NULL)
        return -1;
    const struct lookup lookup = {.db = db, .almanac = listener->almanac};
    int status = visit->route->read(&lookup, &visit->exchange, &visit->err);
    pool_give(listener->pool, db);
    return status;
}

static void hand_over(struct visit *visit) {
    struct listener *listener = visit->listener;
    /* Counted before looking: whoever closes sets the flag before looking at the count. */
    atomic_fetch_add(&listener->writing, 1);
    if (atomic_load(&listener->closing)) {
        atomic_fetch_sub(&listener->writing, 1);
        err_set(&visit->err, ERR_BUSY, NULL, "the service is stopping; try again soon");
        return;
    }
    visit->state = STATE_WRITING;
    visit->job = (struct job){.work = work_write, .done = work_done, .context = visit};
    /* Asleep before it is handed over: the writer may be done before we return. */
    MHD_suspend_connection(visit->connection);
    if (writer_submit(listener->writer, &visit->job, &visit->err) != 0)
        wake(visit);
}

/* The body is complete: handle it, here or by the writer. */
static void handle(struct visit *visit) {
    const struct route *route = visit->route;
    struct request *request = &visit->exchange.request;
    visit->state = STATE_ANSWERABLE;
    if (route == NULL || visit->err.code != ERR_NONE)
        return;
    if (visit->body.failed) {
        err_set(&visit->err, ERR_INTERNAL, NULL, "memory is short");
        return;
    }
    request->body = visit->body.bytes;
    request->body_length = visit->body.length;
    if (route->own != NULL) {
        route->own(visit->listener, request, &visit->exchange.response, &visit->err);
        return;
    }
    if (run_read(visit) != 0 || route->write == NULL)
        return;

    hand_over(visit);
}

static void refuse_size(struct visit *visit) {
    if (visit->body.maximum == 0)
        err_set(&visit->err, ERR_BODY_TOO_LARGE, NULL, "nothing is to be sent here");
    else
        err_set(&visit->err, ERR_BODY_TOO_LARGE, NULL, "a body here has %zu bytes at most",
                visit->body.maximum);
}

static void receive(struct visit *visit, const char *bytes, size_t length) {
    visit->received += length;
    if (visit->route == NULL || visit->err.code != ERR_NONE)
        return;
    if (visit->received > visit->body.maximum)
        refuse_size(visit);
    else
        text_add(&visit->body, bytes, length);
}

/* Counts a run that was handed in; there is one way in for runs. */
static void count(struct visit *visit, int status) {
    struct metrics *metrics = visit->listener->metrics;
    metrics_request(metrics, visit->route == NULL ? -1 : (int)(visit->route - routes), status);
    if (visit->route != NULL && visit->route->write == post_runs)
        metrics_run(metrics, visit->err.code);
}

static enum MHD_Result answer(struct visit *visit) {
    struct response *response = &visit->exchange.response;
    if (visit->err.code == ERR_NONE && response->body.failed)
        err_set(&visit->err, ERR_INTERNAL, NULL, "the answer does not fit");
    if (visit->err.code != ERR_NONE)
        problem_render(&visit->err, response);
    else if (visit->options)
        response->status = MHD_HTTP_NO_CONTENT;
    const struct answer_request asked = {
        .connection = visit->connection,
        .response = response,
        .cacheable = visit->exchange.request.method == METHOD_GET,
        .allowed = visit->options || visit->err.code == ERR_METHOD_NOT_ALLOWED ? visit->allowed : 0,
        .close = atomic_load(&visit->listener->stopping),
    };
    int status = 0;
    enum MHD_Result result = answer_send(&asked, &status);
    count(visit, status);
    return result;
}

static struct visit *visit_new(struct listener *listener, struct MHD_Connection *connection) {
    struct visit *visit = calloc(1, sizeof *visit);
    if (visit == NULL)
        return NULL;
    visit->listener = listener;
    visit->connection = connection;
    exchange_init(&visit->exchange);
    text_init(&visit->body, 0);
    atomic_fetch_add(&listener->under_way, 1);
    return visit;
}

/* A refusal can go out at once where the client has sent no body yet and waits,
 * or where it announces more than we would read to the end. */
static bool answer_now(const struct visit *visit) {
    const char *length = header(visit, MHD_HTTP_HEADER_CONTENT_LENGTH);
    if (length == NULL)
        return false;
    return header(visit, MHD_HTTP_HEADER_EXPECT) != NULL ||
           strtoull(length, NULL, 10) > DISCARD_MAX;
}

static void check_announced(struct visit *visit) {
    const char *length = header(visit, MHD_HTTP_HEADER_CONTENT_LENGTH);
    if (visit->route != NULL && length != NULL && strtoull(length, NULL, 10) > visit->body.maximum)
        refuse_size(visit);
}

enum MHD_Result visit_continue(void *cls, struct MHD_Connection *connection, const char *url,
                               const char *method, const char *version, const char *upload_data,
                               size_t *upload_data_size, void **slot) {
    struct visit *visit = *slot;
    (void)version;
    if (visit == NULL) {
        *slot = visit = visit_new(cls, connection);
        if (visit == NULL)
            return MHD_NO;
        admit(visit, method, url);
        check_announced(visit);
        return visit->err.code != ERR_NONE && answer_now(visit) ? answer(visit) : MHD_YES;
    }
    if (*upload_data_size != 0) {
        receive(visit, upload_data, *upload_data_size);
        *upload_data_size = 0;
        return visit->received > DISCARD_MAX ? MHD_NO : MHD_YES;
    }
    if (visit->state == STATE_RECEIVING) {
        handle(visit);
        /* With a writer between, the visit may not be looked at here any more,
         * unless it never left this thread. */
        if (visit->route != NULL && visit->route->write != NULL && visit->job.work != NULL)
            return MHD_YES;
    }
    assert(visit->state == STATE_ANSWERABLE);
    return answer(visit);
}

void visit_end(void *cls, struct MHD_Connection *connection, void **slot,
               enum MHD_RequestTerminationCode why) {
    struct listener *listener = cls;
    struct visit *visit = *slot;
    (void)connection;
    (void)why;
    if (visit == NULL)
        return;
    exchange_release(&visit->exchange);
    text_release(&visit->body);
    free(visit);
    *slot = NULL;
    atomic_fetch_sub(&listener->under_way, 1);
}
