/* SPDX-License-Identifier: MIT */
/* routes: finding one. The table itself stands in route_table.c. */
#include "server/http/routes.h"

#include <assert.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

#define ROUTES_MAX 256

static const char *const names[METHOD_COUNT] = {"GET", "POST", "PUT", "DELETE"};

const char *method_name(enum method method) {
    return method == METHOD_OTHER ? "" : names[method];
}

enum method method_parse(const char *name) {
    for (int i = 0; i < METHOD_COUNT; i++)
        if (strcmp(names[i], name) == 0)
            return (enum method)i;
    return METHOD_OTHER;
}

/* A segment of the path that stands for a {parameter} of the pattern. */
struct segment {
    const char *at;
    size_t length;
};

static bool is_digit_or_letter(char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

/* [A-Za-z0-9][A-Za-z0-9._-]{0,39}: what identifiers and file names look like. */
static bool take_segment(const char *segment, size_t length, char out[ID_MAX + 1]) {
    if (length == 0 || length > ID_MAX || !is_digit_or_letter(segment[0]))
        return false;
    for (size_t i = 0; i < length; i++)
        if (!is_digit_or_letter(segment[i]) && segment[i] != '.' && segment[i] != '_' &&
            segment[i] != '-')
            return false;
    memcpy(out, segment, length);
    out[length] = '\0';
    return true;
}

/* Whether a path has the form of a pattern, whatever its parameters look like. */
static bool path_matches(const char *pattern, const char *path,
                         struct segment segment[EXCHANGE_PARAMS_MAX], int *segments) {
    *segments = 0;
    while (*pattern != '\0' && *path != '\0') {
        if (*pattern != '{') {
            if (*pattern++ != *path++)
                return false;
            continue;
        }
        if (*segments == EXCHANGE_PARAMS_MAX)
            return false;
        const char *from = path;
        while (*path != '\0' && *path != '/')
            path++;
        segment[(*segments)++] = (struct segment){from, (size_t)(path - from)};
        while (*pattern++ != '}')
            continue;
    }
    return *pattern == '\0' && *path == '\0';
}

static bool take_segments(const struct segment *segment, int segments,
                          char param[EXCHANGE_PARAMS_MAX][ID_MAX + 1]) {
    for (int i = 0; i < segments; i++)
        if (!take_segment(segment[i].at, segment[i].length, param[i]))
            return false;
    return true;
}

/* What tells most patterns from a path at a glance, found once. */
static struct glimpse {
    unsigned char slashes;
    char last; /* character; '}' fits any */
} glimpses[ROUTES_MAX];

static struct glimpse glimpse_of(const char *path) {
    struct glimpse glimpse = {0};
    for (; *path != '\0'; path++) {
        glimpse.slashes += *path == '/';
        glimpse.last = *path;
    }
    return glimpse;
}

static void glimpse_patterns(void) {
    assert(routes_count <= ROUTES_MAX);
    for (int i = 0; i < routes_count; i++)
        glimpses[i] = glimpse_of(routes[i].pattern);
}

static bool may_match(const struct glimpse *pattern, const struct glimpse *path) {
    return pattern->slashes == path->slashes &&
           (pattern->last == path->last || pattern->last == '}');
}

const struct route *routes_find(struct request *request, unsigned *allowed) {
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    char param[EXCHANGE_PARAMS_MAX][ID_MAX + 1] = {{0}};
    pthread_once(&once, glimpse_patterns);
    const struct glimpse glimpse = glimpse_of(request->path);
    *allowed = 0;
    for (int i = 0; i < routes_count; i++) {
        if (!may_match(&glimpses[i], &glimpse))
            continue;
        struct segment segment[EXCHANGE_PARAMS_MAX];
        int segments;
        if (!path_matches(routes[i].pattern, request->path, segment, &segments) ||
            !take_segments(segment, segments, param))
            continue;
        *allowed |= 1U << routes[i].method;
        if (routes[i].method == request->method) {
            memcpy(request->param, param, sizeof param);
            request->pattern = routes[i].pattern;
            return &routes[i];
        }
    }
    return NULL;
}

void routes_allow(unsigned allowed, char *out, size_t size) {
    size_t length = 0;
    out[0] = '\0';
    for (int i = 0; i < METHOD_COUNT; i++)
        if (allowed & 1U << i && length < size)
            length += (size_t)snprintf(out + length, size - length, "%s, ",
                                       i == METHOD_GET ? "GET, HEAD" : names[i]);
    if (length < size)
        snprintf(out + length, size - length, "OPTIONS");
}

bool route_takes_query(const struct route *route, const char *name) {
    size_t length = strlen(name);
    for (const char *at = route->query; length > 0 && *at != '\0';) {
        size_t word = strcspn(at, " ");
        if (word == length && memcmp(at, name, length) == 0)
            return true;
        at += word + strspn(at + word, " ");
    }
    return false;
}

size_t route_body_max(const struct route *route) {
    switch (route->body) {
    case BODY_JSON:
    case BODY_MAYBE_JSON:
        return EXCHANGE_BODY_MAX;
    case BODY_CSV:
        return EXCHANGE_CSV_MAX;
    case BODY_NONE:
        break;
    }
    return 0;
}
