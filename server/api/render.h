/* SPDX-License-Identifier: MIT */
/* render: how the answers of all resources begin and end. */
#ifndef NOONARC_RENDER_H
#define NOONARC_RENDER_H

#include "server/api/exchange.h"
#include "server/wire/csv.h"
#include "server/wire/json_write.h"

/* A JSON object as the body; close it with json_write_end. */
void render_json(struct response *response, struct json_writer *json);

/* 201, and where the new thing is. */
void render_created(struct response *response, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* A spreadsheet as the body. */
void render_csv(struct response *response, struct csv_writer *csv);

/* "next_cursor": null on the last page. */
void render_next(struct json_writer *json, const char *next);

#endif
