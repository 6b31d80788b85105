/* SPDX-License-Identifier: MIT */
/* exchange: the few readings of a request that every resource needs. */
#include "server/api/exchange.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "server/rules/list.h"
#include "server/rules/secret.h"

#define PAGE_LIMIT_MAX 500
#define ROW_ERRORS_BYTES_MAX ((size_t)128 * 1024)
#define CURSOR_MAX ((size_t)2 * ID_MAX + 2)

void exchange_init(struct exchange *exchange) {
    *exchange = (struct exchange){0};
    response_init(&exchange->response);
}

void exchange_release(struct exchange *exchange) {
    if (exchange->carried != NULL && exchange->carried_release != NULL)
        exchange->carried_release(exchange->carried);
    free(exchange->carried);
    exchange->carried = NULL;
    response_release(&exchange->response);
}

void *exchange_carry_raw(struct exchange *exchange, size_t size, struct err *err) {
    exchange->carried = malloc(size);
    if (exchange->carried == NULL)
        err_set(err, ERR_INTERNAL, NULL, "memory is short");
    return exchange->carried;
}

void *exchange_carry(struct exchange *exchange, size_t size, void (*release)(void *carried),
                     struct err *err) {
    if (exchange_carry_raw(exchange, size, err) == NULL)
        return NULL;
    exchange->carried_release = release;
    return memset(exchange->carried, 0, size);
}

void response_init(struct response *response) {
    *response = (struct response){.status = 200};
    text_init(&response->body, EXCHANGE_ANSWER_MAX);
    text_init(&response->row_errors, ROW_ERRORS_BYTES_MAX);
}

void response_release(struct response *response) {
    blob_release(response->shared);
    response->shared = NULL;
    text_release(&response->body);
    text_release(&response->row_errors);
}

const char *request_query(const struct request *request, const char *name) {
    for (int i = 0; i < request->queries; i++)
        if (strcmp(request->query[i].name, name) == 0)
            return request->query[i].value;
    return NULL;
}

int exchange_caller(const struct lookup *lookup, const struct exchange *exchange,
                    struct caller *out, struct err *err) {
    const struct request *request = &exchange->request;
    const char *secret = request->authorization;
    if (secret != NULL) {
        bool bearer = strncasecmp(secret, "Bearer ", 7) == 0;
        secret = bearer ? secret + 7 + strspn(secret + 7, " ") : "";
        return caller_resolve(lookup->db, secret, request->now_utc_s, out, err);
    }
    struct err over = {0};
    if (caller_resolve(lookup->db, request->session, request->now_utc_s, out, &over) == 0)
        return 0;
    if (over.code != ERR_WRONG_KEY) {
        *err = over;
        return -1;
    }
    return caller_resolve(lookup->db, NULL, request->now_utc_s, out, err);
}

/* Digits only, so that strtoll's blanks, signs and bases never matter. */
static bool parse_whole(const char *digits, int64_t *out) {
    size_t length = strlen(digits);
    if (length == 0 || length > 18 || strspn(digits, "0123456789") != length)
        return false;
    *out = strtoll(digits, NULL, 10);
    return true;
}

int request_whole(const struct request *request, const char *name, int64_t min, int64_t max,
                  int64_t *out, struct err *err) {
    const char *value = request_query(request, name);
    int64_t number;
    if (value == NULL)
        return 0;
    if (!parse_whole(value, &number) || number < min || number > max)
        return err_set(err, ERR_BAD_QUERY, name, "%s is a whole number from %lld to %lld", name,
                       (long long)min, (long long)max);
    *out = number;
    return 0;
}

int request_page(const struct request *request, struct page *out, struct err *err) {
    struct page page = {.limit = LIST_LIMIT_DEFAULT, .cursor = ""};
    int64_t limit = LIST_LIMIT_DEFAULT;
    if (request_whole(request, "limit", 1, PAGE_LIMIT_MAX, &limit, err) != 0)
        return -1;
    page.limit = (size_t)limit;
    const char *cursor = request_query(request, "cursor");
    if (cursor != NULL) {
        if (strlen(cursor) > CURSOR_MAX)
            return err_set(err, ERR_BAD_QUERY, "cursor", "cursor is the next_cursor of a page");
        page.cursor = cursor;
    }
    *out = page;
    return 0;
}

int page_number_cursor(const struct page *page, int64_t *out, struct err *err) {
    int64_t number = 0;
    if (page->cursor[0] != '\0' && !parse_whole(page->cursor, &number))
        return err_set(err, ERR_BAD_QUERY, "cursor", "cursor is the next_cursor of a page");
    *out = number;
    return 0;
}

static bool key_is_good(const char *key, size_t least) {
    size_t length = strlen(key);
    bool printable = true;
    for (size_t i = 0; i < length; i++)
        printable = printable && key[i] > ' ' && key[i] < 127;
    return printable && length >= least && length <= EXCHANGE_KEY_MAX;
}

int request_idempotency_key(const struct request *request, const char **out, struct err *err) {
    const char *key = request->idempotency_key;
    if (key == NULL || !key_is_good(key, EXCHANGE_KEY_MIN))
        return err_set(err, ERR_BAD_HEADER, "Idempotency-Key",
                       "send an Idempotency-Key of %d to %d printable characters, a new one for "
                       "each run and the same one when trying again",
                       EXCHANGE_KEY_MIN, EXCHANGE_KEY_MAX);
    *out = key;
    return 0;
}

int request_secret_key(const struct request *request, const char **out, struct err *err) {
    const char *key = request->idempotency_key;
    if (key != NULL && !key_is_good(key, SECRET_SEED_KEY_MIN))
        return err_set(err, ERR_BAD_HEADER, "Idempotency-Key",
                       "the Idempotency-Key of a registration has %d to %d printable characters "
                       "from chance: whoever has it can have the site's secrets",
                       SECRET_SEED_KEY_MIN, EXCHANGE_KEY_MAX);
    *out = key;
    return 0;
}

int request_id(const struct request *request, int at, int64_t *out, struct err *err) {
    if (!parse_whole(request->param[at], out) || *out < 1)
        return err_set(err, ERR_NOT_FOUND, NULL, "there is no such number here");
    return 0;
}
