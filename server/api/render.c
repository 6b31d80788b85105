/* SPDX-License-Identifier: MIT */
#include "server/api/render.h"

#include <stdarg.h>
#include <stdio.h>

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
