/* SPDX-License-Identifier: MIT */
/* routes: what addresses the service has. One constant table; 404, 405 with
 * Allow, OPTIONS, the size and kind of a body, who may call and what a metric
 * is called all come from it, and a test holds it against openapi.json. */
#ifndef NOONARC_ROUTES_H
#define NOONARC_ROUTES_H

#include "server/api/exchange.h"
#include "server/rules/change.h"

/* Who may call: the least of the roles that will do. A caller without any key
 * is turned away before the body is read; whether the key is the right one is
 * decided by rules/. */
enum route_caller { CALLER_ANYONE, CALLER_CLASS, CALLER_SCHOOL, CALLER_ORGANISER };

enum route_body { BODY_NONE, BODY_JSON, BODY_CSV, BODY_MAYBE_JSON /* or none */ };

struct listener;

/* Needs no store: answered by the HTTP edge itself. */
typedef int route_own(struct listener *listener, const struct request *request,
                      struct response *response, struct err *err);

struct route {
    enum method method;
    const char *pattern; /* "{site}" stands for one path segment that is an identifier */
    enum route_caller caller;
    enum route_body body;
    const char *query; /* names of the query parameters, blank between, "" none,
                          NULL: whatever comes, nobody looks */
    api_read *read;    /* a read; or, with write, a write's first half */
    api_write *write;
    route_own *own;   /* instead of the other two */
    const char *help; /* one line */
    api_quick *quick; /* of a read: asked first, NULL none */
};

extern const struct route routes[];
extern const int routes_count;

/* "GET" and so on; METHOD_OTHER for methods no route has. */
const char *method_name(enum method method);
enum method method_parse(const char *name);

/* Finds the route and fills param[] of the request from its path. Returns NULL
 * when there is none; then *allowed has a bit (1 << method) for each method
 * that the path does take, 0 for an unknown path. */
const struct route *routes_find(struct request *request, unsigned *allowed);

/* "GET, HEAD, OPTIONS" and so on, for a set as routes_find gives it. */
void routes_allow(unsigned allowed, char *out, size_t size);

/* True when the route knows a query parameter of that name. */
bool route_takes_query(const struct route *route, const char *name);

/* Most bytes a body may have. */
size_t route_body_max(const struct route *route);

#endif
