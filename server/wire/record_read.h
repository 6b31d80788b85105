/* SPDX-License-Identifier: MIT */
/* record_read: bodies of requests into records: parse, go through the field
 * table, then the checks that need more than one field. out is written only on
 * success, but a run, which is large: it is read where it stays, and empty after a
 * failure. Each returns 0, or -1 with err set (field: JSON pointer). */
#ifndef NOONARC_RECORD_READ_H
#define NOONARC_RECORD_READ_H

#include <stddef.h>

#include "server/base/err.h"
#include "server/wire/field.h"
#include "server/wire/records.h"
#include "server/wire/zone.h"

/* {"site"?, "name", "lat_deg", "lon_deg", "elev_m"?, "zone"?, "gnomon_mm"?,
 *  "edge"?, "contact"?, "position_decimals"?}; site stays "" when not given, place is as
 * it was typed: site_record_settle rounds it. Without position_decimals and contact the
 * record says so (POSITION_UNSAID, contact_unsaid); null means exact, and no contact. */
int record_read_site(const char *json, size_t length, struct site_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"day"?, "name"?, "date", "spare_dates"?, "lon_tolerance_deg"?,
 *  "min_separation_km"?, "max_sigma_km"?, "season"?, "state"?, "blind"?}; day defaults to the date,
 * name to day. */
int record_read_day(const char *json, size_t length, struct day_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"season"?, "name", "approval"?}; season stays "" when not given. */
int record_read_season(const char *json, size_t length, struct season_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* What is decided, by one of the tables of field.h (state_fields and the like), and
 * "reason"?. */
int record_read_decision(const char *json, size_t length, const struct field_table *table,
                         struct decision_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* {"gnomon": {"parts": [{"length_mm", "sigma_mm"?}], "edge"}, "readings": [{"time",
 *  "shadow_mm", "sigma_mm"?}], "sky"?, "level"?, "note"?, "pressure_hpa"?,
 *  "temperature_c"?, "clock_sigma_s"?, "tilt_sigma_deg"?, "supersedes"?}.
 * id, site and day stay empty: they come from the address. */
int record_read_run(const char *json, size_t length, struct run_record *out, struct err *err)
    __attribute__((warn_unused_result));

/* Checks of a whole site, shared with the spreadsheets: latitude and longitude
 * exchanged (ERR_POSITION_SWAPPED), zone unknown (ERR_UNKNOWN_ZONE). before is what
 * comes before a key in the error's field: "/" or "row 7, ". */
int record_check_site(const struct site_record *site, const struct zones *zones, const char *before,
                      struct err *err) __attribute__((warn_unused_result));

#endif
