/* SPDX-License-Identifier: MIT */
#include "server/api/problem.h"

#include <assert.h>
#include <jansson.h>
#include <stdlib.h>

void problem_render(const struct err *err, struct response *response) {
    assert(err->code != ERR_NONE);
    const char *name = err_name(err->code);
    char *rows = text_take(&response->row_errors);
    response_release(response);
    response_init(response);
    response->status = err_status(err->code);
    response->content_type = PROBLEM_CONTENT_TYPE;

    json_t *document = json_pack(
        "{s:o, s:s, s:i, s:s, s:s}", "type", json_sprintf("urn:noonarc:problem:%s", name), "title",
        err_title(err->code), "status", response->status, "detail", err->text, "code", name);
    /* Without a field there is no member "field", rather than an empty one. */
    if (document != NULL && err->field[0] != '\0')
        json_object_set_new(document, "field", json_string(err->field));
    if (document != NULL && rows != NULL && rows[0] != '\0')
        json_object_set_new(document, "errors", json_loads(rows, 0, NULL));
    free(rows);
    char *text = document == NULL ? NULL : json_dumps(document, JSON_COMPACT);
    if (text != NULL)
        text_put(&response->body, text);
    else /* the detail was not UTF-8, or memory is short: the code alone says enough */
        text_format(&response->body,
                    "{\"type\":\"urn:noonarc:problem:%s\",\"title\":\"%s\",\"status\":%d,"
                    "\"code\":\"%s\"}",
                    name, err_title(err->code), response->status, name);
    free(text);
    json_decref(document);
}
