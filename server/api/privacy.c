/* SPDX-License-Identifier: MIT */
/* privacy: what a school may ask for: all that is kept of it, and to be taken out. */
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/own_data.h"
#include "server/rules/removal.h"
#include "server/wire/field.h"
#include "server/wire/record_write.h"

static int write_data(struct json_writer *json, const struct own_data *data, struct err *err) {
    record_write_site_own(json, "site", &data->site);
    json_write_array(json, "versions");
    for (size_t i = 0; i < data->versions; i++)
        own_data_write_history(json, &data->version[i]);
    json_write_end(json);
    json_write_array(json, "runs");
    for (size_t i = 0; i < data->runs; i++)
        if (render_run_view(json, NULL, &data->run[i], err) != 0)
            return -1;
    json_write_end(json);
    json_write_array(json, "reviews");
    for (size_t i = 0; i < data->reviews; i++)
        review_write(json, NULL, &data->review[i]);
    json_write_end(json);
    json_write_array(json, "happenings");
    for (size_t i = 0; i < data->happenings; i++)
        own_data_write_happening(json, &data->happening[i]);
    json_write_end(json);
    json_write_array(json, "audit");
    for (size_t i = 0; i < data->lines; i++)
        audit_write(json, NULL, &data->line[i]);
    json_write_end(json);
    return 0;
}

int get_site_data(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct own_data data;
    struct json_writer json;
    if (exchange_caller(lookup, exchange, &caller, err) != 0 ||
        own_data_gather(lookup->db, lookup->almanac, &caller, exchange->request.param[0], &data,
                        err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    int status = write_data(&json, &data, err);
    json_write_end(&json);
    own_data_release(&data);
    return status;
}

struct removal {
    struct caller caller;
    const char *reason;
    bool withdraw;
};

int delete_site_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct removal *removal = exchange_carry(exchange, sizeof *removal, NULL, err);
    if (removal == NULL || exchange_caller(lookup, exchange, &removal->caller, err) != 0 ||
        caller_may(&removal->caller, ROLE_SCHOOL, request->param[0], err) != 0)
        return -1;
    const char *reason = request_query(request, "reason");
    const char *runs = request_query(request, "runs");
    removal->reason = reason == NULL ? "" : reason;
    removal->withdraw = runs != NULL && strcmp(runs, "withdraw") == 0;
    if (runs != NULL && !removal->withdraw && strcmp(runs, "keep") != 0)
        return err_set(err, ERR_BAD_QUERY, "runs", "runs is keep or withdraw");
    if (!field_text_is_clean(removal->reason, strlen(removal->reason), false) ||
        strlen(removal->reason) > REMOVAL_REASON_MAX)
        return err_set(err, ERR_BAD_QUERY, "reason", "reason is text of at most %d bytes",
                       REMOVAL_REASON_MAX);
    return 0;
}

int delete_site(struct change *change, struct exchange *exchange, struct err *err) {
    const struct removal *removal = exchange->carried;
    char identifier[ID_MAX + 1];
    struct json_writer json;
    if (site_remove(change, &removal->caller, exchange->request.param[0], removal->reason,
                    removal->withdraw, exchange->request.now_utc_s, identifier, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_text(&json, "removed", exchange->request.param[0]);
    json_write_text(&json, "site", identifier);
    json_write_end(&json);
    return 0;
}
