/* SPDX-License-Identifier: MIT */
#include "tests/support/school.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "server/base/instant.h"
#include "server/wire/record_write.h"
#include "tests/support/http.h"
#include "tests/support/simulate.h"

static const struct errors ordinary = {.height_m = 0.0005,
                                       .tilt_deg = 0.02,
                                       .edge_deg = 0.01,
                                       .clock_s = 5.0,
                                       .mark_m = 0.001,
                                       .fuzzy_share = 0.1};
static const struct session around_noon = {.readings = 13, .start_s = -2400.0, .step_s = 400.0};

void school_register(const char *base, struct school *school) {
    char body[512];
    snprintf(body, sizeof body,
             "{\"site\":\"%s\",\"name\":\"%s\",\"lat_deg\":%.6f,\"lon_deg\":%.6f,"
             "\"gnomon_mm\":%.0f,\"contact\":\"office@example.org\"}",
             school->site, school->name, school->lat_deg, school->lon_deg,
             school->gnomon_m * 1000.0);
    json_t *made = http_send(base, "POST", "/api/v1/sites", NULL, body, 201);
    snprintf(school->key, sizeof school->key, "%s",
             json_string_value(json_object_get(made, "school_key")));
    snprintf(school->code, sizeof school->code, "%s",
             json_string_value(json_object_get(made, "class_code")));
    json_decref(made);
}

void school_join(const char *base, const struct school *school, const char *day) {
    char path[256];
    snprintf(path, sizeof path, "/api/v1/days/%s/sites/%s", day, school->site);
    json_decref(http_send(base, "PUT", path, school->key, NULL, 200));
}

void school_measure(const struct school *school, const char *date, uint64_t seed,
                    int64_t supersedes, struct text *body) {
    const struct place place = {school->lat_deg, school->lon_deg, 0.0};
    struct run_record record;
    struct sun_day day;
    struct json_writer json;
    int32_t number = 0;
    assert_true(date_parse(date, &number));
    assert_true(sun_day_build(number, &day));
    run_record_init(&record);
    record.run = simulate_run_of(school->gnomon_m, EDGE_UMBRA);
    record.supersedes = supersedes;
    struct chance chance = chance_seeded(seed);
    simulate_readings(&chance, &place, &day, &ordinary, &around_noon, &record.run);
    json_write_init(&json, body);
    record_write_run_request(&json, NULL, &record);
    assert_false(body->failed);
}
