/* SPDX-License-Identifier: MIT */
/* record_read: whole records from bodies, and the checks across fields. */
#include "server/wire/record_read.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/science/meridian.h"
#include "server/wire/field.h"
#include "server/wire/json_read.h"

/* A zone's principal place may be this far from a site of the zone. */
#define ZONE_REACH_M 3000e3
#define HEIGHT_ROUNDING_M 1e-9

static int refuse_swapped(const struct site_record *site, const char *field, struct err *err) {
    return err_set(err, ERR_POSITION_SWAPPED, field,
                   "latitude %.6g and longitude %.6g look exchanged: latitude counts degrees north "
                   "of the equator, at most 90",
                   site->place.lat_deg, site->place.lon_deg);
}

static int check_zone(const struct site_record *site, const struct zones *zones, const char *before,
                      const char *lat_field, struct err *err) {
    char field[sizeof err->field];
    if (!zones_has(zones, site->zone)) {
        snprintf(field, sizeof field, "%szone", before);
        return err_set(err, ERR_UNKNOWN_ZONE, field,
                       "no time zone of that name is known here; names are as in the IANA list, "
                       "such as Africa/Nairobi");
    }
    const struct zone_place *zone = zones_place(zones, site->zone);
    const double lat_deg = site->place.lat_deg, lon_deg = site->place.lon_deg;
    if (zone == NULL || fabs(lon_deg) > 90.0)
        return 0;
    double given_m = meridian_geodesic_m(lat_deg, lon_deg, zone->lat_deg, zone->lon_deg);
    double exchanged_m = meridian_geodesic_m(lon_deg, lat_deg, zone->lat_deg, zone->lon_deg);
    if (given_m > ZONE_REACH_M && exchanged_m < given_m / 2.0)
        return refuse_swapped(site, lat_field, err);
    return 0;
}

int record_check_site(const struct site_record *site, const struct zones *zones, const char *before,
                      struct err *err) {
    char field[sizeof err->field];
    snprintf(field, sizeof field, "%slat_deg", before);
    if (fabs(site->place.lat_deg) > 90.0) {
        if (fabs(site->place.lat_deg) <= 180.0 && fabs(site->place.lon_deg) <= 90.0)
            return refuse_swapped(site, field, err);
        return err_set(err, ERR_OUT_OF_RANGE, field,
                       "it is at least -90 and at most 90 degrees, not %.15g", site->place.lat_deg);
    }
    return site->zone[0] == '\0' ? 0 : check_zone(site, zones, before, field, err);
}

static size_t site_row(const char *key) {
    return (size_t)(field_find(&site_fields, key, strlen(key)) - site_fields.field);
}

/* What a change of a site leaves unsaid stays as it is, where a reader of the public
 * record cannot know it: to say nothing and to say "none" are two things. */
static int read_site(const char *bytes, size_t length, struct site_record *site, struct err *err) {
    enum json_said said[FIELD_TABLE_MAX];
    if (json_read_record(bytes, length, &site_fields, site, said, err) < 0)
        return -1;
    if (said[site_row("position_decimals")] == JSON_SAID_NULL)
        site->position_decimals = POSITION_EXACT;
    site->contact_unsaid = said[site_row("contact")] == JSON_UNSAID;
    return 0;
}

int record_read_site(const char *json, size_t length, struct site_record *out, struct err *err) {
    struct site_record site;
    site_record_init(&site);
    if (read_site(json, length, &site, err) < 0)
        return -1;
    struct zones zones = {.directory = ZONE_DIRECTORY};
    if (site.zone[0] != '\0')
        zones_init(&zones, NULL);
    int outcome = record_check_site(&site, &zones, "/", err);
    zones_release(&zones);
    if (outcome == 0)
        *out = site;
    return outcome;
}

static int compare_dates(const void *one, const void *two) {
    const int32_t a = *(const int32_t *)one, b = *(const int32_t *)two;
    return (a > b) - (a < b);
}

static int check_date(int32_t date, const char *field, struct err *err) {
    if (date >= SUN_FIRST_DAY && date <= SUN_LAST_DAY)
        return 0;
    return err_set(err, ERR_OUT_OF_RANGE, field,
                   "the Sun is computed for dates from 1972-01-01 to 2100-12-31");
}

static int check_day(struct day_record *day, struct err *err) {
    char field[sizeof err->field];
    if (check_date(day->date, "/date", err) < 0)
        return -1;
    for (int i = 0; i < day->spares; i++) {
        snprintf(field, sizeof field, "/spare_dates/%d", i);
        if (check_date(day->spare[i], field, err) < 0)
            return -1;
        bool again = day->spare[i] == day->date;
        for (int j = 0; j < i; j++)
            again = again || day->spare[i] == day->spare[j];
        if (again)
            return err_set(err, ERR_OUT_OF_RANGE, field, "that date stands here already");
    }
    qsort(day->spare, (size_t)day->spares, sizeof day->spare[0], compare_dates);
    return 0;
}

int record_read_day(const char *json, size_t length, struct day_record *out, struct err *err) {
    struct day_record day;
    day_record_init(&day);
    if (json_read_record(json, length, &day_fields, &day, NULL, err) < 0 ||
        check_day(&day, err) < 0)
        return -1;
    if (day.day[0] == '\0')
        date_format(day.date, day.day);
    if (day.name[0] == '\0')
        memcpy(day.name, day.day, sizeof day.day);
    *out = day;
    return 0;
}

int record_read_season(const char *json, size_t length, struct season_record *out,
                       struct err *err) {
    struct season_record season;
    season_record_init(&season);
    if (json_read_record(json, length, &season_fields, &season, NULL, err) < 0)
        return -1;
    *out = season;
    return 0;
}

int record_read_decision(const char *json, size_t length, const struct field_table *table,
                         struct decision_record *out, struct err *err) {
    struct decision_record decision = {.reason = ""};
    if (json_read_record(json, length, table, &decision, NULL, err) < 0)
        return -1;
    *out = decision;
    return 0;
}

static int check_height(const struct gnomon *gnomon, struct err *err) {
    double height_m = gnomon_height(gnomon).value_m;
    if (height_m < GNOMON_HEIGHT_MIN_M - HEIGHT_ROUNDING_M ||
        height_m > GNOMON_HEIGHT_MAX_M + HEIGHT_ROUNDING_M)
        return err_set(err, ERR_OUT_OF_RANGE, "/gnomon/parts",
                       "the parts add up to at least %.15g and at most %.15g mm, not %.15g",
                       SITE_GNOMON_MIN_MM, SITE_GNOMON_MAX_MM, record_mm(height_m));
    return 0;
}

int record_read_run(const char *json, size_t length, struct run_record *out, struct err *err) {
    run_record_init(out);
    if (json_read_record(json, length, &run_fields, out, NULL, err) == 0 &&
        check_height(&out->run.gnomon, err) == 0)
        return 0;
    run_record_init(out);
    return -1;
}
