/* SPDX-License-Identifier: MIT */
/* days: shared measurement days, opened by organisers. */
#include "server/rules/days.h"

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

int get_days(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct page page;
    struct day_page days;
    struct json_writer json;
    if (request_page(&exchange->request, &page, err) != 0 ||
        day_list(lookup->db, page.cursor, page.limit, &days, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "days");
    for (size_t i = 0; i < days.count; i++)
        record_write_day(&json, NULL, &days.items[i]);
    json_write_end(&json);
    render_next(&json, days.next);
    json_write_end(&json);
    day_page_release(&days);
    return 0;
}

static void render_day(struct response *response, const struct day_record *day) {
    response->content_type = "application/json";
    struct json_writer json;
    json_write_init(&json, &response->body);
    record_write_day(&json, NULL, day);
}

int get_day(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct day_record day;
    if (day_get(lookup->db, exchange->request.param[0], &day, err) != 0)
        return -1;
    render_day(&exchange->response, &day);
    return 0;
}

struct opening {
    struct caller caller;
    struct day_record day;
};

int post_days_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct opening *opening = exchange_carry(exchange, sizeof *opening, NULL, err);
    if (opening == NULL || exchange_caller(lookup, exchange, &opening->caller, err) != 0 ||
        caller_may(&opening->caller, ROLE_ORGANISER, NULL, err) != 0)
        return -1;
    return record_read_day(request->body, request->body_length, &opening->day, err);
}

int post_days(struct change *change, struct exchange *exchange, struct err *err) {
    const struct opening *opening = exchange->carried;
    struct day_record day;
    if (day_open(change, &opening->caller, &opening->day, exchange->request.now_utc_s, &day, err) !=
        0)
        return -1;
    render_created(&exchange->response, "/api/v1/days/%s", day.day);
    render_day(&exchange->response, &day);
    return 0;
}
