/* SPDX-License-Identifier: MIT */
/* page: the science as a page calls it. JavaScript has numbers, no structs: one
 * site, one Sun and one run are set value by value, reduced by the very functions of
 * the server, and read back value by value under the names of the API. NAN stands
 * for what is not there, both ways.
 *
 * Built for WebAssembly alone. The module has one run; each call of page_run begins
 * a new one. Units as their names say; times in seconds since 1970-01-01 UTC. */
#ifndef NOONARC_PAGE_H
#define NOONARC_PAGE_H

#ifdef __wasm__
#define PAGE_EXPORT(name) __attribute__((export_name(#name)))
#else
#define PAGE_EXPORT(name)
#endif

/* --- in; sigma_deg: of a position that was rounded, 0 otherwise */
PAGE_EXPORT(page_place)
void page_place(double lat_deg, double lon_deg, double elevation_m, double sigma_deg);
PAGE_EXPORT(page_sun) void page_sun(double centre_utc_s, double half_span_s);
/* series: 0 declination_deg, 1 equation_s, 2 distance_au; term 0..SUN_TERMS-1. */
PAGE_EXPORT(page_sun_term) void page_sun_term(int series, int term, double value);
/* edge: 0 umbra, 1 penumbra, 2 centre. Forgets parts and readings. */
PAGE_EXPORT(page_run)
void page_run(int edge, double pressure_hpa, double temperature_c, double clock_sigma_s,
              double tilt_sigma_deg);
/* A clock that was measured, with its day's rule (run_clock.h); not called: it was not. */
PAGE_EXPORT(page_clock)
void page_clock(double offset_s, double sigma_s, double bound_s, int correct);
/* What the rule makes of it. */
PAGE_EXPORT(page_clock_applied_s) double page_clock_applied_s(void);
PAGE_EXPORT(page_clock_beyond) int page_clock_beyond(void);
/* Each returns 0 when there is no room for more. */
PAGE_EXPORT(page_part) int page_part(double length_m, double sigma_m);
PAGE_EXPORT(page_reading) int page_reading(double t_utc_s, double shadow_m, double sigma_m);

/* --- the work; it needs a part at least */
PAGE_EXPORT(page_reduce) void page_reduce(void);

/* --- out: names are texts of static life. Figures of the run by number, up to the
 * first without a name (NULL). */
PAGE_EXPORT(page_figure_name) const char *page_figure_name(int figure);
PAGE_EXPORT(page_figure) double page_figure(int figure);
PAGE_EXPORT(page_status) const char *page_status(void);
PAGE_EXPORT(page_noon_status) const char *page_noon_status(void);
PAGE_EXPORT(page_run_slip) const char *page_run_slip(void);
PAGE_EXPORT(page_method) const char *page_method(void);

/* Of an estimator, 0..3: NULL past the last. */
PAGE_EXPORT(page_estimator_name) const char *page_estimator_name(int estimator);
PAGE_EXPORT(page_estimate_usable) int page_estimate_usable(int estimator);
PAGE_EXPORT(page_estimate_deg) double page_estimate_deg(int estimator);
PAGE_EXPORT(page_estimate_sigma_deg) double page_estimate_sigma_deg(int estimator);
PAGE_EXPORT(page_estimate_transit_utc_s) double page_estimate_transit_utc_s(int estimator);

/* Of a reading that was left out, 0.. */
PAGE_EXPORT(page_left_outs) int page_left_outs(void);
PAGE_EXPORT(page_left_out_reading) int page_left_out_reading(int left_out);
/* cause 0 the likeliest, 1 and 2 others, "none" where there are fewer. */
PAGE_EXPORT(page_left_out_slip) const char *page_left_out_slip(int left_out, int cause);
PAGE_EXPORT(page_left_out_residual_deg) double page_left_out_residual_deg(int left_out);
PAGE_EXPORT(page_left_out_residual_sigma) double page_left_out_residual_sigma(int left_out);
PAGE_EXPORT(page_left_out_instead_m) double page_left_out_instead_m(int left_out);

/* The way of a reading from the ground to the sky, by number as above: the angle of
 * the shadow, what the edge, the air and the Earth's radius add, and what it gives. */
PAGE_EXPORT(page_step_name) const char *page_step_name(int step);
PAGE_EXPORT(page_step) double page_step(int reading, int step);

/* The shadow on the fitted curve at a time of the run's own clock; NAN unless the
 * run was reduced. */
PAGE_EXPORT(page_curve_m) double page_curve_m(double t_clock_s);

/* Transit on the meridian of the place, by the Sun that was set. */
PAGE_EXPORT(page_transit_utc_s) double page_transit_utc_s(void);

#endif
