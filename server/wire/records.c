/* SPDX-License-Identifier: MIT */
/* records: defaults, and what is taken over from science. */
#include "server/wire/records.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#define NM_PER_M 1e9
#define NM_PER_MM 1e6

void site_record_init(struct site_record *site) {
    *site = (struct site_record){
        .gnomon_mm = NAN, .edge = EDGE_UMBRA, .position_decimals = POSITION_UNSAID};
}

#define ELEVATION_STEP_M 100.0

static double rounded(double degrees, int64_t decimals) {
    double steps = pow(10.0, (double)decimals);
    double value = round(degrees * steps) / steps;
    return value == 0.0 ? 0.0 : value; /* not -0 */
}

void site_record_settle(struct site_record *site) {
    site->exact = site->place;
    if (site->position_decimals < POSITION_DECIMALS_MIN) {
        site->position_decimals = POSITION_EXACT;
        return;
    }
    const struct place *exact = &site->exact;
    site->place = (struct place){
        .lat_deg = rounded(exact->lat_deg, site->position_decimals),
        .lon_deg = rounded(exact->lon_deg, site->position_decimals),
        .elevation_m = ELEVATION_STEP_M * round(exact->elevation_m / ELEVATION_STEP_M) + 0.0,
        .sigma_deg = pow(10.0, (double)-site->position_decimals) / sqrt(12.0),
    };
}

/* As far off as a phone's clock read late may be. */
#define CLOCK_BOUND_S 15.0

void day_record_init(struct day_record *day) {
    *day = (struct day_record){.lon_tolerance_deg = 1.0,
                               .min_separation_km = 100.0,
                               .max_sigma_km = NAN,
                               .clock_bound_s = CLOCK_BOUND_S,
                               .state = DAY_ANNOUNCED,
                               .blind = true};
}

void season_record_init(struct season_record *season) {
    *season = (struct season_record){.approval = false};
}

const char *day_event_name(enum day_event_kind kind) {
    static const char *const names[] = {[DAY_EVENT_OPEN] = "open",
                                        [DAY_EVENT_STATE] = "state",
                                        [DAY_EVENT_MOVE] = "move",
                                        [DAY_EVENT_BLIND] = "blind"};
    return names[kind];
}

static const char *const stand_names[] = {[STAND_NONE] = "none",
                                          [STAND_WAITING] = "waiting",
                                          [STAND_REFUSED] = "refused",
                                          [STAND_TAKEN] = "taking_part"};

const char *stand_name(enum stand part) {
    return stand_names[part];
}

bool stand_parse(const char *name, enum stand *out) {
    for (size_t i = 0; i < sizeof stand_names / sizeof stand_names[0]; i++)
        if (strcmp(name, stand_names[i]) == 0) {
            *out = (enum stand)i;
            return true;
        }
    return false;
}

/* The readings are many, and none of them is in it: they are left as they are. */
void run_record_init(struct run_record *run) {
    struct run *const of = &run->run;
    const size_t readings = offsetof(struct run_record, run.reading);
    const size_t behind = readings + sizeof of->reading;
    memset(run, 0, readings);
    memset((char *)run + behind, 0, sizeof *run - behind);
    of->pressure_hpa = of->temperature_c = of->clock_sigma_s = of->tilt_sigma_deg = NAN;
    for (int i = 0; i < GNOMON_PARTS_MAX; i++)
        of->gnomon.part[i].sigma_m = NAN;
}

double record_mm(double metres) {
    return round(metres * NM_PER_M) / NM_PER_MM;
}

double record_error_percent(double circumference_km) {
    return 100.0 * (circumference_km - MERIDIAN_CIRCUMFERENCE_KM) / MERIDIAN_CIRCUMFERENCE_KM;
}

double record_error_sigmas(double circumference_km, double sigma_km) {
    return (circumference_km - MERIDIAN_CIRCUMFERENCE_KM) / sigma_km;
}

static void copy_left_outs(const struct run *run, const struct reduction *reduction,
                           struct left_out_record *out) {
    for (int i = 0; i < reduction->left_outs; i++) {
        const struct left_out *from = &reduction->left_out[i];
        out[i] = (struct left_out_record){.reading = from->reading,
                                          .t_utc_s = run->reading[from->reading].t_utc_s,
                                          .shadow_m = run->reading[from->reading].shadow_m,
                                          .slip = from->slip,
                                          .also = {from->also[0], from->also[1]},
                                          .residual_deg = from->residual_deg,
                                          .residual_sigma = from->residual_sigma,
                                          .instead_m = from->instead_m};
    }
}

static const struct error_budget no_budget = {NAN, NAN, NAN, NAN, NAN, NAN, NAN};

void run_under_day(const struct run *sent, const struct day_record *day, struct run *out) {
    memcpy(out, sent,
           offsetof(struct run, reading) + (size_t)sent->readings * sizeof *sent->reading);
    out->clock.bound_s = day->clock_bound_s;
    out->clock.correct = day->clock_correct;
}

void reduction_record_make(const char *site, const char *day, int64_t run_id, const struct run *run,
                           const struct reduction *reduction, struct left_out_record *left_out,
                           struct reduction_record *record) {
    const bool ok = reduction->status == REDUCE_OK;
    *record = (struct reduction_record){
        .run = run_id,
        .readings = run->readings,
        .status = reduction->status,
        .noon_status = reduction->noon.status,
        .run_slip = reduction->run_slip,
        .transit_utc_s = reduction->noon.transit_utc_s,
        .declination_deg = reduction->noon.sun.declination_deg,
        .sun_side = reduction->noon.sun_side,
        .noon_angle_deg = ok ? reduction->noon_angle_deg : NAN,
        .sigma_deg = ok ? reduction->sigma_deg : NAN,
        .published = reduction->published,
        .clock_offset_s = ok ? reduction->clock_offset_s : NAN,
        .clock_offset_sigma_s = ok ? reduction->clock_offset_sigma_s : NAN,
        .clock = reduction->clock,
        .scatter_deg = ok ? reduction->scatter_deg : NAN,
        .chi2 = ok ? reduction->chi2 : NAN,
        .dof = ok ? reduction->dof : 0,
        .used = ok ? reduction->used : 0,
        .budget = ok ? reduction->budget : no_budget,
        .left_outs = reduction->left_outs,
        .left_out = reduction->left_outs > 0 ? left_out : NULL,
    };
    memcpy(record->site, site, strnlen(site, ID_MAX));
    memcpy(record->day, day, strnlen(day, ID_MAX));
    if (ok)
        memcpy(record->estimate, reduction->estimate, sizeof record->estimate);
    copy_left_outs(run, reduction, left_out);
}

/* What the same gnomon, plumb line, eyes and air bring to every noon of a site. */
static double systematic_sigma_deg(const struct error_budget *budget) {
    return hypot(hypot(budget->height_deg, budget->tilt_deg),
                 hypot(hypot(budget->edge_deg, budget->air_deg), budget->position_deg));
}

void noon_result_make(int64_t key, const struct place *place, enum edge edge,
                      const struct reduction *reduction, struct noon_result *result) {
    *result = (struct noon_result){
        .key = key,
        .lat_deg = place->lat_deg,
        .lon_deg = place->lon_deg,
        .meridian_m = meridian_distance_m(place->lat_deg),
        .transit_utc_s = reduction->noon.transit_utc_s,
        .declination_deg = reduction->noon.sun.declination_deg,
        .noon_angle_deg = reduction->noon_angle_deg,
        .sigma_deg = reduction->sigma_deg,
        .systematic_sigma_deg = systematic_sigma_deg(&reduction->budget),
        .habit_sigma_deg = reduction->budget.edge_deg * sqrt(PAIR_HABIT_SHARE),
        .edge = (int)edge,
    };
}

const char *reduction_reason(const struct reduction_record *reduction) {
    if (reduction->readings == 0)
        return "there are no readings of this site";
    switch (reduction->status) {
    case REDUCE_OK:
        break;
    case REDUCE_TOO_FEW:
        return "fewer than three readings are usable: a noon needs at least three";
    case REDUCE_NOON_UNUSABLE:
        return noon_status_text(reduction->noon_status);
    case REDUCE_WRONG_TIME:
        return "the readings are more than six hours from noon: check times and offsets from UTC";
    case REDUCE_IMPLAUSIBLE:
        return slip_text(reduction->run_slip);
    }
    return NULL;
}
