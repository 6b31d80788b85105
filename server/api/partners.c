/* SPDX-License-Identifier: MIT */
/* partners: who works with whom on a day. */
#include "server/rules/partners.h"

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/list.h"

struct choosing {
    struct caller caller;
    struct partnering partnering;
};

static void forget(void *carried) {
    partnering_release(&((struct choosing *)carried)->partnering);
}

/* Seconds for a large day, and no store: between the two halves of the write. */
static int choose(struct exchange *exchange, struct err *err) {
    struct choosing *choosing = exchange->carried;
    return partnering_choose(&choosing->partnering, err);
}

int post_partners_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct choosing *choosing = exchange_carry(exchange, sizeof *choosing, forget, err);
    if (choosing == NULL || exchange_caller(lookup, exchange, &choosing->caller, err) != 0)
        return -1;
    exchange->labour = choose;
    return partnering_load(lookup->db, lookup->almanac, &choosing->caller,
                           exchange->request.param[0], &choosing->partnering, err);
}

int post_partners(struct change *change, struct exchange *exchange, struct err *err) {
    const struct choosing *choosing = exchange->carried;
    const struct matching *matching = &choosing->partnering.matching;
    struct json_writer json;
    if (partnering_record(change, &choosing->caller, &choosing->partnering,
                          exchange->request.now_utc_s, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    render_created(&exchange->response, "/api/v1/days/%s/partners", exchange->request.param[0]);
    json_write_text(&json, "day", exchange->request.param[0]);
    json_write_text(&json, "method", MATCHING_METHOD);
    json_write_integer(&json, "sites", (int64_t)choosing->partnering.count);
    json_write_integer(&json, "pairs", (int64_t)matching->pairs);
    json_write_integer(&json, "threes", (int64_t)matching->threes);
    json_write_integer(&json, "alone", (int64_t)matching->alone);
    json_write_real(&json, "mean_expected_sigma_km", matching->sigma_km / (double)matching->pairs);
    json_write_bool(&json, "exact", matching->exact);
    json_write_end(&json);
    return 0;
}

int get_partners(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct page page;
    struct partners_page partners;
    struct json_writer json;
    if (request_page(request, &page, err) != 0 ||
        partners_list(lookup->db, request->param[0], page.cursor, page.limit, &partners, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_text(&json, "day", request->param[0]);
    json_write_instant(&json, "chosen_utc", partners.chosen_utc_s, 0);
    json_write_array(&json, "sites");
    for (size_t i = 0; i < partners.count; i++)
        partners_write(&json, NULL, &partners.items[i]);
    json_write_end(&json);
    render_next(&json, partners.next);
    json_write_end(&json);
    partners_page_release(&partners);
    return 0;
}

int get_partners_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct partners_page partners;
    struct csv_writer csv;
    if (partners_list(lookup->db, exchange->request.param[0], "", LIST_LIMIT_ALL, &partners, err) !=
        0)
        return -1;
    render_csv(&exchange->response, &csv);
    partners_write_header(&csv);
    for (size_t i = 0; i < partners.count; i++)
        partners_write_rows(&csv, &partners.items[i]);
    partners_page_release(&partners);
    return 0;
}

int get_partner(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct partners_record partners;
    struct json_writer json;
    if (partners_of(lookup->db, request->param[0], request->param[1], &partners, err) != 0)
        return -1;
    exchange->response.content_type = "application/json";
    json_write_init(&json, &exchange->response.body);
    partners_write(&json, NULL, &partners);
    return 0;
}
