/* SPDX-License-Identifier: MIT */
/* plans: what a class needs to know before the day, in UTC and by its own clocks:
 * those of the site's zone, never of this machine. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "server/api/render.h"
#include "server/api/resources.h"
#include "server/base/instant.h"
#include "server/rules/plan.h"
#include "server/science/angle.h"
#include "server/wire/field.h"
#include "server/wire/tzif.h"

static const char *const cautions[] = {
    "Never look at the Sun, with or without an instrument: turn your back to it.",
    "A tall pole needs guy ropes, a clear fall zone and an adult beside it.",
    "Shade, water, a hat and sunscreen for everyone who waits for noon.",
    "Local rules and the school's own risk assessment come first.",
};

static const char *const things[] = {
    "A gnomon that stands by itself, straight and plumb, and what measures its height.",
    "A plumb line or spirit level: for the gnomon, and for the ground along the shadow.",
    "A tape that tells millimetres and is as long as the ground it takes.",
    "A clock that tells seconds, set by this server or by radio.",
    "Pins or chalk for each mark, the measuring sheet, a pencil.",
    "Water, hats and shade for those who wait.",
};
static const char long_ground[] =
    "A long level strip without shade: the Sun is low, and the shadow several times the gnomon.";
static const char tall_pole[] =
    "Guy ropes and an adult beside the pole: it is taller than a person.";
#define TALL_MM 2000.0

static void write_local(struct json_writer *json, const char *key, const struct tzif *clocks,
                        double t_utc_s) {
    char text[INSTANT_TEXT] = "";
    if (clocks != NULL && !isnan(t_utc_s)) {
        struct zone_offset offset;
        tzif_at(clocks, t_utc_s, &offset);
        instant_format_local(t_utc_s, offset.ahead_s, text, sizeof text);
    }
    json_write_text_or_null(json, key, text);
}

/* By the meridian's own mean Sun: the time of day alone. */
static void write_solar(struct json_writer *json, const char *key, double t_utc_s, double lon_deg) {
    char text[INSTANT_TEXT];
    instant_format(t_utc_s + lon_deg / ANGLE_DEG_PER_DAY_S, 0, text, sizeof text);
    text[DATE_TEXT + sizeof "hh:mm:ss" - 1] = '\0';
    json_write_text(json, key, text + DATE_TEXT);
}

static void write_date(struct json_writer *json, const struct plan *plan, const struct tzif *clocks,
                       const struct plan_date *date) {
    bool measurable = date->status == NOON_MEASURABLE;
    struct zone_offset offset = {.abbreviation = ""};
    if (clocks != NULL)
        tzif_at(clocks, date->transit_utc_s, &offset);
    json_write_object(json, NULL);
    json_write_date(json, "date", date->date);
    json_write_text(json, "status", noon_status_name(date->status));
    json_write_text(json, "reason", measurable ? NULL : noon_status_text(date->status));
    json_write_instant(json, "transit_utc", date->transit_utc_s, 0);
    json_write_instant(json, "start_utc", date->start_utc_s, 0);
    json_write_instant(json, "stop_utc", date->stop_utc_s, 0);
    write_local(json, "transit_local", clocks, date->transit_utc_s);
    write_local(json, "start_local", clocks, date->start_utc_s);
    write_local(json, "stop_local", clocks, date->stop_utc_s);
    json_write_text_or_null(json, "abbreviation", offset.abbreviation);
    write_solar(json, "transit_mean_solar", date->transit_utc_s, plan->site.place.lon_deg);
    json_write_text(json, "sun_height", measurable ? sun_height_name(date->sun_height) : NULL);
    json_write_real(json, "gnomon_mm", date->gnomon_mm);
    json_write_real(json, "suggested_gnomon_mm", date->suggested_gnomon_mm);
    json_write_real(json, "ground_mm", date->ground_mm);
    json_write_real(json, "shadow_from_mm", date->shadow.from_mm);
    json_write_real(json, "shadow_to_mm", date->shadow.to_mm);
    json_write_real(json, "fuzzy_from_mm", date->fuzzy.from_mm);
    json_write_real(json, "fuzzy_to_mm", date->fuzzy.to_mm);
    json_write_real(json, "expected_angle_deg", date->noon_angle_deg);
    json_write_end(json);
}

static void write_things(struct json_writer *json, const struct plan *plan) {
    bool low = false, tall = false;
    for (int i = 0; i < plan->dates_count; i++) {
        low |= plan->dates[i].status == NOON_MEASURABLE && plan->dates[i].sun_height == SUN_LOW;
        tall |= plan->dates[i].gnomon_mm > TALL_MM;
    }
    json_write_array(json, "bring");
    for (size_t i = 0; i < sizeof things / sizeof things[0]; i++)
        json_write_text(json, NULL, things[i]);
    if (low)
        json_write_text(json, NULL, long_ground);
    if (tall)
        json_write_text(json, NULL, tall_pole);
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

/* Digits and a point: no blanks, signs, exponents, infinities. */
static bool parse_height(const char *text, double *out) {
    size_t length = strlen(text);
    char *end;
    if (length == 0 || length > 12 || strspn(text, "0123456789.") != length)
        return false;
    *out = strtod(text, &end);
    return *end == '\0';
}

static int read_wish(const struct request *request, struct plan_wish *out, struct err *err) {
    const char *gnomon = request_query(request, "gnomon_mm");
    struct plan_wish wish = {.gnomon_mm = NAN, .partner = request_query(request, "partner")};
    if (wish.partner != NULL && !field_is_id(wish.partner))
        return err_set(err, ERR_BAD_QUERY, "partner", "that is no identifier of a site");
    if (gnomon != NULL &&
        !(parse_height(gnomon, &wish.gnomon_mm) && wish.gnomon_mm >= SITE_GNOMON_MIN_MM &&
          wish.gnomon_mm <= SITE_GNOMON_MAX_MM))
        return err_set(err, ERR_BAD_QUERY, "gnomon_mm", "gnomon_mm is a height from %g to %g mm",
                       SITE_GNOMON_MIN_MM, SITE_GNOMON_MAX_MM);
    *out = wish;
    return 0;
}

static void write_plan(struct json_writer *json, const struct plan *plan,
                       const struct tzif *clocks) {
    json_write_text(json, "day", plan->day.day);
    json_write_text(json, "site", plan->site.site);
    json_write_text(json, "zone", clocks != NULL ? plan->site.zone : NULL);
    json_write_bool(json, "blind", !plan->told);
    json_write_array(json, "dates");
    for (int i = 0; i < plan->dates_count; i++)
        write_date(json, plan, clocks, &plan->dates[i]);
    json_write_end(json);
    json_write_array(json, "partners");
    for (size_t i = 0; i < plan->partners_count; i++)
        write_partner(json, &plan->partners[i]);
    json_write_end(json);
    write_things(json, plan);
    json_write_array(json, "cautions");
    for (size_t i = 0; i < sizeof cautions / sizeof cautions[0]; i++)
        json_write_text(json, NULL, cautions[i]);
    json_write_end(json);
    json_write_end(json);
}

int get_plan(const struct lookup *lookup, struct exchange *exchange, struct err *err) {
    const struct request *request = &exchange->request;
    struct plan plan;
    struct plan_wish wish;
    struct tzif clocks = {0};
    struct err unknown = {.code = ERR_NONE};
    struct json_writer json;
    if (read_wish(request, &wish, err) != 0 ||
        plan_make(lookup->db, lookup->almanac, request->param[0], request->param[1], &wish, &plan,
                  err) != 0)
        return -1;
    bool has_clocks =
        plan.site.zone[0] != '\0' && tzif_open(NULL, plan.site.zone, &clocks, &unknown) == 0;
    render_json(&exchange->response, &json);
    write_plan(&json, &plan, has_clocks ? &clocks : NULL);
    tzif_release(&clocks);
    plan_release(&plan);
    return 0;
}
