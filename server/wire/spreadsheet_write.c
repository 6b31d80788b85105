/* SPDX-License-Identifier: MIT */
/* spreadsheet_write: records as rows, with the columns the readers take back. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/wire/spreadsheet.h"

static void write_header(struct csv_writer *csv, const char *const *names) {
    for (; *names != NULL; names++)
        csv_write_text(csv, *names);
    csv_write_row_end(csv);
}

void sheet_write_sites_header(struct csv_writer *csv) {
    write_header(csv, (const char *const[]){"site", "lat_deg", "lon_deg", "elev_m", "gnomon_mm",
                                            "edge", "name", "zone", "position_decimals", NULL});
}

static void write_site(struct csv_writer *csv, const struct site_record *site,
                       const struct place *place) {
    csv_write_text(csv, site->site);
    csv_write_real(csv, place->lat_deg);
    csv_write_real(csv, place->lon_deg);
    csv_write_real(csv, place->elevation_m);
    csv_write_real(csv, site->gnomon_mm);
    csv_write_text(csv, edge_name(site->edge));
    csv_write_text(csv, site->name);
    csv_write_text(csv, site->zone);
    if (site->position_decimals >= POSITION_DECIMALS_MIN)
        csv_write_integer(csv, site->position_decimals);
    else
        csv_write_text(csv, "");
}

void sheet_write_site(struct csv_writer *csv, const struct site_record *site) {
    write_site(csv, site, &site->place);
    csv_write_row_end(csv);
}

void sheet_write_own_sites_header(struct csv_writer *csv) {
    write_header(csv,
                 (const char *const[]){"site", "lat_deg", "lon_deg", "elev_m", "gnomon_mm", "edge",
                                       "name", "zone", "position_decimals", "contact", NULL});
}

void sheet_write_own_site(struct csv_writer *csv, const struct site_record *site) {
    char contact[CONTACT_MAX + 2];
    /* A blank in front keeps spreadsheets from taking it for a formula; the reader cuts
     * it off again. */
    bool formula = site->contact[0] != '\0' && strchr("=+-@", site->contact[0]) != NULL;
    snprintf(contact, sizeof contact, "%s%s", formula ? " " : "", site->contact);
    write_site(csv, site, &site->exact);
    csv_write_text(csv, contact);
    csv_write_row_end(csv);
}

void sheet_write_readings_header(struct csv_writer *csv) {
    write_header(csv, (const char *const[]){"site", "utc", "shadow_mm", NULL});
}

void sheet_write_run(struct csv_writer *csv, const char *site, const struct run *run) {
    for (int i = 0; i < run->readings; i++) {
        csv_write_text(csv, site);
        csv_write_instant(csv, run->reading[i].t_utc_s, INSTANT_SHORTEST);
        csv_write_real(csv, record_mm(run->reading[i].shadow_m));
        csv_write_row_end(csv);
    }
}

void sheet_write_reductions_header(struct csv_writer *csv) {
    write_header(csv, (const char *const[]){"site", "transit_utc", "noon_angle_deg", "sigma_deg",
                                            "estimator", "used", "left_out", "run", "status",
                                            "counts", NULL});
}

void sheet_write_reduction(struct csv_writer *csv, const struct reduction_record *reduction) {
    bool ok = reduction->status == REDUCE_OK;
    csv_write_text(csv, reduction->site);
    csv_write_instant(csv, reduction->transit_utc_s, 3);
    csv_write_real(csv, reduction->noon_angle_deg);
    csv_write_real(csv, reduction->sigma_deg);
    csv_write_text(csv, ok ? estimator_name(reduction->published) : "");
    csv_write_integer(csv, reduction->used);
    csv_write_integer(csv, reduction->left_outs);
    csv_write_integer(csv, reduction->run);
    csv_write_text(csv, reduce_status_name(reduction->status));
    csv_write_text(csv, reduction->counts ? "true" : "false");
    csv_write_row_end(csv);
}

void sheet_write_pairs_header(struct csv_writer *csv) {
    write_header(csv, (const char *const[]){"site1", "site2", "separation_km", "angle_deg",
                                            "circumference_km", "sigma_km", "error_percent",
                                            "status", NULL});
}

void sheet_write_pair(struct csv_writer *csv, const struct pair_record *pair) {
    csv_write_text(csv, pair->site1);
    csv_write_text(csv, pair->site2);
    csv_write_real(csv, pair->pair.separation_km);
    csv_write_real(csv, pair->pair.angle_deg);
    csv_write_real(csv, pair->pair.circumference_km);
    csv_write_real(csv, pair->pair.sigma_km);
    csv_write_real(csv, record_error_percent(pair->pair.circumference_km));
    csv_write_text(csv, pair_status_name(pair->pair.status));
    csv_write_row_end(csv);
}

void sheet_write_line_header(struct csv_writer *csv) {
    write_header(csv, (const char *const[]){"site", "noon", "meridian_km", "noon_angle_deg",
                                            "sigma_deg", "residual_deg", "left_out", NULL});
}

void sheet_write_line(struct csv_writer *csv, const struct line_record *point) {
    csv_write_text(csv, point->site);
    csv_write_integer(csv, point->noon);
    csv_write_real(csv, point->meridian_km);
    csv_write_real(csv, point->noon_angle_deg);
    csv_write_real(csv, point->sigma_deg);
    csv_write_real(csv, point->residual_deg);
    csv_write_text(csv, point->left_out ? "off_the_line" : "");
    csv_write_row_end(csv);
}
