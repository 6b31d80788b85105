/* SPDX-License-Identifier: MIT */
/* record_write: what is recorded (sites, days, runs) as JSON. */
#include "server/wire/record_write.h"

#include <math.h>

#include "server/base/instant.h"

/* The fields every telling of a site has; the contact comes on top for the one
 * who registers. */
static void write_site_fields(struct json_writer *json, const struct site_record *site,
                              const struct place *place) {
    json_write_real(json, "lat_deg", place->lat_deg);
    json_write_real(json, "lon_deg", place->lon_deg);
    json_write_real(json, "elev_m", place->elevation_m);
    if (site->position_decimals >= POSITION_DECIMALS_MIN)
        json_write_integer(json, "position_decimals", site->position_decimals);
    else if (site->position_decimals == POSITION_EXACT)
        json_write_null(json, "position_decimals");
    json_write_text_or_null(json, "zone", site->zone);
    json_write_real(json, "gnomon_mm", site->gnomon_mm);
    json_write_text(json, "edge", edge_name(site->edge));
}

void record_write_site(struct json_writer *json, const char *key, const struct site_record *site) {
    json_write_object(json, key);
    json_write_text(json, "site", site->site);
    json_write_text(json, "name", site->name);
    write_site_fields(json, site, &site->place);
    json_write_end(json);
}

void record_write_site_own_fields(struct json_writer *json, const struct site_record *site) {
    json_write_text(json, "site", site->site);
    json_write_text(json, "name", site->name);
    write_site_fields(json, site, &site->exact);
    json_write_text_or_null(json, "contact", site->contact);
}

void record_write_site_own(struct json_writer *json, const char *key,
                           const struct site_record *site) {
    json_write_object(json, key);
    record_write_site_own_fields(json, site);
    json_write_end(json);
}

void record_write_site_request(struct json_writer *json, const char *key,
                               const struct site_record *site) {
    json_write_object(json, key);
    json_write_text_or_null(json, "site", site->site);
    json_write_text(json, "name", site->name);
    write_site_fields(json, site, &site->place);
    if (!site->contact_unsaid)
        json_write_text_or_null(json, "contact", site->contact);
    if (site->invitation[0] != '\0')
        json_write_text(json, "invitation", site->invitation);
    json_write_end(json);
}

void record_write_day(struct json_writer *json, const char *key, const struct day_record *day) {
    json_write_object(json, key);
    record_write_day_fields(json, day);
    json_write_end(json);
}

void record_write_day_event(struct json_writer *json, const char *key,
                            const struct day_event_record *event) {
    const bool dated = event->kind == DAY_EVENT_OPEN || event->kind == DAY_EVENT_MOVE;
    json_write_object(json, key);
    json_write_text(json, "event", day_event_name(event->kind));
    json_write_instant(json, "at_utc", event->at_utc_s, 3);
    json_write_text(json, "state",
                    event->kind == DAY_EVENT_STATE ? day_state_name(event->state) : NULL);
    if (dated)
        json_write_date(json, "date", event->date);
    else
        json_write_null(json, "date");
    if (event->kind == DAY_EVENT_BLIND)
        json_write_bool(json, "blind", event->blind);
    else
        json_write_null(json, "blind");
    json_write_text_or_null(json, "reason", event->reason);
    json_write_end(json);
}

void record_write_day_fields(struct json_writer *json, const struct day_record *day) {
    json_write_text(json, "day", day->day);
    json_write_text(json, "name", day->name);
    json_write_date(json, "date", day->date);
    json_write_array(json, "spare_dates");
    for (int i = 0; i < day->spares; i++)
        json_write_date(json, NULL, day->spare[i]);
    json_write_end(json);
    json_write_real(json, "lon_tolerance_deg", day->lon_tolerance_deg);
    json_write_real(json, "min_separation_km", day->min_separation_km);
    json_write_real(json, "max_sigma_km", day->max_sigma_km);
    json_write_real(json, "clock_bound_s", day->clock_bound_s);
    json_write_bool(json, "clock_correct", day->clock_correct);
    json_write_text_or_null(json, "season", day->season);
    json_write_text(json, "state", day_state_name(day->state));
    json_write_bool(json, "blind", day->blind);
}

void record_write_season(struct json_writer *json, const char *key,
                         const struct season_record *season) {
    json_write_object(json, key);
    json_write_text(json, "season", season->season);
    json_write_text(json, "name", season->name);
    json_write_bool(json, "approval", season->approval);
    json_write_end(json);
}

static void write_given_real(struct json_writer *json, const char *key, double value) {
    if (!isnan(value))
        json_write_real(json, key, value);
}

static void write_given_text(struct json_writer *json, const char *key, const char *text) {
    if (text[0] != '\0')
        json_write_text(json, key, text);
}

static void write_run_body(struct json_writer *json, const struct run_record *record) {
    const struct run *run = &record->run;
    json_write_object(json, "gnomon");
    json_write_array(json, "parts");
    for (int i = 0; i < run->gnomon.parts; i++) {
        json_write_object(json, NULL);
        json_write_real(json, "length_mm", record_mm(run->gnomon.part[i].value_m));
        write_given_real(json, "sigma_mm", record_mm(run->gnomon.part[i].sigma_m));
        json_write_end(json);
    }
    json_write_end(json);
    json_write_text(json, "edge", edge_name(run->gnomon.edge));
    json_write_end(json);
    json_write_array(json, "readings");
    for (int i = 0; i < run->readings; i++) {
        json_write_object(json, NULL);
        json_write_instant(json, "time", run->reading[i].t_utc_s, INSTANT_SHORTEST);
        json_write_real(json, "shadow_mm", record_mm(run->reading[i].shadow_m));
        write_given_real(json, "sigma_mm", record_mm(run->reading[i].shadow_sigma_m));
        write_given_real(json, "bearing_deg", run->reading[i].bearing_deg);
        json_write_end(json);
    }
    json_write_end(json);
}

static void write_clock(struct json_writer *json, const struct run_clock *clock) {
    json_write_object(json, "clock");
    json_write_real(json, "offset_s", clock->offset_s);
    json_write_real(json, "sigma_s", clock->sigma_s);
    json_write_end(json);
}

void record_write_run_request(struct json_writer *json, const char *key,
                              const struct run_record *record) {
    json_write_object(json, key);
    write_run_body(json, record);
    write_given_text(json, "sky", record->sky);
    write_given_text(json, "level", record->level);
    write_given_text(json, "note", record->note);
    write_given_real(json, "pressure_hpa", record->run.pressure_hpa);
    write_given_real(json, "temperature_c", record->run.temperature_c);
    write_given_real(json, "clock_sigma_s", record->run.clock_sigma_s);
    if (record->run.clock.sigma_s > 0.0)
        write_clock(json, &record->run.clock);
    write_given_real(json, "tilt_sigma_deg", record->run.tilt_sigma_deg);
    if (record->supersedes != 0)
        json_write_integer(json, "supersedes", record->supersedes);
    json_write_end(json);
}

static void write_run_id(struct json_writer *json, const char *key, int64_t id) {
    if (id != 0)
        json_write_integer(json, key, id);
    else
        json_write_null(json, key);
}

static void write_run_state(struct json_writer *json, const struct run_record *record,
                            const struct run_state *state) {
    write_run_id(json, "supersedes", record->supersedes);
    write_run_id(json, "superseded_by", state->superseded_by);
    json_write_instant(json, "submitted_utc", state->submitted_utc_s, 3);
    json_write_instant(json, "withdrawn_utc", state->withdrawn_utc_s, 3);
}

void record_write_run(struct json_writer *json, const char *key, const struct run_record *record,
                      const struct run_state *state) {
    json_write_object(json, key);
    write_run_id(json, "id", record->id);
    json_write_text(json, "site", record->site);
    json_write_text(json, "day", record->day);
    write_run_body(json, record);
    json_write_text_or_null(json, "sky", record->sky);
    json_write_text_or_null(json, "level", record->level);
    json_write_text_or_null(json, "note", record->note);
    json_write_real(json, "pressure_hpa", record->run.pressure_hpa);
    json_write_real(json, "temperature_c", record->run.temperature_c);
    json_write_real(json, "clock_sigma_s", record->run.clock_sigma_s);
    if (record->run.clock.sigma_s > 0.0)
        write_clock(json, &record->run.clock);
    else
        json_write_null(json, "clock");
    json_write_real(json, "tilt_sigma_deg", record->run.tilt_sigma_deg);
    write_run_state(json, record, state);
    json_write_end(json);
}

void record_write_run_state(struct json_writer *json, const char *key, int64_t run,
                            const struct run_record *sent, const struct run_state *state) {
    json_write_object(json, key);
    write_run_id(json, "id", run);
    json_write_text(json, "site", sent->site);
    json_write_text(json, "day", sent->day);
    write_run_state(json, sent, state);
    json_write_end(json);
}
