/* SPDX-License-Identifier: MIT */
/* record_write: records as JSON objects, each a value inside whatever the caller
 * is writing: key as in json_write.h. Full precision; NAN and infinities are null. */
#ifndef NOONARC_RECORD_WRITE_H
#define NOONARC_RECORD_WRITE_H

#include <stddef.h>

#include "server/wire/json_write.h"
#include "server/wire/records.h"

/* {"site","name","lat_deg","lon_deg","elev_m","position_decimals","zone","gnomon_mm",
 *  "edge"}: public, so with the position as let out and without the contact. */
void record_write_site(struct json_writer *json, const char *key, const struct site_record *site);

/* The same with the exact position and the contact: for the school and organisers. */
void record_write_site_own(struct json_writer *json, const char *key,
                           const struct site_record *site);

/* Its members alone, into an object that is open. */
void record_write_site_own_fields(struct json_writer *json, const struct site_record *site);

/* The body record_read_site takes, contact included: for a client that registers or
 * changes a site. What is unsaid is left out. */
void record_write_site_request(struct json_writer *json, const char *key,
                               const struct site_record *site);

/* {"day","name","date","spare_dates","lon_tolerance_deg","min_separation_km",
 *  "max_sigma_km","season","state","blind"}; record_read_day takes it back. */
void record_write_day(struct json_writer *json, const char *key, const struct day_record *day);

/* The members alone, for an answer that has more of them. */
void record_write_day_fields(struct json_writer *json, const struct day_record *day);

/* {"event","at_utc","state","date","blind","reason"}; null what an event has not. */
void record_write_day_event(struct json_writer *json, const char *key,
                            const struct day_event_record *event);

/* {"season","name","approval"}; record_read_season takes it back. */
void record_write_season(struct json_writer *json, const char *key,
                         const struct season_record *season);

/* The body record_read_run takes; absent fields are left out. */
void record_write_run_request(struct json_writer *json, const char *key,
                              const struct run_record *run);

/* {"id","site","day","gnomon","readings","sky","level","note","pressure_hpa",
 *  "temperature_c","clock_sigma_s","tilt_sigma_deg","supersedes","superseded_by",
 *  "submitted_utc","withdrawn_utc"}. */
void record_write_run(struct json_writer *json, const char *key, const struct run_record *run,
                      const struct run_state *state);
/* The same without what was sent: for who sent it. */
void record_write_run_state(struct json_writer *json, const char *key, int64_t run,
                            const struct run_record *sent, const struct run_state *state);

/* {"run","site","day","method","readings","status","reason","run_slip","advice",
 *  "transit_utc","noon_angle_deg","sigma_deg","estimator","sun_side",
 *  "declination_deg","clock_offset_s","clock_offset_sigma_s","scatter_deg","chi2",
 *  "dof","used","budget","estimates","left_out"}. run and day are left out offline;
 * status is "no_readings" when there are none; reason is null when status is "ok". */
void record_write_reduction(struct json_writer *json, const char *key,
                            const struct reduction_record *reduction);

/* {"site1","site2","separation_km","angle_deg","angle_sigma_deg","circumference_km",
 *  "sigma_km","low_km","high_km","error_percent","error_sigmas","status"}. */
void record_write_pair(struct json_writer *json, const char *key, const struct pair_record *pair);

/* {"circumference_km","sigma_km","internal_sigma_km","low_km","high_km","chi2","dof",
 *  "birge_ratio","median_km","median_low_km","median_high_km","sites","left_out":
 *  [{"site","reason":"off_the_line","residual_deg","residual_sigma"}],"left_out_counts",
 *  "excluded":[...] (these two not
 * offline),"influence":[{"site","influence_km"}],"days","status","handbook_km","local_km"}; days
 * counts the noons (groups) used. */
void record_write_combined(struct json_writer *json, const char *key,
                           const struct combined_record *record);

/* {"excluded","withdrawn","unusable","not_agreed","off_the_line","readings"}: how many. */
void record_write_left_out_counts(struct json_writer *json, const char *key,
                                  const struct left_out_counts *counts);

/* {"site","run","reason","excluded_utc"}. */
void record_write_exclusion(struct json_writer *json, const char *key,
                            const struct exclusion_record *exclusion);

/* {"place","site1","site2","circumference_km","sigma_km","error_percent","error_sigmas"} */
void record_write_leader_pair(struct json_writer *json, const char *key,
                              const struct leader_pair_record *row);
/* {"place","site","circumference_km","sigma_km","error_percent","error_sigmas","partners"} */
void record_write_leader_site(struct json_writer *json, const char *key,
                              const struct leader_site_record *row);
/* {"place","site","sigma_deg","error_deg","error_sigmas","score"} */
void record_write_honesty(struct json_writer *json, const char *key,
                          const struct honesty_record *row);

#endif
