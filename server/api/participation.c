/* SPDX-License-Identifier: MIT */
/* participation: which sites take part in a day. */
#include <math.h>
#include <stdlib.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/days.h"
#include "server/wire/geojson.h"
#include "server/wire/record_write.h"
#include "server/wire/spreadsheet.h"

/* ?status=waiting and the like; those that take part when nothing is said. */
static int asked_status(const struct request *request, enum stand *out, struct err *err) {
    const char *status = request_query(request, "status");
    enum stand stand = STAND_TAKEN;
    if (status != NULL && (!stand_parse(status, &stand) || stand == STAND_NONE))
        return err_set(err, ERR_BAD_QUERY, "status", "status is taking_part, waiting or refused");
    *out = stand;
    return 0;
}

int get_day_sites(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct page page;
    struct participant_page sites;
    struct json_writer json;
    enum stand stand = STAND_TAKEN;
    if (request_page(request, &page, err) != 0 || asked_status(request, &stand, err) != 0 ||
        day_standing_list(lookup->db, request->param[0], stand, page.cursor, page.limit, &sites,
                          err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "sites");
    for (size_t i = 0; i < sites.count; i++)
        record_write_site(&json, NULL, &sites.items[i].site);
    json_write_end(&json);
    render_next(&json, sites.next);
    json_write_end(&json);
    participant_page_release(&sites);
    return 0;
}

/* With the instrument that was used, where there is a run: together with the
 * day's readings the spreadsheet then gives the same reductions again. */
int get_day_sites_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct participant_page sites;
    struct csv_writer csv;
    if (day_participants(lookup->db, exchange->request.param[0], "", LIST_LIMIT_ALL, &sites, err) !=
        0)
        return -1;
    render_csv(&exchange->response, &csv);
    sheet_write_sites_header(&csv);
    for (size_t i = 0; i < sites.count; i++) {
        struct site_record site = sites.items[i].site;
        if (sites.items[i].run != 0) {
            site.gnomon_mm = sites.items[i].run_gnomon_mm;
            site.edge = sites.items[i].run_edge;
        }
        sheet_write_site(&csv, &site);
    }
    participant_page_release(&sites);
    return 0;
}

int get_day_sites_geojson(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct participant_page page;
    if (day_participants(lookup->db, exchange->request.param[0], "", LIST_LIMIT_ALL, &page, err) !=
        0)
        return -1;
    struct site_record *sites = calloc(page.count + 1, sizeof *sites);
    if (sites == NULL) {
        participant_page_release(&page);
        return err_set(err, ERR_INTERNAL, NULL, "memory is short");
    }
    for (size_t i = 0; i < page.count; i++)
        sites[i] = page.items[i].site;
    exchange->response.content_type = "application/geo+json";
    geojson_write_sites(&exchange->response.body, sites, page.count);
    free(sites);
    participant_page_release(&page);
    return 0;
}

static int check_may(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller *caller = exchange_carry(exchange, sizeof *caller, NULL, err);
    if (caller == NULL || exchange_caller(lookup, exchange, caller, err) != 0)
        return -1;
    return caller_may(caller, ROLE_SCHOOL, exchange->request.param[1], err);
}

int put_day_site_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    return check_may(lookup, exchange, err);
}

int put_day_site(struct change *change, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct warnings warnings = {.count = 0};
    enum stand stand;
    if (day_join(change, exchange->carried, request->param[0], request->param[1],
                 request->now_utc_s, &stand, &warnings, err) != 0)
        return -1;
    render_stand(&exchange->response, request, stand, &warnings);
    return 0;
}

int delete_day_site_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    return check_may(lookup, exchange, err);
}

int delete_day_site(struct change *change, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    if (day_leave(change, exchange->carried, request->param[0], request->param[1],
                  request->now_utc_s, err) != 0)
        return -1;
    exchange->response.status = 204;
    return 0;
}
