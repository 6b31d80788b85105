/* SPDX-License-Identifier: MIT */
/* http: one request through libcurl and its answer as plain values. */
#ifndef NOONARC_TEST_HTTP_H
#define NOONARC_TEST_HTTP_H

#include <jansson.h>
#include <stddef.h>

#include "server/base/text.h"

#define HTTP_HEADERS_MAX 6

struct ask {
    const char *method;                   /* NULL: GET */
    const char *path;                     /* from the slash on */
    const char *key;                      /* of Authorization: Bearer, NULL none */
    const char *type;                     /* Content-Type, NULL none */
    const char *body;                     /* NULL none */
    size_t length;                        /* of body; 0: strlen */
    const char *header[HTTP_HEADERS_MAX]; /* whole lines */
};

struct answer {
    long status;
    struct text headers; /* as received */
    struct text body;
    json_t *json; /* of a JSON body, else NULL */
};

/* Asks; a transport failure fails the test. The answer is to be released. */
void http_ask(const char *base, const struct ask *ask, struct answer *answer);
void answer_release(struct answer *answer);

/* The value of a header, copied; "" when it is not there. */
void answer_header(const struct answer *answer, const char *name, char *out, size_t size);
bool answer_header_is(const struct answer *answer, const char *name, const char *value);

/* Shorthands that fail the test unless the answer has this status. The JSON of
 * the answer is the caller's (json_decref), NULL for other bodies. */
json_t *http_get(const char *base, const char *path, long status);
json_t *http_send(const char *base, const char *method, const char *path, const char *key,
                  const char *json, long status);

/* The address of a file that the first page loads, by its ending: "/assets/x-HASH.css"
 * for ".css". Fails the test when there is none. */
void http_asset(const char *base, const char *ending, char *out, size_t size);

/* Fails the test unless the answer is a problem document of this status, code and
 * field (NULL: without one). */
void answer_assert_problem(const struct answer *answer, long status, const char *code,
                           const char *field);

#endif
