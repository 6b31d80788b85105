/* SPDX-License-Identifier: MIT */
/* field_tables: what may come in, for every record: one row a field. The limits
 * of the contract stand here and nowhere else. */
#include <float.h>
#include <stddef.h>

#include "server/wire/edition_records.h"
#include "server/wire/field.h"
#include "server/wire/invitation.h"
#include "server/wire/records.h"
#include "server/wire/review.h"

#define COUNT(array) (sizeof(array) / sizeof(array)[0])
#define AT(type, member) .offset = offsetof(type, member)
#define ROOM(type, member) AT(type, member), .size = sizeof(((type *)NULL)->member)
#define RANGE(low, high, of) .min = (low), .max = (high), .unit = (of)
/* Lengths are told in millimetres and kept in metres. */
#define MM_PER_M 1000.0
#define RANGE_MM(low, high) RANGE(low, high, "mm"), .divisor = MM_PER_M
/* Shorter than anything a ruler tells, and long enough to come back from the metres. */
#define LENGTH_MM(high) RANGE_MM(0.01, high)
#define LIST(table, least, most) .inner = &(table), .min = (least), .max = (most)
#define EACH(type, counted_in, counter)                                                            \
    .stride = sizeof(type), .count_offset = offsetof(counted_in, counter)
#define SHADOW_MAX_MM (RUN_SHADOW_MAX_M * MM_PER_M)
#define RUN_ID_LAST 9007199254740991.0 /* 2^53 - 1: whole in every JSON reader */

/* A table is read by its columns: key, kind, required, destination, limits. */
/* clang-format off */

/* A latitude's range is for record_check_site to judge, which knows an exchanged
 * position from a wrong one. */
#define SITE struct site_record
static const struct field site_rows[] = {
    {"site",      FIELD_ID,   false, ROOM(SITE, site)},
    {"name",      FIELD_NAME, true,  ROOM(SITE, name)},
    {"lat_deg",   FIELD_REAL, true,  AT(SITE, place.lat_deg),      RANGE(-DBL_MAX, DBL_MAX, "degrees")},
    {"lon_deg",   FIELD_REAL, true,  AT(SITE, place.lon_deg),      RANGE(-180.0, 180.0, "degrees")},
    {"elev_m",    FIELD_REAL, false, AT(SITE, place.elevation_m),  RANGE(-500.0, 9000.0, "m")},
    {"zone",      FIELD_ZONE, false, ROOM(SITE, zone)},
    {"gnomon_mm", FIELD_REAL, false, AT(SITE, gnomon_mm),          RANGE(SITE_GNOMON_MIN_MM, SITE_GNOMON_MAX_MM, "mm")},
    {"edge",      FIELD_EDGE, false, AT(SITE, edge)},
    {"contact",   FIELD_TEXT, false, ROOM(SITE, contact)},
    {"invitation", FIELD_TEXT, false, ROOM(SITE, invitation)},
    {"position_decimals", FIELD_RUN_ID, false, AT(SITE, position_decimals), RANGE(POSITION_DECIMALS_MIN, POSITION_DECIMALS_MAX, "decimals of a degree")},
};
const struct field_table site_fields = {"a site", site_rows, COUNT(site_rows)};

static const struct field spare_row[] = {{.kind = FIELD_DATE}};
static const struct field_table spare_fields = {"a spare date", spare_row, COUNT(spare_row)};

#define DAY struct day_record
static const struct field day_rows[] = {
    {"day",               FIELD_ID,   false, ROOM(DAY, day)},
    {"name",              FIELD_NAME, false, ROOM(DAY, name)},
    {"date",              FIELD_DATE, true,  AT(DAY, date)},
    {"spare_dates",       FIELD_LIST, false, AT(DAY, spare), LIST(spare_fields, 0, DAY_SPARES_MAX), EACH(int32_t, DAY, spares)},
    {"lon_tolerance_deg", FIELD_REAL, false, AT(DAY, lon_tolerance_deg), RANGE(0.01, 15.0, "degrees")},
    {"min_separation_km", FIELD_REAL, false, AT(DAY, min_separation_km), RANGE(1.0, 5000.0, "km")},
    {"max_sigma_km",      FIELD_REAL, false, AT(DAY, max_sigma_km),      RANGE(10.0, 20000.0, "km")},
    {"clock_bound_s",     FIELD_REAL, false, AT(DAY, clock_bound_s),     RANGE(0.1, 86400.0, "s")},
    {"clock_correct",     FIELD_BOOL, false, AT(DAY, clock_correct)},
    {"season",            FIELD_ID,   false, ROOM(DAY, season)},
    {"state",             FIELD_STATE, false, AT(DAY, state)},
    {"blind",             FIELD_BOOL, false, AT(DAY, blind)},
};
const struct field_table day_fields = {"a day", day_rows, COUNT(day_rows)};

#define SEASON struct season_record
static const struct field season_rows[] = {
    {"season",   FIELD_ID,   false, ROOM(SEASON, season)},
    {"name",     FIELD_NAME, true,  ROOM(SEASON, name)},
    {"approval", FIELD_BOOL, false, AT(SEASON, approval)},
};
const struct field_table season_fields = {"a season", season_rows, COUNT(season_rows)};

#define INVITED struct invited_school
static const struct field invitation_rows[] = {
    {"name",    FIELD_NAME, true,  ROOM(INVITED, name)},
    {"contact", FIELD_TEXT, false, ROOM(INVITED, contact)},
};
const struct field_table invitation_fields = {"an invitation", invitation_rows, COUNT(invitation_rows)};
static const struct field invitation_code_rows[] = {{"invitation", FIELD_TEXT, true, ROOM(struct invitation_code, invitation)}};
const struct field_table invitation_code_fields = {"an invitation's code", invitation_code_rows, COUNT(invitation_code_rows)};

#define DECISION struct decision_record
#define REASON_ROW {"reason", FIELD_TEXT, false, ROOM(DECISION, reason)}
static const struct field state_rows[] = {{"state", FIELD_STATE, true, AT(DECISION, state)}, REASON_ROW};
static const struct field move_rows[] = {{"date", FIELD_DATE, true, AT(DECISION, date)}, REASON_ROW};
static const struct field blind_rows[] = {{"blind", FIELD_BOOL, true, AT(DECISION, blind)}, REASON_ROW};
static const struct field approval_rows[] = {{"approved", FIELD_BOOL, true, AT(DECISION, approved)}, REASON_ROW};
const struct field_table state_fields = {"a change of state", state_rows, COUNT(state_rows)};
const struct field_table move_fields = {"a move", move_rows, COUNT(move_rows)};
const struct field_table blind_fields = {"a word about the expected angle", blind_rows, COUNT(blind_rows)};
const struct field_table approval_fields = {"an approval", approval_rows, COUNT(approval_rows)};

static const struct field part_rows[] = {
    {"length_mm", FIELD_REAL, true,  AT(struct length, value_m), LENGTH_MM(SITE_GNOMON_MAX_MM)},
    {"sigma_mm",  FIELD_REAL, false, AT(struct length, sigma_m), RANGE_MM(0.01, 1000.0)},
};
static const struct field_table part_fields = {"a part of the gnomon", part_rows, COUNT(part_rows)};

#define GNOMON struct gnomon
static const struct field gnomon_rows[] = {
    {"parts", FIELD_LIST, true, AT(GNOMON, part), LIST(part_fields, 1, GNOMON_PARTS_MAX), EACH(struct length, GNOMON, parts)},
    {"edge",  FIELD_EDGE, true, AT(GNOMON, edge)},
};
static const struct field_table gnomon_fields = {"a gnomon", gnomon_rows, COUNT(gnomon_rows)};

static const struct field reading_rows[] = {
    {"time",      FIELD_INSTANT, true,  AT(struct reading, t_utc_s)},
    {"shadow_mm", FIELD_REAL,    true,  AT(struct reading, shadow_m),       LENGTH_MM(SHADOW_MAX_MM)},
    {"sigma_mm",  FIELD_REAL,    false, AT(struct reading, shadow_sigma_m), RANGE_MM(0.01, 10000.0)},
    {"bearing_deg", FIELD_REAL,  false, AT(struct reading, bearing_deg),    RANGE(0.0, 360.0, "degrees")},
};
static const struct field_table reading_fields = {"a reading", reading_rows, COUNT(reading_rows)};

/* A device that lost its battery begins in 1970 again. */
#define CENTURY_S 3155760000.0
#define CLOCK struct run_clock
static const struct field clock_rows[] = {
    {"offset_s", FIELD_REAL, true, AT(CLOCK, offset_s), RANGE(-CENTURY_S, CENTURY_S, "s")},
    {"sigma_s",  FIELD_REAL, true, AT(CLOCK, sigma_s),  RANGE(0.001, 3600.0, "s")},
};
static const struct field_table clock_fields = {"a measured clock", clock_rows, COUNT(clock_rows)};

#define RUN struct run_record
static const struct field run_rows[] = {
    {"gnomon",         FIELD_OBJECT, true,  AT(RUN, run.gnomon), .inner = &gnomon_fields},
    {"readings",       FIELD_LIST,   true,  AT(RUN, run.reading), LIST(reading_fields, 1, RUN_READINGS_MAX), EACH(struct reading, RUN, run.readings)},
    {"sky",            FIELD_TEXT,   false, ROOM(RUN, sky)},
    {"level",          FIELD_TEXT,   false, ROOM(RUN, level)},
    {"note",           FIELD_TEXT,   false, ROOM(RUN, note)},
    {"pressure_hpa",   FIELD_REAL,   false, AT(RUN, run.pressure_hpa),   RANGE(300.0, 1100.0, "hPa")},
    {"temperature_c",  FIELD_REAL,   false, AT(RUN, run.temperature_c),  RANGE(-60.0, 60.0, "degrees Celsius")},
    {"clock_sigma_s",  FIELD_REAL,   false, AT(RUN, run.clock_sigma_s),  RANGE(0.001, 3600.0, "s")},
    {"clock",          FIELD_OBJECT, false, AT(RUN, run.clock), .inner = &clock_fields},
    {"tilt_sigma_deg", FIELD_REAL,   false, AT(RUN, run.tilt_sigma_deg), RANGE(0.0001, 10.0, "degrees")},
    {"supersedes",     FIELD_RUN_ID, false, AT(RUN, supersedes),         RANGE(1.0, RUN_ID_LAST, "")},
};
const struct field_table run_fields = {"a run", run_rows, COUNT(run_rows)};

#define REVIEW struct review_body
static const struct field review_rows[] = {
    {"verdict", FIELD_TEXT, true, ROOM(REVIEW, verdict)},
    {"reason",  FIELD_TEXT, true, ROOM(REVIEW, reason)},
};
const struct field_table review_fields = {"a review", review_rows, COUNT(review_rows)};

/* Records of a published edition: as the requests they came from, in objects. */
#define COUNTED RANGE(0.0, RUN_ID_LAST, "")
#define EDAY struct edition_day_body
static const struct field edition_day_rows[] = {
    {"rules",      FIELD_OBJECT, true, AT(EDAY, record), .inner = &day_fields},
    {"withdrawn",  FIELD_RUN_ID, true, AT(EDAY, withdrawn),  COUNTED},
    {"not_agreed", FIELD_RUN_ID, true, AT(EDAY, not_agreed), COUNTED},
};
const struct field_table edition_day_fields = {"a day of an edition", edition_day_rows, COUNT(edition_day_rows)};

static const struct field edition_site_rows[] = {
    {"site",    FIELD_ID,   true,  ROOM(SITE, site)},
    {"name",    FIELD_NAME, false, ROOM(SITE, name)},
    {"lat_deg", FIELD_REAL, true,  AT(SITE, place.lat_deg),     RANGE(-90.0, 90.0, "degrees")},
    {"lon_deg", FIELD_REAL, true,  AT(SITE, place.lon_deg),     RANGE(-180.0, 180.0, "degrees")},
    {"elev_m",  FIELD_REAL, true,  AT(SITE, place.elevation_m), RANGE(-500.0, 9000.0, "m")},
    {"position_decimals", FIELD_RUN_ID, false, AT(SITE, position_decimals), RANGE(POSITION_DECIMALS_MIN, POSITION_DECIMALS_MAX, "decimals of a degree")},
};
const struct field_table edition_site_fields = {"a site of an edition", edition_site_rows, COUNT(edition_site_rows)};

#define ERUN struct edition_run_body
static const struct field edition_run_rows[] = {
    {"day",  FIELD_ID,     true, ROOM(ERUN, day)},
    {"site", FIELD_ID,     true, ROOM(ERUN, site)},
    {"run",  FIELD_RUN_ID, true, AT(ERUN, run), RANGE(1.0, RUN_ID_LAST, "")},
    {"sent", FIELD_OBJECT, true, AT(ERUN, sent), .inner = &run_fields},
};
const struct field_table edition_run_fields = {"a run of an edition", edition_run_rows, COUNT(edition_run_rows)};

#define EXCLUSION struct exclusion_record
static const struct field edition_exclusion_rows[] = {
    {"run",          FIELD_RUN_ID,  true, AT(EXCLUSION, run), RANGE(1.0, RUN_ID_LAST, "")},
    {"reason",       FIELD_TEXT,    true, ROOM(EXCLUSION, reason)},
    {"excluded_utc", FIELD_INSTANT, true, AT(EXCLUSION, excluded_utc_s)},
};
const struct field_table edition_exclusion_fields = {"an exclusion of an edition", edition_exclusion_rows, COUNT(edition_exclusion_rows)};

static const struct field edition_keeps_rows[] = {
    {"keeps", FIELD_TEXT, true, ROOM(struct edition_keeps_body, keeps)},
};
const struct field_table edition_keeps_fields = {"an agreement", edition_keeps_rows, COUNT(edition_keeps_rows)};

static const struct field edition_ask_rows[] = {
    {"title",  FIELD_NAME, false, ROOM(struct edition_ask, title)},
    {"reason", FIELD_TEXT, false, ROOM(struct edition_ask, reason)},
};
const struct field_table edition_ask_fields = {"an edition", edition_ask_rows, COUNT(edition_ask_rows)};

#define ROW struct reading_row
static const struct field reading_row_rows[] = {
    {"site",      FIELD_ID,      true, ROOM(ROW, site)},
    {"utc",       FIELD_INSTANT, true, AT(ROW, reading.t_utc_s)},
    {"shadow_mm", FIELD_REAL,    true, AT(ROW, reading.shadow_m), LENGTH_MM(SHADOW_MAX_MM)},
};
const struct field_table reading_row_fields = {"a row of readings", reading_row_rows, COUNT(reading_row_rows)};

static const struct field sky_rows[] = {{"sky", FIELD_SKY, true, .offset = 0}};
const struct field_table sky_fields = {"a report of the sky", sky_rows, COUNT(sky_rows)};
/* clang-format on */
