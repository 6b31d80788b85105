/* SPDX-License-Identifier: MIT */
/* editions: published results, and what a school lets them keep. */
#include "server/rules/editions.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/wire/field.h"

/* ---- reading ---- */

/* subject=days/IDENTIFIER or seasons/IDENTIFIER. */
static int read_subject(const char *wanted, enum edition_kind *kind, const char **subject,
                        struct err *err) {
    static const struct {
        const char *before;
        enum edition_kind kind;
    } rows[] = {{"days/", EDITION_DAY}, {"seasons/", EDITION_SEASON}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        size_t length = strlen(rows[i].before);
        if (strncmp(wanted, rows[i].before, length) == 0 && field_is_id(wanted + length)) {
            *kind = rows[i].kind;
            *subject = wanted + length;
            return 0;
        }
    }
    return err_set(err, ERR_BAD_QUERY, "subject", "subject is days/{day} or seasons/{season}");
}

/* The cursor is the number of the last edition shown. */
static int read_cursor(const char *cursor, int64_t *out, struct err *err) {
    size_t length = strlen(cursor);
    if (length > 15 || strspn(cursor, "0123456789") != length)
        return err_set(err, ERR_BAD_QUERY, "cursor", "cursor is the next_cursor of a page");
    *out = length == 0 ? 0 : strtoll(cursor, NULL, 10);
    return 0;
}

int get_editions(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    const char *wanted = request_query(request, "subject"), *subject = "";
    enum edition_kind kind;
    struct page page;
    struct edition_page editions;
    struct json_writer json;
    int64_t before = 0;
    char next[24] = "";
    if (request_page(request, &page, err) != 0 || read_cursor(page.cursor, &before, err) != 0 ||
        (wanted != NULL && read_subject(wanted, &kind, &subject, err) != 0) ||
        edition_list(lookup->db, wanted != NULL ? &kind : NULL, subject, before, page.limit,
                     &editions, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "editions");
    for (size_t i = 0; i < editions.count; i++)
        edition_write_listed(&json, NULL, editions.items[i].head, editions.items[i].replaced_by);
    json_write_end(&json);
    if (editions.next != 0)
        snprintf(next, sizeof next, "%lld", (long long)editions.next);
    render_next(&json, next);
    json_write_end(&json);
    edition_page_release(&editions);
    return 0;
}

int get_edition(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct response *response = &exchange->response;
    struct edition_row row;
    struct json_writer json;
    int64_t number;
    if (request_id(&exchange->request, 0, &number, err) != 0 ||
        edition_get(lookup->db, number, &row, err) != 0)
        return -1;
    response->content_type = "application/json";
    json_write_init(&json, &response->body);
    edition_write_listed(&json, NULL, row.head, row.replaced_by);
    free(row.head);
    return 0;
}

int get_edition_bundle(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct response *response = &exchange->response;
    int64_t number;
    if (request_id(&exchange->request, 0, &number, err) != 0 ||
        edition_bundle(lookup->db, number, &response->body, err) != 0)
        return -1;
    response->content_type = "application/json";
    response->lasting = true;
    return 0;
}

int get_day_everything(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    exchange->response.content_type = "application/json";
    return edition_everything(lookup->db, exchange->request.param[0], &exchange->response.body,
                              err);
}

/* ---- publishing ---- */

struct publishing {
    struct caller caller;
    struct edition_ready ready;
};

static void publishing_release(void *carried) {
    edition_ready_release(&((struct publishing *)carried)->ready);
}

static int prepare(const struct lookup *lookup, struct exchange *exchange, enum edition_kind kind,
                   struct err *err) {
    const struct request *request = &exchange->request;
    struct publishing *publishing =
        exchange_carry(exchange, sizeof *publishing, publishing_release, err);
    struct edition_ask ask;
    if (publishing == NULL || exchange_caller(lookup, exchange, &publishing->caller, err) != 0 ||
        caller_may(&publishing->caller, ROLE_ORGANISER, NULL, err) != 0 ||
        edition_read_ask(request->body, request->body_length, &ask, err) != 0)
        return -1;
    return edition_prepare(lookup->db, &publishing->caller, kind, request->param[0], &ask,
                           request->now_utc_s, &publishing->ready, err);
}

static int publish(struct change *change, struct exchange *exchange, struct err *err) {
    const struct publishing *publishing = exchange->carried;
    struct response *response = &exchange->response;
    struct json_writer json;
    if (edition_publish(change, &publishing->caller, &publishing->ready, err) != 0)
        return -1;
    render_created(response, "/api/v1/editions/%lld", (long long)publishing->ready.head.edition);
    response->content_type = "application/json";
    json_write_init(&json, &response->body);
    edition_write_listed(&json, NULL, publishing->ready.head_json.bytes, 0);
    return 0;
}

int post_day_editions_check(const struct lookup *lookup, struct exchange *exchange,
                            struct err *err) {
    return prepare(lookup, exchange, EDITION_DAY, err);
}

int post_day_editions(struct change *change, struct exchange *exchange, struct err *err) {
    return publish(change, exchange, err);
}

int post_season_editions_check(const struct lookup *lookup, struct exchange *exchange,
                               struct err *err) {
    return prepare(lookup, exchange, EDITION_SEASON, err);
}

int post_season_editions(struct change *change, struct exchange *exchange, struct err *err) {
    return publish(change, exchange, err);
}

/* ---- what a school agrees to ---- */

static void render_keeps(struct response *response, const char *site, enum edition_keeps keeps) {
    struct json_writer json;
    render_json(response, &json);
    json_write_text(&json, "site", site);
    json_write_text(&json, "keeps", edition_keeps_name(keeps));
    json_write_end(&json);
}

int get_site_editions(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    enum edition_keeps keeps;
    if (edition_keeps_get(lookup->db, exchange->request.param[0], &keeps, err) != 0)
        return -1;
    render_keeps(&exchange->response, exchange->request.param[0], keeps);
    return 0;
}

struct agreeing {
    struct caller caller;
    enum edition_keeps keeps;
};

int put_site_editions_check(const struct lookup *lookup, struct exchange *exchange,
                            struct err *err) {
    const struct request *request = &exchange->request;
    struct agreeing *agreeing = exchange_carry(exchange, sizeof *agreeing, NULL, err);
    if (agreeing == NULL || exchange_caller(lookup, exchange, &agreeing->caller, err) != 0 ||
        caller_may(&agreeing->caller, ROLE_SCHOOL, request->param[0], err) != 0)
        return -1;
    return edition_read_keeps(request->body, request->body_length, &agreeing->keeps, err);
}

int put_site_editions(struct change *change, struct exchange *exchange, struct err *err) {
    const struct agreeing *agreeing = exchange->carried;
    const struct request *request = &exchange->request;
    if (edition_keeps_set(change, &agreeing->caller, request->param[0], agreeing->keeps,
                          request->now_utc_s, err) != 0)
        return -1;
    render_keeps(&exchange->response, request->param[0], agreeing->keeps);
    return 0;
}
