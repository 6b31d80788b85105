/* SPDX-License-Identifier: MIT */
/* audit: the same seven columns either way. */
#include "server/wire/audit.h"

#include "server/base/instant.h"

void audit_write(struct json_writer *json, const char *key, const struct audit_record *line) {
    json_write_object(json, key);
    json_write_integer(json, "number", line->number);
    json_write_instant(json, "at_utc", line->at_utc_s, 3);
    json_write_text(json, "role", line->role);
    json_write_text_or_null(json, "by", line->by);
    json_write_text(json, "action", line->action);
    json_write_text(json, "subject", line->subject);
    json_write_text_or_null(json, "detail", line->detail);
    json_write_end(json);
}

void audit_write_header(struct csv_writer *csv) {
    static const char *const columns[] = {"number", "at_utc",  "role",  "by",
                                          "action", "subject", "detail"};
    for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
        csv_write_text(csv, columns[i]);
    csv_write_row_end(csv);
}

void audit_write_row(struct csv_writer *csv, const struct audit_record *line) {
    csv_write_integer(csv, line->number);
    csv_write_instant(csv, line->at_utc_s, 3);
    csv_write_text(csv, line->role);
    csv_write_text(csv, line->by);
    csv_write_text(csv, line->action);
    csv_write_text(csv, line->subject);
    csv_write_text(csv, line->detail);
    csv_write_row_end(csv);
}
