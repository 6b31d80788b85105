/* SPDX-License-Identifier: MIT */
/* days: shared measurement days: opened by organisers, looked at by everyone, and
 * what organisers decide about them afterwards. */
#include "server/rules/days.h"

#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/day_states.h"
#include "server/wire/field.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

/* Organisers see more than others: nobody may keep that for the next who asks. */
static int asking(const struct lookup *lookup, struct exchange *exchange, struct caller *out,
                  struct err *err) {
    if (exchange_caller(lookup, exchange, out, err) != 0)
        return -1;
    exchange->response.no_store = out->role == ROLE_ORGANISER;
    return 0;
}

int get_days(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const char *season = request_query(&exchange->request, "season");
    struct page page;
    struct caller caller;
    struct day_page days;
    struct json_writer json;
    if (season != NULL && !field_is_id(season))
        return err_set(err, ERR_BAD_QUERY, "season", "that is no identifier of a season");
    if (request_page(&exchange->request, &page, err) != 0 ||
        asking(lookup, exchange, &caller, err) != 0 ||
        day_list(lookup->db, &caller, season == NULL ? "" : season, page.cursor, page.limit, &days,
                 err) != 0)
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

int get_day(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct day_record day;
    struct json_writer json;
    if (asking(lookup, exchange, &caller, err) != 0 ||
        day_get(lookup->db, &caller, exchange->request.param[0], &day, err) != 0)
        return -1;
    exchange->response.content_type = "application/json";
    json_write_init(&json, &exchange->response.body);
    record_write_day(&json, NULL, &day);
    return 0;
}

/* The day with "warnings" beside its own members. */
static void render_day(struct response *response, const struct day_record *day,
                       const struct warnings *warnings) {
    struct json_writer json;
    render_json(response, &json);
    record_write_day_fields(&json, day);
    warning_write(&json, warnings);
    json_write_end(&json);
}

int get_day_history(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct day_history history;
    struct json_writer json;
    if (asking(lookup, exchange, &caller, err) != 0 ||
        day_history_of(lookup->db, &caller, exchange->request.param[0], &history, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "history");
    for (size_t i = 0; i < history.count; i++)
        record_write_day_event(&json, NULL, &history.items[i]);
    json_write_end(&json);
    json_write_end(&json);
    day_history_release(&history);
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
    const double now_utc_s = exchange->request.now_utc_s;
    struct day_record day;
    struct warnings warnings = {.count = 0};
    if (day_open(change, &opening->caller, &opening->day, now_utc_s, &day, err) != 0)
        return -1;
    day_warn(&day, now_utc_s, &warnings);
    render_created(&exchange->response, "/api/v1/days/%s", day.day);
    render_day(&exchange->response, &day, &warnings);
    return 0;
}

struct deciding {
    struct caller caller;
    struct decision_record decision;
};

static int check_decision(const struct lookup *lookup, struct exchange *exchange,
                          const struct field_table *table, struct err *err) {
    const struct request *request = &exchange->request;
    struct deciding *deciding = exchange_carry(exchange, sizeof *deciding, NULL, err);
    if (deciding == NULL || exchange_caller(lookup, exchange, &deciding->caller, err) != 0 ||
        caller_may(&deciding->caller, ROLE_ORGANISER, NULL, err) != 0)
        return -1;
    return record_read_decision(request->body, request->body_length, table, &deciding->decision,
                                err);
}

int post_day_state_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    return check_decision(lookup, exchange, &state_fields, err);
}

int post_day_state(struct change *change, struct exchange *exchange, struct err *err) {
    const struct deciding *deciding = exchange->carried;
    const double now_utc_s = exchange->request.now_utc_s;
    struct day_record day;
    struct warnings warnings = {.count = 0};
    if (day_change_state(change, &deciding->caller, exchange->request.param[0], &deciding->decision,
                         now_utc_s, &day, err) != 0)
        return -1;
    if (day.state == DAY_ANNOUNCED)
        day_warn(&day, now_utc_s, &warnings);
    render_day(&exchange->response, &day, &warnings);
    return 0;
}

int post_day_move_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    return check_decision(lookup, exchange, &move_fields, err);
}

int post_day_move(struct change *change, struct exchange *exchange, struct err *err) {
    const struct deciding *deciding = exchange->carried;
    struct day_record day;
    struct warnings warnings = {.count = 0};
    if (day_move(change, &deciding->caller, exchange->request.param[0], &deciding->decision,
                 exchange->request.now_utc_s, &day, &warnings, err) != 0)
        return -1;
    render_day(&exchange->response, &day, &warnings);
    return 0;
}

int put_day_blind_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    return check_decision(lookup, exchange, &blind_fields, err);
}

int put_day_blind(struct change *change, struct exchange *exchange, struct err *err) {
    const struct deciding *deciding = exchange->carried;
    struct day_record day;
    const struct warnings warnings = {.count = 0};
    if (day_set_blind(change, &deciding->caller, exchange->request.param[0], &deciding->decision,
                      exchange->request.now_utc_s, &day, err) != 0)
        return -1;
    render_day(&exchange->response, &day, &warnings);
    return 0;
}

int put_approval_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    return check_decision(lookup, exchange, &approval_fields, err);
}

int put_approval(struct change *change, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    const struct deciding *deciding = exchange->carried;
    enum stand stand;
    const struct warnings warnings = {.count = 0};
    if (day_approve(change, &deciding->caller, request->param[0], request->param[1],
                    &deciding->decision, request->now_utc_s, &stand, err) != 0)
        return -1;
    render_stand(&exchange->response, request, stand, &warnings);
    return 0;
}
