/* SPDX-License-Identifier: MIT */
/* exchange: one request and its answer as plain values, so that a resource can
 * be read, called and tested without an HTTP library. The HTTP edge fills the
 * request, routes.c finds the handler, the handler fills the response. */
#ifndef NOONARC_EXCHANGE_H
#define NOONARC_EXCHANGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "server/base/blob.h"
#include "server/base/err.h"
#include "server/base/text.h"
#include "server/rules/book.h"
#include "server/rules/caller.h"
#include "server/rules/change.h"
#include "server/wire/records.h"

#define EXCHANGE_BODY_MAX ((size_t)256 * 1024)         /* JSON, bytes */
#define EXCHANGE_CSV_MAX ((size_t)1024 * 1024)         /* spreadsheets, bytes */
#define EXCHANGE_ANSWER_MAX ((size_t)64 * 1024 * 1024) /* any answer, bytes */
#define EXCHANGE_PARAMS_MAX 3
#define EXCHANGE_QUERY_MAX 4
#define EXCHANGE_COOKIE "noonarc_session"
#define EXCHANGE_KEY_MIN 8 /* Idempotency-Key, printable ASCII characters */
#define EXCHANGE_KEY_MAX 64

enum method { METHOD_GET, METHOD_POST, METHOD_PUT, METHOD_DELETE, METHOD_OTHER };
#define METHOD_COUNT 4 /* those that a route can have */

struct query_value {
    const char *name;
    const char *value; /* "" when the address had none */
};

/* Everything is borrowed from the HTTP edge until the answer is sent. */
struct request {
    enum method method;                          /* HEAD asks for a GET whose body is not sent */
    const char *path;                            /* without the query, percent-decoded */
    const char *pattern;                         /* of the route found, NULL before */
    char param[EXCHANGE_PARAMS_MAX][ID_MAX + 1]; /* what stood for {site}, {day}, {id}: in order */
    struct query_value query[EXCHANGE_QUERY_MAX];
    int queries;
    const char *authorization; /* this and those below: NULL when not sent */
    const char *session;       /* the cookie's token, unless a key was sent */
    const char *origin;
    const char *idempotency_key;
    const char *content_type;
    bool takes_gzip;
    const char *body; /* NUL-terminated; may hold further NULs */
    size_t body_length;
    double now_utc_s;
};

struct response {
    int status;               /* 200 until a handler says otherwise */
    const char *content_type; /* a constant; NULL with an empty body */
    struct text body;
    struct blob *shared;    /* instead of body: held for the response; NULL none */
    char location[160];     /* of what was made, "" none */
    char cookie[200];       /* to be set, "" none */
    struct text row_errors; /* of a refused spreadsheet: JSON list for the problem, "" none */
    bool no_store;          /* carries a key, or is true for this moment only: nobody may keep it */
    bool lasting;           /* another content would have another address: may be kept for good */
    bool packed;            /* the body is gzip already, for a client that takes it */
    bool is_page;           /* or what belongs to one, and no data */
};

/* The two together, and what a write's first half hands to its second. */
struct exchange {
    struct request request;
    struct response response;
    /* Set by a write's first half where its second needs something computed that takes
     * long and no store, a password: done in between, on the labourer's thread, and
     * never more often than an address may. Returns -1 with err to end it there. */
    int (*labour)(struct exchange *exchange, struct err *err);
    void *carried; /* made by exchange_carry or exchange_carry_raw */
    void (*carried_release)(void *carried);
};

/* What a handler reads with: a connection held still at one state of the store, the
 * Suns, and the book of noons with the moment before that state. */
struct lookup {
    struct db *db;
    struct almanac *almanac;
    struct book *book;
    uint64_t moment;
};

static inline struct book_view lookup_view(const struct lookup *lookup) {
    return (struct book_view){.book = lookup->book, .db = lookup->db, .moment = lookup->moment};
}

/* A handler fills the response, or returns -1 with err and leaves the rest to
 * problem.h. A quick one is asked before: it answers without the store, or says no. A read runs on
 * the thread of its connection. A write comes in two halves: the first, a read too, parses and
 * checks, so that the one writer is troubled only by what can succeed; the second runs on the
 * writer's thread and its answer is sent after the commit. */
typedef bool api_quick(struct book *book, struct exchange *exchange);
typedef int api_read(const struct lookup *lookup, struct exchange *exchange, struct err *err);
typedef int api_write(struct change *change, struct exchange *exchange, struct err *err);

void exchange_init(struct exchange *exchange);
void exchange_release(struct exchange *exchange);

void response_init(struct response *response);
void response_release(struct response *response);

/* Room for what is carried, zeroed; freed with the exchange, after a call of
 * release (NULL: it owns nothing). NULL with ERR_INTERNAL when memory is short. */
void *exchange_carry(struct exchange *exchange, size_t size, void (*release)(void *carried),
                     struct err *err);

/* The same, as it comes from malloc, for what is large and filled before it is read. */
void *exchange_carry_raw(struct exchange *exchange, size_t size, struct err *err);

/* The value of a query parameter, NULL when it was not given. */
const char *request_query(const struct request *request, const char *name);

/* Who is asking: the credential behind "Authorization: Bearer ..." or the session of
 * the cookie, or nobody in particular when there is neither. ERR_WRONG_KEY for a wrong
 * key; a cookie whose session is over is as good as none. */
int exchange_caller(const struct lookup *lookup, const struct exchange *exchange,
                    struct caller *out, struct err *err);

/* A query parameter that is a whole number from min to max; *out stays as it is when
 * it was not given. Refuses with ERR_BAD_QUERY. */
int request_whole(const struct request *request, const char *name, int64_t min, int64_t max,
                  int64_t *out, struct err *err);

/* A page of a list: limit 1..500 (100), cursor as handed out by the page
 * before ("" for the first). Refuses with ERR_BAD_QUERY. */
struct page {
    size_t limit;
    const char *cursor;
};
int request_page(const struct request *request, struct page *out, struct err *err);

/* The cursor of a page as a number, 0 for the first page. */
int page_number_cursor(const struct page *page, int64_t *out, struct err *err);

/* The Idempotency-Key, which must be there. ERR_BAD_HEADER otherwise. */
int request_idempotency_key(const struct request *request, const char **out, struct err *err);

/* One that secrets are made of, which need not be there (NULL). ERR_BAD_HEADER where it is
 * too short for that. */
int request_secret_key(const struct request *request, const char **out, struct err *err);

/* The number that stood for {id}: 1 and up. ERR_NOT_FOUND otherwise. */
int request_id(const struct request *request, int at, int64_t *out, struct err *err);

#endif
