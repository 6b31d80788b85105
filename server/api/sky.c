/* SPDX-License-Identifier: MIT */
/* sky: the sky board, and what one school says of its sky. */
#include "server/rules/sky.h"

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/list.h"

int get_sky(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct page page;
    struct sky_page board;
    struct json_writer json;
    if (request_page(request, &page, err) != 0 ||
        sky_board(lookup->db, request->param[0], page.cursor, page.limit, &board, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_text(&json, "day", request->param[0]);
    sky_write_counts(&json, "counts", &board.counts);
    json_write_array(&json, "sites");
    for (size_t i = 0; i < board.count; i++)
        sky_write(&json, NULL, &board.items[i]);
    json_write_end(&json);
    render_next(&json, board.next);
    json_write_end(&json);
    sky_page_release(&board);
    return 0;
}

int get_sky_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct sky_page board;
    struct csv_writer csv;
    if (sky_board(lookup->db, exchange->request.param[0], "", LIST_LIMIT_ALL, &board, err) != 0)
        return -1;
    render_csv(&exchange->response, &csv);
    sky_write_header(&csv);
    for (size_t i = 0; i < board.count; i++)
        sky_write_row(&csv, &board.items[i]);
    sky_page_release(&board);
    return 0;
}

struct saying {
    struct caller caller;
    enum sky sky;
};

int put_sky_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct saying *saying = exchange_carry(exchange, sizeof *saying, NULL, err);
    if (saying == NULL || exchange_caller(lookup, exchange, &saying->caller, err) != 0 ||
        caller_may(&saying->caller, ROLE_CLASS, request->param[1], err) != 0)
        return -1;
    return sky_read(request->body, request->body_length, &saying->sky, err);
}

int put_sky(struct change *change, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    const struct saying *saying = exchange->carried;
    struct sky_record line;
    struct json_writer json;
    if (sky_report(change, &saying->caller, request->param[0], request->param[1], saying->sky,
                   request->now_utc_s, &line, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_text(&json, "day", request->param[0]);
    sky_write(&json, "report", &line);
    json_write_end(&json);
    return 0;
}
