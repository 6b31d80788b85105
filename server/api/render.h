/* SPDX-License-Identifier: MIT */
/* render: how the answers of all resources begin and end. */
#ifndef NOONARC_RENDER_H
#define NOONARC_RENDER_H

#include "server/api/exchange.h"
#include "server/rules/runs.h"
#include "server/wire/csv.h"
#include "server/wire/json_write.h"
#include "server/wire/warning.h"

/* A JSON object as the body; close it with json_write_end. */
void render_json(struct response *response, struct json_writer *json);

/* 201, and where the new thing is. */
void render_created(struct response *response, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* {"day","site","status","warnings"}: how the site of the request's address stands to
 * the day of it. */
void render_stand(struct response *response, const struct request *request, enum stand stand,
                  const struct warnings *warnings);

/* A spreadsheet as the body. */
void render_csv(struct response *response, struct csv_writer *csv);

/* "next_cursor": null on the last page. */
void render_next(struct json_writer *json, const char *next);

/* A run with its reduction: {"run", "reduction", "noon_date", "of_date"}. */
int render_run_view(struct json_writer *json, const char *key, const struct run_view *view,
                    struct err *err);

#endif
