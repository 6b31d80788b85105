/* SPDX-License-Identifier: MIT */
/* audits: who changed what, for organisers. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/audit.h"
#include "server/rules/list.h"

int get_audit(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct page page;
    struct audit_page lines;
    struct json_writer json;
    int64_t before = 0;
    char next[24] = "";
    if (exchange_caller(lookup, exchange, &caller, err) != 0 ||
        request_page(&exchange->request, &page, err) != 0 ||
        page_number_cursor(&page, &before, err) != 0 ||
        audit_list(lookup->db, &caller, before, page.limit, &lines, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_json(&exchange->response, &json);
    json_write_array(&json, "lines");
    for (size_t i = 0; i < lines.count; i++)
        audit_write(&json, NULL, &lines.items[i]);
    json_write_end(&json);
    if (lines.next != 0)
        snprintf(next, sizeof next, "%lld", (long long)lines.next);
    render_next(&json, next);
    json_write_end(&json);
    audit_page_release(&lines);
    return 0;
}

int get_audit_csv(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    struct caller caller;
    struct audit_page lines;
    struct csv_writer csv;
    if (exchange_caller(lookup, exchange, &caller, err) != 0 ||
        audit_list(lookup->db, &caller, 0, LIST_LIMIT_ALL, &lines, err) != 0)
        return -1;
    exchange->response.no_store = true;
    render_csv(&exchange->response, &csv);
    audit_write_header(&csv);
    for (size_t i = 0; i < lines.count; i++)
        audit_write_row(&csv, &lines.items[i]);
    audit_page_release(&lines);
    return 0;
}
