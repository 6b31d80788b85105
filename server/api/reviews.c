/* SPDX-License-Identifier: MIT */
/* reviews: the queue of runs to look at, and what was said about a run. */
#include <stdlib.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/review.h"

int get_day_review(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    const char *wanted = request_query(request, "status");
    struct caller caller;
    struct page page;
    struct review_page queue;
    struct json_writer json;
    enum review_status status;
    if (exchange_caller(lookup, exchange, &caller, err) != 0 ||
        request_page(request, &page, err) != 0)
        return -1;
    if (wanted != NULL && !review_status_parse(wanted, &status))
        return err_set(err, ERR_BAD_QUERY, "status",
                       "status is open, asked, answered, excluded or accepted");
    if (review_queue(lookup->db, lookup->almanac, &caller, request->param[0],
                     wanted != NULL ? &status : NULL, page.cursor, page.limit, &queue, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_array(&json, "runs");
    for (size_t i = 0; i < queue.count; i++)
        review_write_item(&json, NULL, &queue.items[i]);
    json_write_end(&json);
    render_next(&json, queue.next);
    json_write_end(&json);
    review_page_release(&queue);
    return 0;
}

int get_run_reviews(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct review_record *reviews;
    struct json_writer json;
    size_t count;
    int64_t run;
    if (exchange_caller(lookup, exchange, &caller, err) != 0 ||
        request_id(&exchange->request, 0, &run, err) != 0 ||
        review_list(lookup->db, &caller, run, &reviews, &count, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_array(&json, "reviews");
    for (size_t i = 0; i < count; i++)
        review_write(&json, NULL, &reviews[i]);
    json_write_end(&json);
    json_write_end(&json);
    free(reviews);
    return 0;
}

struct saying {
    struct caller caller;
    struct review_record review;
};

int post_run_reviews_check(const struct lookup *lookup, struct exchange *exchange,
                           struct err *err) {
    const struct request *request = &exchange->request;
    struct saying *saying = exchange_carry(exchange, sizeof *saying, NULL, err);
    if (saying == NULL || exchange_caller(lookup, exchange, &saying->caller, err) != 0 ||
        caller_may(&saying->caller, ROLE_SCHOOL, saying->caller.site_id, err) != 0 ||
        request_id(request, 0, &saying->review.run, err) != 0)
        return -1;
    return review_read(request->body, request->body_length, &saying->review, err);
}

int post_run_reviews(struct change *change, struct exchange *exchange, struct err *err) {
    const struct saying *saying = exchange->carried;
    struct response *response = &exchange->response;
    struct review_record made;
    struct json_writer json;
    if (review_record(change, &saying->caller, &saying->review, exchange->request.now_utc_s, &made,
                      err) != 0)
        return -1;
    response->status = 201;
    response->content_type = "application/json";
    json_write_init(&json, &response->body);
    review_write(&json, NULL, &made);
    return 0;
}
