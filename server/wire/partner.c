/* SPDX-License-Identifier: MIT */
#include "server/wire/partner.h"

#include <math.h>
#include <string.h>

static const char *const names[PARTNER_KINDS] = {
    [PARTNER_ASSIGNED] = "assigned",
    [PARTNER_OFFERED] = "offered",
    [PARTNER_SECOND] = "second",
};

const char *partner_kind_name(enum partner_kind kind) {
    return names[kind];
}

bool partner_kind_parse(const char *name, enum partner_kind *out) {
    for (int kind = 0; kind < PARTNER_KINDS; kind++)
        if (strcmp(names[kind], name) == 0) {
            *out = (enum partner_kind)kind;
            return true;
        }
    return false;
}

void partner_write(struct json_writer *json, const char *key, const struct partner_record *record) {
    json_write_object(json, key);
    json_write_text(json, "site", record->partner.site);
    json_write_text(json, "name", record->partner.name);
    json_write_text(json, "kind", partner_kind_name(record->kind));
    json_write_text_or_null(json, "because", record->because);
    json_write_real(json, "expected_sigma_km", record->expected_sigma_km);
    sky_write_state(json, &record->partner);
    json_write_end(json);
}

void partners_write(struct json_writer *json, const char *key,
                    const struct partners_record *record) {
    json_write_object(json, key);
    json_write_text(json, "site", record->site);
    json_write_text(json, "name", record->name);
    json_write_array(json, "partners");
    for (int i = 0; i < record->count; i++)
        partner_write(json, NULL, &record->item[i]);
    json_write_end(json);
    json_write_end(json);
}

void partners_write_header(struct csv_writer *csv) {
    static const char *const columns[] = {"site", "partner", "kind", "because",
                                          "expected_sigma_km"};
    for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
        csv_write_text(csv, columns[i]);
    csv_write_row_end(csv);
}

void partners_write_rows(struct csv_writer *csv, const struct partners_record *record) {
    for (int i = 0; i < record->count || i == 0; i++) {
        bool one = i < record->count;
        csv_write_text(csv, record->site);
        csv_write_text(csv, one ? record->item[i].partner.site : "");
        csv_write_text(csv, one ? partner_kind_name(record->item[i].kind) : "");
        csv_write_text(csv, one ? record->item[i].because : "");
        csv_write_real(csv, one ? record->item[i].expected_sigma_km : NAN);
        csv_write_row_end(csv);
    }
}
