/* SPDX-License-Identifier: MIT */
#include "server/web/science/page.h"

#include <stddef.h>

#include "server/science/angle.h"
#include "server/science/curve.h"
#include "server/science/reduce.h"

static struct place place;
static struct sun_day sun;
static struct run run;
static struct curve curve;
static struct reduction reduction;

void page_place(double lat_deg, double lon_deg, double elevation_m, double sigma_deg) {
    place = (struct place){lat_deg, lon_deg, elevation_m, sigma_deg};
}

void page_sun(double centre_utc_s, double half_span_s) {
    sun = (struct sun_day){.day_number = (int32_t)((centre_utc_s - 43200.0) / 86400.0),
                           .centre_utc_s = centre_utc_s,
                           .half_span_s = half_span_s};
}

void page_sun_term(int series, int term, double value) {
    double *const coefficients[] = {sun.declination_deg, sun.equation_s, sun.distance_au};
    coefficients[series][term] = value;
}

void page_run(int edge, double pressure_hpa, double temperature_c, double clock_sigma_s,
              double tilt_sigma_deg) {
    run = (struct run){.gnomon.edge = (enum edge)edge,
                       .pressure_hpa = pressure_hpa,
                       .temperature_c = temperature_c,
                       .clock_sigma_s = clock_sigma_s,
                       .tilt_sigma_deg = tilt_sigma_deg};
}

void page_clock(double offset_s, double sigma_s, double bound_s, int correct) {
    run.clock = (struct run_clock){offset_s, sigma_s, bound_s, correct != 0};
}

int page_part(double length_m, double sigma_m) {
    if (run.gnomon.parts == GNOMON_PARTS_MAX)
        return 0;
    run.gnomon.part[run.gnomon.parts++] = (struct length){length_m, sigma_m};
    return 1;
}

int page_reading(double t_utc_s, double shadow_m, double sigma_m) {
    if (run.readings == RUN_READINGS_MAX)
        return 0;
    run.reading[run.readings++] = (struct reading){t_utc_s, shadow_m, sigma_m, (double)NAN};
    return 1;
}

double page_clock_applied_s(void) {
    return clock_check_of(&run.clock).applied_s;
}

int page_clock_beyond(void) {
    return clock_check_of(&run.clock).beyond;
}

void page_reduce(void) {
    reduce_run(&place, &run, &sun, &reduction);
    curve_init(&curve, &place, &run, &sun);
}

/* Figures of the reduction: name, and where it stands. */
static const struct {
    const char *name;
    size_t offset;
} figures[] = {
    {"transit_utc_s", offsetof(struct reduction, noon.transit_utc_s)},
    {"declination_deg", offsetof(struct reduction, noon.sun.declination_deg)},
    {"noon_angle_deg", offsetof(struct reduction, noon_angle_deg)},
    {"sigma_deg", offsetof(struct reduction, sigma_deg)},
    {"clock_offset_s", offsetof(struct reduction, clock_offset_s)},
    {"clock_offset_sigma_s", offsetof(struct reduction, clock_offset_sigma_s)},
    {"scatter_deg", offsetof(struct reduction, scatter_deg)},
    {"chi2", offsetof(struct reduction, chi2)},
    {"random_deg", offsetof(struct reduction, budget.random_deg)},
    {"clock_deg", offsetof(struct reduction, budget.clock_deg)},
    {"height_deg", offsetof(struct reduction, budget.height_deg)},
    {"tilt_deg", offsetof(struct reduction, budget.tilt_deg)},
    {"edge_deg", offsetof(struct reduction, budget.edge_deg)},
    {"air_deg", offsetof(struct reduction, budget.air_deg)},
    {"position_deg", offsetof(struct reduction, budget.position_deg)},
};
#define FIGURES (int)(sizeof figures / sizeof figures[0])

/* Those that are no plain member follow. */
static const char *const further[] = {"used", "dof", "height_m", "height_sigma_m"};
#define FURTHER (int)(sizeof further / sizeof further[0])

const char *page_figure_name(int figure) {
    return figure < FIGURES             ? figures[figure].name
           : figure < FIGURES + FURTHER ? further[figure - FIGURES]
                                        : NULL;
}

double page_figure(int figure) {
    if (figure < FIGURES)
        return *(const double *)((const char *)&reduction + figures[figure].offset);
    const double values[] = {reduction.used, reduction.dof, curve.height_m, curve.height_sigma_m};
    return values[figure - FIGURES];
}

const char *page_status(void) {
    return reduce_status_name(reduction.status);
}

const char *page_noon_status(void) {
    return noon_status_name(reduction.noon.status);
}

const char *page_run_slip(void) {
    return slip_name(reduction.run_slip);
}

const char *page_method(void) {
    return REDUCE_METHOD;
}

const char *page_estimator_name(int estimator) {
    return estimator < ESTIMATOR_COUNT ? estimator_name((enum estimator)estimator) : NULL;
}

int page_estimate_usable(int estimator) {
    return reduction.status == REDUCE_OK && reduction.estimate[estimator].usable;
}

double page_estimate_deg(int estimator) {
    return reduction.estimate[estimator].noon_angle_deg;
}

double page_estimate_sigma_deg(int estimator) {
    return reduction.estimate[estimator].sigma_deg;
}

double page_estimate_transit_utc_s(int estimator) {
    return reduction.estimate[estimator].transit_utc_s;
}

int page_left_outs(void) {
    return reduction.left_outs;
}

int page_left_out_reading(int left_out) {
    return reduction.left_out[left_out].reading;
}

const char *page_left_out_slip(int left_out, int cause) {
    const struct left_out *one = &reduction.left_out[left_out];
    return slip_name(cause == 0 ? one->slip : one->also[cause - 1]);
}

double page_left_out_residual_deg(int left_out) {
    return reduction.left_out[left_out].residual_deg;
}

double page_left_out_residual_sigma(int left_out) {
    return reduction.left_out[left_out].residual_sigma;
}

double page_left_out_instead_m(int left_out) {
    return reduction.left_out[left_out].instead_m;
}

enum step { STEP_SHADOW, STEP_EDGE, STEP_AIR, STEP_PARALLAX, STEP_ZENITH, STEP_RESIDUAL, STEPS };
static const char *const step_names[STEPS] = {
    [STEP_SHADOW] = "shadow_deg", [STEP_EDGE] = "edge_deg",
    [STEP_AIR] = "air_deg",       [STEP_PARALLAX] = "parallax_deg",
    [STEP_ZENITH] = "zenith_deg", [STEP_RESIDUAL] = "residual_deg",
};

const char *page_step_name(int step) {
    return step < STEPS ? step_names[step] : NULL;
}

/* The edge's part is what is left when air and parallax are known: the limb that the
 * edge belongs to is bent by the air at its own height. */
double page_step(int reading, int step) {
    const struct reading *read = &run.reading[reading];
    struct sun_place at;
    sun_at(&sun, read->t_utc_s - curve.clock.applied_s, &at);
    double shadow_deg = gnomon_apparent_zenith_deg(curve.height_m, read->shadow_m);
    double zenith_deg =
        gnomon_zenith_deg(curve.height_m, read->shadow_m, run.gnomon.edge, &curve.air, &at);
    double air_deg =
        shadow_deg > REFRACTION_LIMIT_DEG ? NAN : refraction_of_apparent(&curve.air, shadow_deg);
    double parallax_deg = -at.parallax_deg * angle_sin(shadow_deg);
    switch ((enum step)step) {
    case STEP_SHADOW:
        return shadow_deg;
    case STEP_EDGE:
        return zenith_deg - shadow_deg - air_deg - parallax_deg;
    case STEP_AIR:
        return air_deg;
    case STEP_PARALLAX:
        return parallax_deg;
    case STEP_ZENITH:
        return zenith_deg;
    case STEP_RESIDUAL:
        return reduction.status == REDUCE_OK ? reduction.residual_deg[reading] : NAN;
    case STEPS:
        break;
    }
    return NAN;
}

double page_curve_m(double t_clock_s) {
    if (reduction.status != REDUCE_OK)
        return NAN;
    double lat_deg = reduction.noon_angle_deg + reduction.noon.sun.declination_deg;
    double zenith_deg = curve_zenith_deg(&curve, lat_deg, t_clock_s, reduction.clock_offset_s);
    return curve_shadow_m(&curve, t_clock_s - reduction.clock_offset_s, zenith_deg);
}

double page_transit_utc_s(void) {
    return sun_transit_utc_s(&sun, place.lon_deg);
}
