/* SPDX-License-Identifier: MIT */
/* runs: what classes send in, and what became of it. */
#include "server/rules/runs.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/accept.h"
#include "server/rules/sites.h"
#include "server/wire/field.h"
#include "server/wire/personal.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

struct handing_in {
    struct caller caller;
    struct run_record run;
    struct submission submission;
    struct prepared prepared;
};

int post_runs_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct handing_in *handing = exchange_carry_raw(exchange, sizeof *handing, err);
    const char *key;
    if (handing == NULL || exchange_caller(lookup, exchange, &handing->caller, err) != 0 ||
        caller_may(&handing->caller, ROLE_CLASS, request->param[1], err) != 0 ||
        request_idempotency_key(request, &key, err) != 0 ||
        record_read_run(request->body, request->body_length, &handing->run, err) != 0)
        return -1;
    memcpy(handing->run.day, request->param[0], sizeof handing->run.day);
    memcpy(handing->run.site, request->param[1], sizeof handing->run.site);
    handing->submission = (struct submission){.caller = &handing->caller,
                                              .run = &handing->run,
                                              .body = request->body,
                                              .body_length = request->body_length,
                                              .idempotency_key = key,
                                              .now_utc_s = request->now_utc_s};
    const struct book_view view = lookup_view(lookup);
    return accept_prepare(&view, lookup->almanac, &handing->submission, &handing->prepared, err);
}

/* What a class writes beside its readings is public. */
static void warn_of_words(const struct run_record *run, struct warnings *warnings) {
    personal_warn("/sky", run->sky, warnings);
    personal_warn("/level", run->level, warnings);
    personal_warn("/note", run->note, warnings);
}

static int write_answer(const struct accepted *accepted, struct text *out, struct err *err) {
    struct json_writer json;
    struct warnings warnings = {.count = 0};
    json_write_init(&json, out);
    json_write_object(&json, NULL);
    record_write_run_state(&json, "run", accepted->run, accepted->sent, accepted->state);
    record_write_reduction(&json, "reduction", accepted->reduction);
    json_write_array(&json, "pairs");
    for (size_t i = 0; i < accepted->pairs_count; i++)
        record_write_pair(&json, NULL, &accepted->pairs[i]);
    json_write_end(&json);
    warn_of_words(accepted->sent, &warnings);
    warning_write(&json, &warnings);
    json_write_end(&json);
    return out->failed ? err_set(err, ERR_INTERNAL, NULL, "the answer does not fit") : 0;
}

int post_runs(struct change *change, struct exchange *exchange, struct err *err) {
    struct handing_in *handing = exchange->carried;
    struct response *response = &exchange->response;
    bool replayed;
    if (accept_run(change, &handing->submission, &handing->prepared, write_answer, &response->body,
                   &replayed, err) != 0)
        return -1;
    response->status = 201;
    response->content_type = "application/json";
    return 0;
}

static int render_view(struct response *response, struct run_view *view, struct err *err) {
    struct json_writer json;
    response->content_type = "application/json";
    json_write_init(&json, &response->body);
    int status = render_run_view(&json, NULL, view, err);
    run_view_release(view);
    return status;
}

int get_run(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct run_view view;
    int64_t id;
    if (request_id(&exchange->request, 0, &id, err) != 0 ||
        run_get(lookup->db, lookup->almanac, id, &view, err) != 0)
        return -1;
    return render_view(&exchange->response, &view, err);
}

int get_site_run(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct run_view view;
    if (run_of_site(lookup->db, lookup->almanac, exchange->request.param[0],
                    exchange->request.param[1], &view, err) != 0)
        return -1;
    return render_view(&exchange->response, &view, err);
}

int get_day_runs(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct page page;
    struct run_page runs;
    struct json_writer json;
    int status = 0;
    if (request_page(&exchange->request, &page, err) != 0 ||
        run_list(lookup->db, lookup->almanac, exchange->request.param[0], page.cursor, page.limit,
                 &runs, err) != 0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_array(&json, "runs");
    for (size_t i = 0; i < runs.count && status == 0; i++)
        status = render_run_view(&json, NULL, &runs.items[i], err);
    json_write_end(&json);
    render_next(&json, runs.next);
    json_write_end(&json);
    run_page_release(&runs);
    return status;
}

struct withdrawal {
    struct caller caller;
    int64_t run;
    const char *reason;
};

int delete_run_check(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct withdrawal *withdrawal = exchange_carry(exchange, sizeof *withdrawal, NULL, err);
    if (withdrawal == NULL || exchange_caller(lookup, exchange, &withdrawal->caller, err) != 0 ||
        request_id(&exchange->request, 0, &withdrawal->run, err) != 0)
        return -1;
    const char *reason = request_query(&exchange->request, "reason");
    withdrawal->reason = reason == NULL ? "" : reason;
    if (!field_text_is_clean(withdrawal->reason, strlen(withdrawal->reason), false) ||
        strlen(withdrawal->reason) > WEATHER_MAX)
        return err_set(err, ERR_BAD_QUERY, "reason", "reason is text of at most %d bytes",
                       WEATHER_MAX);
    return 0;
}

int delete_run(struct change *change, struct exchange *exchange, struct err *err) {
    const struct withdrawal *withdrawal = exchange->carried;
    if (accept_withdraw(change, &withdrawal->caller, withdrawal->run, withdrawal->reason,
                        exchange->request.now_utc_s, err) != 0)
        return -1;
    exchange->response.status = 204;
    return 0;
}
