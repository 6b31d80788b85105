/* SPDX-License-Identifier: MIT */
/* plans: what a class needs to know before the day. Neither the expected angle
 * nor the expected shadow is told: a class that knows the answer measures it. */
#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/rules/plan.h"

static const char *const cautions[] = {
    "Never look at the Sun, with or without an instrument: turn your back to it.",
    "A tall pole needs guy ropes, a clear fall zone and an adult beside it.",
    "Shade, water, a hat and sunscreen for everyone who waits for noon.",
    "Local rules and the school's own risk assessment come first.",
};

static void write_date(struct json_writer *json, const struct plan_date *date) {
    bool measurable = date->status == NOON_MEASURABLE;
    json_write_object(json, NULL);
    json_write_date(json, "date", date->date);
    json_write_text(json, "status", noon_status_name(date->status));
    json_write_text(json, "reason", measurable ? NULL : noon_status_text(date->status));
    json_write_instant(json, "transit_utc", date->transit_utc_s, 0);
    json_write_instant(json, "start_utc", date->start_utc_s, 0);
    json_write_instant(json, "stop_utc", date->stop_utc_s, 0);
    json_write_text(json, "sun_height", measurable ? sun_height_name(date->sun_height) : NULL);
    json_write_real(json, "gnomon_mm", date->gnomon_mm);
    json_write_real(json, "fuzzy_mm", date->fuzzy_mm);
    json_write_end(json);
}

static void write_partner(struct json_writer *json, const struct plan_partner *partner) {
    json_write_object(json, NULL);
    json_write_text(json, "site", partner->site);
    json_write_text(json, "name", partner->name);
    json_write_real(json, "separation_km", partner->separation_km);
    json_write_real(json, "lon_difference_deg", partner->lon_difference_deg);
    json_write_real(json, "expected_sigma_km", partner->expected_sigma_km);
    json_write_bool(json, "allowed", partner->allowed);
    json_write_end(json);
}

int get_plan(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct plan plan;
    struct json_writer json;
    if (plan_make(lookup->db, lookup->almanac, request->param[0], request->param[1], &plan, err) !=
        0)
        return -1;
    render_json(&exchange->response, &json);
    json_write_text(&json, "day", plan.day.day);
    json_write_text(&json, "site", plan.site.site);
    json_write_array(&json, "dates");
    for (int i = 0; i < plan.dates_count; i++)
        write_date(&json, &plan.dates[i]);
    json_write_end(&json);
    json_write_array(&json, "partners");
    for (size_t i = 0; i < plan.partners_count; i++)
        write_partner(&json, &plan.partners[i]);
    json_write_end(&json);
    json_write_array(&json, "cautions");
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        json_write_text(&json, NULL, cautions[i]);
    json_write_end(&json);
    json_write_end(&json);
    plan_release(&plan);
    return 0;
}
