/* SPDX-License-Identifier: MIT */
#include "server/http/admit.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "server/http/clock.h"
#include "server/http/negotiate.h"
#include "server/http/origin.h"
#include "server/http/own.h"
#include "server/http/quota.h"
#include "server/rules/caller.h"

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
    const char *content_type = visit->exchange.request.content_type;
    if (visit->route->body == BODY_MAYBE_JSON && content_type == NULL)
        return 0;
    const char *media =
        wanted[visit->route->body == BODY_MAYBE_JSON ? BODY_JSON : visit->route->body];
    if (media == NULL || media_is(content_type, media))
        return 0;
    return err_set(&visit->err, ERR_MEDIA_TYPE, "Content-Type", "send the body as %s", media);
}

void admit_refuse_size(struct visit *visit) {
    if (visit->body.maximum == 0)
        err_set(&visit->err, ERR_BODY_TOO_LARGE, NULL, "nothing is to be sent here");
    else
        err_set(&visit->err, ERR_BODY_TOO_LARGE, NULL, "a body here has %zu bytes at most",
                visit->body.maximum);
}

static void check_announced(struct visit *visit) {
    const char *length = visit_header(visit, MHD_HTTP_HEADER_CONTENT_LENGTH);
    if (length != NULL && strtoull(length, NULL, 10) > visit->body.maximum)
        admit_refuse_size(visit);
}

static int check_head(struct visit *visit) {
    const union MHD_ConnectionInfo *head =
        MHD_get_connection_info(visit->connection, MHD_CONNECTION_INFO_REQUEST_HEADER_SIZE);
    if (head == NULL || head->header_size <= LIMITS_HEAD_MAX)
        return 0;
    return err_set(&visit->err, ERR_HEAD_TOO_LARGE, NULL,
                   "a request's line and headers have %d bytes at most", LIMITS_HEAD_MAX);
}

/* Whoever watches the service always gets an answer. */
static bool is_free(const struct visit *visit) {
    return visit->route != NULL &&
           (visit->route->own == own_health || visit->route->own == own_alive);
}

static int check_quota(struct visit *visit) {
    const struct request *request = &visit->exchange.request;
    struct address caller;
    if (is_free(visit))
        return 0;
    door_caller(visit->guest, visit->connection, &caller);
    const struct quota_request asked = {
        .address = &caller,
        .authorization = request->authorization,
        .session = request->session,
        .write = !visit->options && request->method != METHOD_GET,
    };
    return quota_take(visit->listener->quota, &asked, clock_steady_us(), &visit->retry_after_s,
                      &visit->err);
}

/* A browser sends its cookie along whoever's page asks. */
static int check_origin(struct visit *visit) {
    const struct request *request = &visit->exchange.request;
    if (request->session == NULL || visit->options || request->method == METHOD_GET ||
        origin_is_ours(visit_header(visit, "Sec-Fetch-Site"), request->origin,
                       visit_header(visit, MHD_HTTP_HEADER_HOST)))
        return 0;
    return err_set(&visit->err, ERR_CROSS_ORIGIN, NULL,
                   "a log-in by cookie counts only for the service's own pages");
}

void admit(struct visit *visit, const char *method, const char *path) {
    struct request *request = &visit->exchange.request;
    visit->head = strcmp(method, "HEAD") == 0;
    visit->options = strcmp(method, "OPTIONS") == 0;
    request->method = visit->head ? METHOD_GET : method_parse(method);
    request->path = path;
    request->authorization = visit_header(visit, MHD_HTTP_HEADER_AUTHORIZATION);
    if (request->authorization == NULL)
        request->session =
            MHD_lookup_connection_value(visit->connection, MHD_COOKIE_KIND, EXCHANGE_COOKIE);
    request->origin = visit_header(visit, MHD_HTTP_HEADER_ORIGIN);
    request->idempotency_key = visit_header(visit, "Idempotency-Key");
    request->content_type = visit_header(visit, MHD_HTTP_HEADER_CONTENT_TYPE);
    request->takes_gzip =
        negotiate_takes_gzip(visit_header(visit, MHD_HTTP_HEADER_ACCEPT_ENCODING));
    request->now_utc_s = clock_utc_s();

    const struct route *route = routes_find(request, &visit->allowed);
    visit->route = route;
    if (check_head(visit) != 0 || check_quota(visit) != 0)
        return;
    if (visit->allowed == 0)
        err_set(&visit->err, ERR_NOT_FOUND, NULL, "there is nothing at this address");
    else if (route == NULL && !visit->options)
        err_set(&visit->err, ERR_METHOD_NOT_ALLOWED, NULL,
                "see the header Allow for what this address takes");
    if (route == NULL)
        return;

    text_init(&visit->body, route_body_max(route));
    if (check_origin(visit) != 0)
        return;
    if (route->caller != CALLER_ANYONE && request->authorization == NULL &&
        request->session == NULL) {
        /* The very words of a wrong key. */
        const struct caller nobody = {.role = ROLE_ANYONE};
        if (caller_may(&nobody, ROLE_ORGANISER, NULL, &visit->err) != 0)
            return;
    }
    if (check_media(visit) != 0)
        return;
    if (route->query != NULL)
        MHD_get_connection_values(visit->connection, MHD_GET_ARGUMENT_KIND, take_query, visit);
    check_announced(visit);
}
