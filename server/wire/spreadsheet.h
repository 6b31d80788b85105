/* SPDX-License-Identifier: MIT */
/* spreadsheet: the columns organisers import and export. A header row is
 * required; columns come by name in any order; unknown or doubled columns are
 * refused. All or nothing: the first error, with its place as "row 7, shadow_mm",
 * ends the reading and nothing is handed out. Linear time in the input.
 *
 * sites:    site,lat_deg,lon_deg,elev_m,gnomon_mm,edge and, if wanted, name,zone,contact,
 *           position_decimals. Empty elev_m is 0, empty gnomon_mm none, empty edge umbra,
 *           name = site, empty position_decimals unsaid. Positions are as typed.
 * readings: site,utc,shadow_mm; utc takes any RFC 3339 offset. */
#ifndef NOONARC_SPREADSHEET_H
#define NOONARC_SPREADSHEET_H

#include <stddef.h>
#include <stdint.h>

#include "server/base/err.h"
#include "server/wire/csv.h"
#include "server/wire/records.h"

#define SHEET_ROWS_MAX 20000000

/* Sites in the order of their rows, none twice. The caller frees *out with free();
 * NULL when *count is 0. */
int sheet_read_sites(const char *csv, size_t length, struct site_record **out, size_t *count,
                     struct err *err) __attribute__((warn_unused_result));

struct sheet_reading {
    uint32_t site; /* index into sheet_readings.site */
    uint32_t row;  /* in the spreadsheet: for errors found later */
    struct reading reading;
};

struct sheet_site {
    char site[ID_MAX + 1];
    uint32_t first_row;     /* where it was first named */
    size_t first, readings; /* its readings: reading[first .. first + readings - 1] */
};

/* Readings gathered by site: sites ascending by strcmp, the readings of each
 * ascending by time (then shadow, then row), so that the order of the rows does
 * not matter to anything computed. */
struct sheet_readings {
    struct sheet_site *site; /* owned */
    size_t sites;
    struct sheet_reading *reading; /* owned */
    size_t readings;
};

int sheet_read_readings(const char *csv, size_t length, struct sheet_readings *out, struct err *err)
    __attribute__((warn_unused_result));
void sheet_readings_release(struct sheet_readings *readings);

/* The run that part of a site's readings make with the site's usual gnomon.
 * ERR_OUT_OF_RANGE ("row N, site") for more than RUN_READINGS_MAX readings,
 * ERR_MISSING_FIELD for a site without gnomon_mm. N is the row of the reading. */
int sheet_run(const struct site_record *site, const struct sheet_reading *reading, size_t count,
              struct run *out, struct err *err) __attribute__((warn_unused_result));

/* Writers: a header, then a row each; rows take what the readers above give back. */
void sheet_write_sites_header(struct csv_writer *csv);
void sheet_write_site(struct csv_writer *csv, const struct site_record *site);

/* The same with exact positions and the contact: for organisers. */
void sheet_write_own_sites_header(struct csv_writer *csv);
void sheet_write_own_site(struct csv_writer *csv, const struct site_record *site);

void sheet_write_readings_header(struct csv_writer *csv);
void sheet_write_run(struct csv_writer *csv, const char *site, const struct run *run);

/* site,transit_utc,noon_angle_deg,sigma_deg,estimator,used,left_out,run,status,counts:
 * what geojson_write_noons tells; counts is true or false. Of the record only these
 * fields are looked at. */
void sheet_write_reductions_header(struct csv_writer *csv);
void sheet_write_reduction(struct csv_writer *csv, const struct reduction_record *reduction);

/* site1,site2,separation_km,angle_deg,circumference_km,sigma_km,error_percent,status */
void sheet_write_pairs_header(struct csv_writer *csv);
void sheet_write_pair(struct csv_writer *csv, const struct pair_record *pair);

/* site,noon,meridian_km,noon_angle_deg,sigma_deg,residual_deg,left_out; left_out is
 * empty or off_the_line */
void sheet_write_line_header(struct csv_writer *csv);
void sheet_write_line(struct csv_writer *csv, const struct line_record *point);

#endif
