/* SPDX-License-Identifier: MIT */
#include "server/api/render.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

void render_json(struct response *response, struct json_writer *json) {
    response->content_type = "application/json";
    json_write_init(json, &response->body);
    json_write_object(json, NULL);
}

void render_created(struct response *response, const char *format, ...) {
    va_list args;
    response->status = 201;
    va_start(args, format);
    vsnprintf(response->location, sizeof response->location, format, args);
    va_end(args);
}

void render_stand(struct response *response, const struct request *request, enum stand stand,
                  const struct warnings *warnings) {
    struct json_writer json;
    render_json(response, &json);
    json_write_text(&json, "day", request->param[0]);
    json_write_text(&json, "site", request->param[1]);
    json_write_text(&json, "status", stand_name(stand));
    warning_write(&json, warnings);
    json_write_end(&json);
}

void render_csv(struct response *response, struct csv_writer *csv) {
    response->content_type = "text/csv; charset=utf-8; header=present";
    csv_writer_init(csv, &response->body);
}

void render_next(struct json_writer *json, const char *next) {
    json_write_text_or_null(json, "next_cursor", next);
}

/* The body was checked when it came in; that it cannot be read any more is a
 * failure of ours, not of the reader's. */
int render_run_view(struct json_writer *json, const char *key, const struct run_view *view,
                    struct err *err) {
    struct run_record run;
    struct err ours = {0};
    const struct run_state state = {.submitted_utc_s = view->submitted_utc_s,
                                    .superseded_by = view->superseded_by,
                                    .withdrawn_utc_s = view->withdrawn_utc_s};
    if (record_read_run(view->body, view->body_length, &run, &ours) != 0)
        return err_set(err, ERR_STORAGE, NULL, "run %lld cannot be read: %s", (long long)view->run,
                       ours.text);
    run.id = view->run;
    run.supersedes = view->supersedes;
    memcpy(run.site, view->site, sizeof run.site);
    memcpy(run.day, view->day, sizeof run.day);
    json_write_object(json, key);
    record_write_run(json, "run", &run, &state);
    json_write_raw(json, "reduction", view->reduction_json, strlen(view->reduction_json));
    json_write_date(json, "noon_date", view->noon_date);
    json_write_bool(json, "of_date", view->of_date);
    json_write_end(json);
    return 0;
}
