/* SPDX-License-Identifier: MIT */
/* record_write_result: what is derived (reductions, pairs, the combination, the
 * leaderboard) as JSON. */
#include "server/base/instant.h"
#include "server/wire/record_write.h"

#include <math.h>

#define TRANSIT_DECIMALS 3

static const char *reduction_status(const struct reduction_record *reduction) {
    return reduction->readings == 0 ? "no_readings" : reduce_status_name(reduction->status);
}

static void write_budget(struct json_writer *json, const struct error_budget *budget) {
    json_write_object(json, "budget");
    json_write_real(json, "random_deg", budget->random_deg);
    json_write_real(json, "clock_deg", budget->clock_deg);
    json_write_real(json, "height_deg", budget->height_deg);
    json_write_real(json, "tilt_deg", budget->tilt_deg);
    json_write_real(json, "edge_deg", budget->edge_deg);
    json_write_real(json, "air_deg", budget->air_deg);
    json_write_real(json, "position_deg", budget->position_deg);
    json_write_end(json);
}

static void write_estimates(struct json_writer *json, const struct estimate *estimate) {
    json_write_object(json, "estimates");
    for (int i = 0; i < ESTIMATOR_COUNT; i++) {
        const char *name = estimator_name((enum estimator)i);
        if (!estimate[i].usable) {
            json_write_null(json, name);
            continue;
        }
        json_write_object(json, name);
        json_write_real(json, "noon_angle_deg", estimate[i].noon_angle_deg);
        json_write_real(json, "sigma_deg", estimate[i].sigma_deg);
        json_write_instant(json, "transit_utc", estimate[i].transit_utc_s, TRANSIT_DECIMALS);
        json_write_end(json);
    }
    json_write_end(json);
}

static void write_left_outs(struct json_writer *json, const struct reduction_record *reduction) {
    json_write_array(json, "left_out");
    for (int i = 0; reduction->left_out != NULL && i < reduction->left_outs; i++) {
        const struct left_out_record *left_out = &reduction->left_out[i];
        json_write_object(json, NULL);
        json_write_integer(json, "reading", left_out->reading);
        json_write_instant(json, "utc", left_out->t_utc_s, INSTANT_SHORTEST);
        json_write_real(json, "shadow_mm", record_mm(left_out->shadow_m));
        json_write_text(json, "reason", slip_name(left_out->slip));
        json_write_text(json, "advice", slip_text(left_out->slip));
        json_write_array(json, "also");
        for (int k = 0; k < SLIP_CAUSES - 1 && left_out->also[k] != SLIP_NONE; k++)
            json_write_text(json, NULL, slip_name(left_out->also[k]));
        json_write_end(json);
        json_write_real(json, "residual_deg", left_out->residual_deg);
        json_write_real(json, "residual_sigma", left_out->residual_sigma);
        json_write_real(json, "instead_mm", record_mm(left_out->instead_m));
        json_write_end(json);
    }
    json_write_end(json);
}

static void write_clock_check(struct json_writer *json, const struct reduction_record *reduction) {
    const struct clock_check *clock = &reduction->clock;
    if (!clock->measured) {
        json_write_null(json, "clock");
        return;
    }
    json_write_object(json, "clock");
    json_write_real(json, "offset_s", clock->offset_s);
    json_write_real(json, "sigma_s", clock->sigma_s);
    json_write_real(json, "bound_s", clock->bound_s > 0.0 ? clock->bound_s : NAN);
    json_write_bool(json, "beyond", clock->beyond);
    json_write_real(json, "applied_s", clock->applied_s);
    json_write_end(json);
}

void record_write_reduction(struct json_writer *json, const char *key,
                            const struct reduction_record *reduction) {
    const bool ok = reduction->readings > 0 && reduction->status == REDUCE_OK;
    const bool slip = reduction->readings > 0 && reduction->run_slip != SLIP_NONE;
    const char side[2] = {reduction->sun_side, '\0'};
    json_write_object(json, key);
    if (reduction->run != 0)
        json_write_integer(json, "run", reduction->run);
    json_write_text(json, "site", reduction->site);
    if (reduction->day[0] != '\0')
        json_write_text(json, "day", reduction->day);
    json_write_text(json, "method", REDUCE_METHOD);
    json_write_integer(json, "readings", reduction->readings);
    json_write_text(json, "status", reduction_status(reduction));
    json_write_text(json, "reason", reduction_reason(reduction));
    json_write_text(json, "run_slip", slip ? slip_name(reduction->run_slip) : NULL);
    json_write_text(json, "advice", slip ? slip_text(reduction->run_slip) : NULL);
    json_write_instant(json, "transit_utc", reduction->transit_utc_s, TRANSIT_DECIMALS);
    json_write_real(json, "noon_angle_deg", reduction->noon_angle_deg);
    json_write_real(json, "sigma_deg", reduction->sigma_deg);
    json_write_text(json, "estimator", ok ? estimator_name(reduction->published) : NULL);
    json_write_text_or_null(json, "sun_side", side);
    json_write_real(json, "declination_deg", reduction->declination_deg);
    json_write_real(json, "clock_offset_s", reduction->clock_offset_s);
    json_write_real(json, "clock_offset_sigma_s", reduction->clock_offset_sigma_s);
    write_clock_check(json, reduction);
    json_write_real(json, "scatter_deg", reduction->scatter_deg);
    json_write_real(json, "chi2", reduction->chi2);
    json_write_integer(json, "dof", reduction->dof);
    json_write_integer(json, "used", reduction->used);
    write_budget(json, &reduction->budget);
    write_estimates(json, reduction->estimate);
    write_left_outs(json, reduction);
    json_write_end(json);
}

static void write_error(struct json_writer *json, double circumference_km, double sigma_km) {
    json_write_real(json, "error_percent", record_error_percent(circumference_km));
    json_write_real(json, "error_sigmas", record_error_sigmas(circumference_km, sigma_km));
}

void record_write_pair(struct json_writer *json, const char *key,
                       const struct pair_record *record) {
    const struct pair *pair = &record->pair;
    json_write_object(json, key);
    json_write_text(json, "site1", record->site1);
    json_write_text(json, "site2", record->site2);
    json_write_real(json, "separation_km", pair->separation_km);
    json_write_real(json, "angle_deg", pair->angle_deg);
    json_write_real(json, "angle_sigma_deg", pair->angle_sigma_deg);
    json_write_real(json, "circumference_km", pair->circumference_km);
    json_write_real(json, "sigma_km", pair->sigma_km);
    json_write_real(json, "low_km", pair->low_km);
    json_write_real(json, "high_km", pair->high_km);
    write_error(json, pair->circumference_km, pair->sigma_km);
    json_write_text(json, "status", pair_status_name(pair->status));
    json_write_end(json);
}

void record_write_left_out_counts(struct json_writer *json, const char *key,
                                  const struct left_out_counts *counts) {
    json_write_object(json, key);
    json_write_integer(json, "excluded", counts->excluded);
    json_write_integer(json, "withdrawn", counts->withdrawn);
    json_write_integer(json, "unusable", counts->unusable);
    json_write_integer(json, "not_agreed", counts->not_agreed);
    json_write_integer(json, "off_the_line", counts->off_the_line);
    json_write_integer(json, "readings", counts->readings);
    json_write_end(json);
}

void record_write_exclusion(struct json_writer *json, const char *key,
                            const struct exclusion_record *exclusion) {
    json_write_object(json, key);
    json_write_text(json, "site", exclusion->site);
    json_write_integer(json, "run", exclusion->run);
    json_write_text(json, "reason", exclusion->reason);
    json_write_instant(json, "excluded_utc", exclusion->excluded_utc_s, 0);
    json_write_end(json);
}

static void write_left_out_runs(struct json_writer *json, const struct combined_record *record) {
    if (record->counts == NULL)
        return;
    record_write_left_out_counts(json, "left_out_counts", record->counts);
    json_write_array(json, "excluded");
    for (size_t i = 0; i < record->exclusions; i++)
        record_write_exclusion(json, NULL, &record->exclusion[i]);
    json_write_end(json);
}

void record_write_combined(struct json_writer *json, const char *key,
                           const struct combined_record *record) {
    const struct combined *combined = record->combined;
    json_write_object(json, key);
    json_write_real(json, "circumference_km", combined->circumference_km);
    json_write_real(json, "sigma_km", combined->sigma_km);
    json_write_real(json, "internal_sigma_km", combined->internal_sigma_km);
    json_write_real(json, "low_km", combined->low_km);
    json_write_real(json, "high_km", combined->high_km);
    json_write_real(json, "chi2", combined->chi2);
    json_write_integer(json, "dof", combined->dof);
    json_write_real(json, "birge_ratio", combined->birge_ratio);
    json_write_real(json, "median_km", combined->median_km);
    json_write_real(json, "median_low_km", combined->median_low_km);
    json_write_real(json, "median_high_km", combined->median_high_km);
    json_write_integer(json, "sites", combined->sites);
    json_write_array(json, "left_out");
    for (size_t i = 0; i < record->off_lines; i++) {
        json_write_object(json, NULL);
        json_write_text(json, "site", record->off_line[i].site);
        json_write_text(json, "reason", "off_the_line");
        json_write_real(json, "residual_deg", record->off_line[i].residual_deg);
        json_write_real(json, "residual_sigma", record->off_line[i].residual_sigma);
        json_write_end(json);
    }
    json_write_end(json);
    write_left_out_runs(json, record);
    json_write_array(json, "influence");
    for (size_t i = 0; i < record->influences; i++) {
        json_write_object(json, NULL);
        json_write_text(json, "site", record->influence[i].site);
        json_write_real(json, "influence_km", record->influence[i].influence_km);
        json_write_end(json);
    }
    json_write_end(json);
    json_write_integer(json, "days", combined->groups);
    json_write_text(json, "status", combine_status_name(combined->status));
    json_write_real(json, "handbook_km", MERIDIAN_CIRCUMFERENCE_KM);
    json_write_real(json, "local_km", combined->local_km);
    json_write_end(json);
}

void record_write_leader_pair(struct json_writer *json, const char *key,
                              const struct leader_pair_record *row) {
    json_write_object(json, key);
    json_write_integer(json, "place", row->place);
    json_write_text(json, "site1", row->site1);
    json_write_text(json, "site2", row->site2);
    json_write_real(json, "circumference_km", row->circumference_km);
    json_write_real(json, "sigma_km", row->sigma_km);
    write_error(json, row->circumference_km, row->sigma_km);
    json_write_end(json);
}

void record_write_leader_site(struct json_writer *json, const char *key,
                              const struct leader_site_record *row) {
    json_write_object(json, key);
    json_write_integer(json, "place", row->place);
    json_write_text(json, "site", row->site);
    json_write_real(json, "circumference_km", row->circumference_km);
    json_write_real(json, "sigma_km", row->sigma_km);
    write_error(json, row->circumference_km, row->sigma_km);
    json_write_integer(json, "partners", row->partners);
    json_write_end(json);
}

void record_write_honesty(struct json_writer *json, const char *key,
                          const struct honesty_record *row) {
    json_write_object(json, key);
    json_write_integer(json, "place", row->place);
    json_write_text(json, "site", row->site);
    json_write_real(json, "sigma_deg", row->sigma_deg);
    json_write_real(json, "error_deg", row->error_deg);
    json_write_real(json, "error_sigmas", row->error_deg / row->sigma_deg);
    json_write_real(json, "score", row->score);
    json_write_end(json);
}
