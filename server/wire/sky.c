/* SPDX-License-Identifier: MIT */
#include "server/wire/sky.h"

#include <string.h>

#include "server/wire/field.h"
#include "server/wire/json_read.h"

static const char *const names[SKY_COUNT] = {
    [SKY_UNTOLD] = NULL,         [SKY_CLEAR] = "clear",         [SKY_BROKEN] = "broken",
    [SKY_OVERCAST] = "overcast", [SKY_GONE_HOME] = "gone_home",
};

const char *sky_name(enum sky sky) {
    return names[sky];
}

bool sky_parse(const char *name, enum sky *out) {
    for (int sky = SKY_CLEAR; sky < SKY_COUNT; sky++)
        if (strcmp(names[sky], name) == 0) {
            *out = (enum sky)sky;
            return true;
        }
    return false;
}

bool sky_is_open(enum sky sky) {
    return sky != SKY_OVERCAST && sky != SKY_GONE_HOME;
}

int sky_read(const char *json, size_t length, enum sky *out, struct err *err) {
    enum sky sky = SKY_UNTOLD;
    if (json_read_record(json, length, &sky_fields, &sky, NULL, err) != 0)
        return -1;
    *out = sky;
    return 0;
}

void sky_write(struct json_writer *json, const char *key, const struct sky_record *record) {
    json_write_object(json, key);
    json_write_text(json, "site", record->site);
    json_write_text(json, "name", record->name);
    sky_write_state(json, record);
    json_write_end(json);
}

void sky_write_state(struct json_writer *json, const struct sky_record *record) {
    json_write_text(json, "sky", sky_name(record->sky));
    json_write_instant(json, "reported_utc", record->reported_utc_s, 0);
    if (record->run != 0)
        json_write_integer(json, "run", record->run);
    else
        json_write_null(json, "run");
    json_write_integer(json, "readings", record->readings);
}

void sky_write_counts(struct json_writer *json, const char *key, const struct sky_counts *counts) {
    int64_t all = 0;
    for (int sky = 0; sky < SKY_COUNT; sky++)
        all += counts->sites[sky];
    json_write_object(json, key);
    json_write_integer(json, "sites", all);
    for (int sky = SKY_CLEAR; sky < SKY_COUNT; sky++)
        json_write_integer(json, names[sky], counts->sites[sky]);
    json_write_integer(json, "untold", counts->sites[SKY_UNTOLD]);
    json_write_integer(json, "runs", counts->runs);
    json_write_integer(json, "readings", counts->readings);
    json_write_end(json);
}

void sky_write_header(struct csv_writer *csv) {
    static const char *const columns[] = {"site", "name", "sky", "reported_utc", "readings"};
    for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
        csv_write_text(csv, columns[i]);
    csv_write_row_end(csv);
}

void sky_write_row(struct csv_writer *csv, const struct sky_record *record) {
    csv_write_text(csv, record->site);
    csv_write_text(csv, record->name);
    csv_write_text(csv, record->sky == SKY_UNTOLD ? "" : sky_name(record->sky));
    if (record->sky == SKY_UNTOLD)
        csv_write_text(csv, "");
    else
        csv_write_instant(csv, record->reported_utc_s, 0);
    csv_write_integer(csv, record->readings);
    csv_write_row_end(csv);
}
