/* SPDX-License-Identifier: MIT */
/* visit: the states of one request. Everything it owns lives in struct visit,
 * which libmicrohttpd keeps for us and hands back at the end. */
#include "server/http/visit.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "server/api/problem.h"
#include "server/api/resources.h"
#include "server/http/admit.h"
#include "server/http/answer.h"
#include "server/http/clock.h"
#include "server/http/own.h"
#include "server/http/visit_state.h"

/* A body that is refused is read on to here, so that the client has ears for the
 * answer; whoever sends more than this is cut off. */
#define DISCARD_MAX ((size_t)8 * 1024 * 1024)

_Static_assert(LIMITS_QUEUE_MAX <= WRITER_QUEUE_MAX, "what we let in, the writer takes");

const char *visit_header(const struct visit *visit, const char *name) {
    return MHD_lookup_connection_value(visit->connection, MHD_HEADER_KIND, name);
}

static int refuse_answer(struct visit *visit) {
    return err_set(&visit->err, ERR_INTERNAL, NULL, "the answer does not fit");
}

static int work_write(struct change *change, void *context) {
    struct visit *visit = context;
    if (visit->job.runs_alone) { /* perhaps once more */
        text_release(&visit->exchange.response.body);
        err_clear(&visit->err);
    }
    if (visit->route->write(change, &visit->exchange, &visit->err) != 0)
        return -1;
    /* Nothing is done for a caller who cannot be told of it: keys are told only once. */
    return visit->exchange.response.body.failed ? refuse_answer(visit) : 0;
}

/* The visit may be over as soon as the connection goes on. */
static void wake(struct visit *visit) {
    struct listener *listener = visit->listener;
    visit->phase = VISIT_ANSWERABLE;
    MHD_resume_connection(visit->connection);
    atomic_fetch_sub(&listener->writing, 1);
}

/* On the writer's thread: from here on the connection may go on at once. */
static void work_done(void *context, bool committed) {
    struct visit *visit = context;
    /* A job that its own rule undid says nothing of the store. */
    if (committed || visit->err.code == ERR_NONE)
        metrics_commit(visit->listener->metrics, committed, clock_utc_s());
    if (!committed)
        err_set(&visit->err, ERR_STORAGE, NULL, "it could not be stored; try again");
    wake(visit);
}

/* It writes nothing but runs. */
static bool is_run(const struct visit *visit) {
    return visit->route != NULL && visit->route->write == post_runs;
}

static int read_steady(struct visit *visit) {
    struct listener *listener = visit->listener;
    struct book_view view;
    if (steady_take(listener->steady, &view, &visit->err) != 0)
        return -1;
    const struct lookup lookup = {
        .db = view.db, .almanac = listener->almanac, .book = view.book, .moment = view.moment};
    int status = visit->route->read(&lookup, &visit->exchange, &visit->err);
    steady_give(listener->steady, &view);
    return status;
}

static int run_read(struct visit *visit) {
    struct listener *listener = visit->listener;
    if (is_run(visit))
        return read_steady(visit);
    const uint64_t moment = book_moment(listener->book);
    struct db *db = pool_take(listener->pool, &visit->err);
    if (db == NULL)
        return -1;
    const struct lookup lookup = {
        .db = db, .almanac = listener->almanac, .book = listener->book, .moment = moment};
    int status = visit->route->read(&lookup, &visit->exchange, &visit->err);
    pool_give(listener->pool, db);
    return status;
}

#define LIVE_FOR_MAX_S 86400
#define LIVE_RETRY_S 10

/* A seat among those who watch a day; the answer is its stream. */
static int watch(struct visit *visit) {
    const struct request *request = &visit->exchange.request;
    struct address caller;
    int64_t for_s = 0;
    door_caller(visit->guest, visit->connection, &caller);
    if (request_whole(request, "for_s", 1, LIVE_FOR_MAX_S, &for_s, &visit->err) != 0)
        return -1;
    const struct live_request asked = {
        .day = request->param[0],
        .last_event_id = visit_header(visit, "Last-Event-ID"),
        .for_s = (int)for_s,
        .address = &caller,
        .connection = visit->connection,
        .stay = &visit->guest->stay,
    };
    visit->exchange.response.content_type = "text/event-stream";
    if (live_enter(visit->listener->live, &asked, &visit->seat, &visit->err) == 0)
        return 0;
    if (err_status(visit->err.code) == MHD_HTTP_TOO_MANY_REQUESTS)
        visit->retry_after_s = LIVE_RETRY_S;
    return -1;
}

static void hand_to_writer(struct visit *visit) {
    visit->job = (struct job){
        .work = work_write, .done = work_done, .context = visit, .runs_alone = is_run(visit)};
    if (writer_submit(visit->listener->writer, &visit->job, &visit->err) != 0)
        wake(visit);
}

/* On the labourer's thread, between the two halves of a write. */
static void work_labour(void *context) {
    struct visit *visit = context;
    if (visit->exchange.labour(&visit->exchange, &visit->err) != 0)
        wake(visit);
    else
        hand_to_writer(visit);
}

static void hand_to_labourer(struct visit *visit) {
    visit->errand = (struct errand){.work = work_labour, .context = visit};
    if (labourer_send(visit->listener->labourer, &visit->errand, &visit->err) != 0)
        wake(visit);
}

static int check_labour_quota(struct visit *visit) {
    struct address caller;
    door_caller(visit->guest, visit->connection, &caller);
    return quota_take_labour(visit->listener->quota, &caller, clock_steady_us(),
                             &visit->retry_after_s, &visit->err);
}

static void hand_over(struct visit *visit) {
    struct listener *listener = visit->listener;
    /* Counted before looking: whoever closes sets the flag before looking at the count. */
    bool full = atomic_fetch_add(&listener->writing, 1) >= listener->limits.queue;
    bool closing = atomic_load(&listener->closing);
    if (full || closing) {
        atomic_fetch_sub(&listener->writing, 1);
        err_set(&visit->err, ERR_BUSY, NULL,
                closing ? "the service is stopping; try again soon"
                        : "too much is waiting to be written; try again soon");
        return;
    }
    visit->phase = VISIT_WRITING;
    visit->handed_over = true;
    /* Asleep before it is handed over: the writer may be done before we return. */
    MHD_suspend_connection(visit->connection);
    if (visit->exchange.labour != NULL)
        hand_to_labourer(visit);
    else
        hand_to_writer(visit);
}

/* The body is complete: handle it, here or by the writer. */
static void handle(struct visit *visit) {
    const struct route *route = visit->route;
    struct request *request = &visit->exchange.request;
    visit->phase = VISIT_ANSWERABLE;
    visit->complete_us = clock_steady_us();
    if (route == NULL || visit->err.code != ERR_NONE)
        return;
    if (visit->body.failed) {
        err_set(&visit->err, ERR_INTERNAL, NULL, "memory is short");
        return;
    }
    request->body = visit->body.bytes;
    request->body_length = visit->body.length;
    if (route->own == own_live) {
        (void)watch(visit);
        return;
    }
    if (route->own != NULL) {
        route->own(visit->listener, request, &visit->exchange.response, &visit->err);
        return;
    }
    if (route->quick != NULL && route->quick(visit->listener->book, &visit->exchange))
        return;
    if (run_read(visit) != 0 || route->write == NULL)
        return;
    if (visit->exchange.labour != NULL && check_labour_quota(visit) != 0)
        return;
    hand_over(visit);
}

static void let_go_of_body(struct visit *visit) {
    atomic_fetch_sub(&visit->listener->held, (long long)visit->held);
    visit->held = 0;
    text_release(&visit->body);
}

static void receive(struct visit *visit, const char *bytes, size_t length) {
    visit->received += length;
    if (visit->route == NULL || visit->err.code != ERR_NONE)
        return;
    if (visit->received > visit->body.maximum) {
        admit_refuse_size(visit);
        return;
    }
    /* Of all bodies together only so much is held, whatever the number of senders. */
    long long most = (long long)visit->listener->limits.body_mib * 1024 * 1024;
    visit->held += length;
    if (atomic_fetch_add(&visit->listener->held, (long long)length) + (long long)length <= most) {
        text_add(&visit->body, bytes, length);
        return;
    }
    err_set(&visit->err, ERR_BUSY, NULL, "too much is being sent at once; try again soon");
    let_go_of_body(visit); /* before the answer: the next may have the room */
}

/* A request that was refused before it was whole took no time of ours. */
static void count(struct visit *visit, int status) {
    struct metrics *metrics = visit->listener->metrics;
    metrics_request(
        metrics,
        &(struct metrics_request){
            .route = visit->route == NULL ? -1 : (int)(visit->route - routes),
            .status = status,
            .refused = visit->err.code,
            .took_us = visit->complete_us == 0 ? -1 : clock_steady_us() - visit->complete_us,
        });
    if (is_run(visit))
        metrics_run(metrics, visit->err.code);
}

/* Who followed a wrong link reads a page; a program, a problem document. */
static bool is_lost_reader(const struct visit *visit) {
    const char *accept = visit_header(visit, MHD_HTTP_HEADER_ACCEPT);
    return visit->err.code == ERR_NOT_FOUND && visit->exchange.request.method == METHOD_GET &&
           strncmp(visit->exchange.request.path, "/api/", 5) != 0 && accept != NULL &&
           strstr(accept, "text/html") != NULL;
}

static void refuse(struct visit *visit) {
    struct exchange *exchange = &visit->exchange;
    if (!is_lost_reader(visit) ||
        !own_missing(visit->listener, &exchange->request, &exchange->response))
        problem_render(&visit->err, &exchange->response);
}

static enum MHD_Result answer(struct visit *visit) {
    struct response *response = &visit->exchange.response;
    if (visit->err.code == ERR_NONE && response->body.failed)
        refuse_answer(visit);
    if (visit->err.code != ERR_NONE)
        refuse(visit);
    else if (visit->options)
        response->status = MHD_HTTP_NO_CONTENT;
    const struct answer_request asked = {
        .connection = visit->connection,
        .response = response,
        .cacheable = visit->exchange.request.method == METHOD_GET,
        .allowed = visit->options || visit->err.code == ERR_METHOD_NOT_ALLOWED ? visit->allowed : 0,
        .close = atomic_load(&visit->listener->stopping),
        .retry_after_s = visit->retry_after_s,
    };
    int status = 0;
    if (!patience_answer(door_patience(visit->listener->door), &visit->guest->stay,
                         response->shared ? response->shared->length : response->body.length)) {
        if (visit->seat != NULL)
            live_leave(visit->seat);
        return MHD_NO;
    }
    enum MHD_Result result;
    if (visit->seat != NULL) {
        status = MHD_HTTP_OK;
        result = answer_stream(&asked, live_read, visit->seat, live_leave);
    } else {
        result = answer_send(&asked, &status);
    }
    count(visit, status);
    return result;
}

/* NULL too for a guest who is not to be answered. */
static struct visit *visit_new(struct listener *listener, struct MHD_Connection *connection) {
    struct guest *guest = door_guest(connection);
    if (guest == NULL || guest->dismissed ||
        !patience_body(door_patience(listener->door), &guest->stay))
        return NULL;
    struct visit *visit = calloc(1, sizeof *visit);
    if (visit == NULL)
        return NULL;
    visit->listener = listener;
    visit->connection = connection;
    visit->guest = guest;
    exchange_init(&visit->exchange);
    text_init(&visit->body, 0);
    atomic_fetch_add(&listener->under_way, 1);
    return visit;
}

/* A refusal can go out at once where the client has sent no body yet and waits,
 * or where it announces more than we would read to the end. */
static bool answer_now(const struct visit *visit) {
    const char *length = visit_header(visit, MHD_HTTP_HEADER_CONTENT_LENGTH);
    if (length == NULL)
        return false;
    return visit_header(visit, MHD_HTTP_HEADER_EXPECT) != NULL ||
           strtoull(length, NULL, 10) > DISCARD_MAX;
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
        return visit->err.code != ERR_NONE && answer_now(visit) ? answer(visit) : MHD_YES;
    }
    if (*upload_data_size != 0) {
        bool in_time = patience_came(&visit->guest->stay, *upload_data_size);
        receive(visit, upload_data, *upload_data_size);
        *upload_data_size = 0;
        return in_time && visit->received <= DISCARD_MAX ? MHD_YES : MHD_NO;
    }
    if (visit->phase == VISIT_RECEIVING) {
        if (!patience_work(&visit->guest->stay))
            return MHD_NO;
        handle(visit);
        /* With a writer between, the visit may not be looked at here any more,
         * unless it never left this thread. */
        if (visit->handed_over)
            return MHD_YES;
    }
    assert(visit->phase == VISIT_ANSWERABLE);
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
    /* The next request of the connection, if there is one, may come. */
    (void)patience_head(door_patience(listener->door), &visit->guest->stay);
    let_go_of_body(visit);
    exchange_release(&visit->exchange);
    free(visit);
    *slot = NULL;
    atomic_fetch_sub(&listener->under_way, 1);
}
