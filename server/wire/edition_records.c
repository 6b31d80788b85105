/* SPDX-License-Identifier: MIT */
/* edition_records: the lists of records, written and read by the field tables that
 * requests go through. */
#include "server/wire/edition_records.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/field.h"
#include "server/wire/json_read.h"
#include "server/wire/record_write.h"

/* What enters a figure, and what the day is called. */
static void write_rules(struct json_writer *json, const struct day_record *day) {
    json_write_object(json, "rules");
    json_write_text(json, "day", day->day);
    json_write_text(json, "name", day->name);
    json_write_date(json, "date", day->date);
    json_write_array(json, "spare_dates");
    for (int i = 0; i < day->spares; i++)
        json_write_date(json, NULL, day->spare[i]);
    json_write_end(json);
    json_write_real(json, "lon_tolerance_deg", day->lon_tolerance_deg);
    json_write_real(json, "min_separation_km", day->min_separation_km);
    json_write_real(json, "max_sigma_km", day->max_sigma_km);
    json_write_real(json, "clock_bound_s", day->clock_bound_s);
    json_write_bool(json, "clock_correct", day->clock_correct);
    json_write_end(json);
}

void edition_write_day(struct json_writer *json, const struct edition_day *day) {
    json_write_object(json, NULL);
    write_rules(json, &day->record);
    json_write_integer(json, "withdrawn", day->withdrawn);
    json_write_integer(json, "not_agreed", day->not_agreed);
    json_write_end(json);
}

void edition_write_site(struct json_writer *json, const struct site_record *site) {
    json_write_object(json, NULL);
    json_write_text(json, "site", site->site);
    json_write_text_or_null(json, "name", site->name);
    json_write_real(json, "lat_deg", site->place.lat_deg);
    json_write_real(json, "lon_deg", site->place.lon_deg);
    json_write_real(json, "elev_m", site->place.elevation_m);
    if (site->position_decimals == POSITION_EXACT)
        json_write_null(json, "position_decimals");
    else
        json_write_integer(json, "position_decimals", site->position_decimals);
    json_write_end(json);
}

void edition_write_run(struct json_writer *json, const struct run_record *run) {
    struct run_record sent = *run;
    sent.sky[0] = sent.level[0] = sent.note[0] = '\0';
    sent.supersedes = 0;
    json_write_object(json, NULL);
    json_write_text(json, "day", run->day);
    json_write_text(json, "site", run->site);
    json_write_integer(json, "run", run->id);
    record_write_run_request(json, "sent", &sent);
    json_write_end(json);
}

void edition_write_exclusion(struct json_writer *json, const struct exclusion_record *exclusion) {
    json_write_object(json, NULL);
    json_write_integer(json, "run", exclusion->run);
    json_write_text(json, "reason", exclusion->reason);
    json_write_instant(json, "excluded_utc", exclusion->excluded_utc_s, 0);
    json_write_end(json);
}

/* ---- reading ---- */

#define POINTER_MAX 96

static int refuse_order(const char *list, size_t at, const char *by, struct err *err) {
    char pointer[POINTER_MAX];
    snprintf(pointer, sizeof pointer, "/records/%s/%zu", list, at);
    return err_set(err, ERR_OUT_OF_RANGE, pointer, "this list is in the order of %s, each once",
                   by);
}

/* The list of that name, and room for so many records of size. */
static void *read_list(const json_t *records, const char *name, size_t size, const json_t **list,
                       struct err *err) {
    char pointer[POINTER_MAX];
    snprintf(pointer, sizeof pointer, "/records/%s", name);
    *list = json_object_get(records, name);
    if (!json_is_array(*list)) {
        err_set(err, *list == NULL ? ERR_MISSING_FIELD : ERR_WRONG_TYPE, pointer,
                "the records of an edition have a list here");
        return NULL;
    }
    void *room = calloc(json_array_size(*list) + 1, size);
    if (room == NULL)
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
    return room;
}

/* A record comes in as a request does: as text. */
static int read_record(const json_t *list, const char *name, size_t at,
                       const struct field_table *table, void *out, struct err *err) {
    struct err wrong = {.code = ERR_NONE};
    char pointer[POINTER_MAX + sizeof wrong.field];
    const json_t *object = json_array_get(list, at);
    const int length = snprintf(pointer, sizeof pointer, "/records/%s/%zu", name, at);
    if (!json_is_object(object))
        return err_set(err, ERR_WRONG_TYPE, pointer, "an object belongs here");
    char *text = json_dumps(object, JSON_COMPACT);
    if (text == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    int result = json_read_record(text, strlen(text), table, out, NULL, &wrong);
    free(text);
    if (result == 0)
        return 0;
    snprintf(pointer + length, sizeof pointer - (size_t)length, "%s", wrong.field);
    return err_set(err, wrong.code, pointer, "%s", wrong.text);
}

static int by_day(const struct day_record *a, const struct day_record *b) {
    if (a->date != b->date)
        return a->date < b->date ? -1 : 1;
    return strcmp(a->day, b->day);
}

static int read_days(const json_t *records, struct edition_records *out, struct err *err) {
    const json_t *list;
    out->day = read_list(records, "days", sizeof *out->day, &list, err);
    if (out->day == NULL)
        return -1;
    for (size_t i = 0; i < json_array_size(list); i++, out->days++) {
        struct edition_day_body body = {0};
        day_record_init(&body.record);
        if (read_record(list, "days", i, &edition_day_fields, &body, err))
            return -1;
        out->day[i] = (struct edition_day){body.record, (int)body.withdrawn, (int)body.not_agreed};
        if (i > 0 && by_day(&out->day[i - 1].record, &body.record) >= 0)
            return refuse_order("days", i, "dates and identifiers", err);
        if (body.record.day[0] == '\0')
            return err_set(err, ERR_MISSING_FIELD, "/records/days", "every day has its identifier");
    }
    return 0;
}

static int read_sites(const json_t *records, struct edition_records *out, struct err *err) {
    const json_t *list;
    out->site = read_list(records, "sites", sizeof *out->site, &list, err);
    if (out->site == NULL)
        return -1;
    for (size_t i = 0; i < json_array_size(list); i++, out->sites++) {
        struct site_record *site = &out->site[i];
        site_record_init(site);
        if (read_record(list, "sites", i, &edition_site_fields, site, err))
            return -1;
        site_record_settle(site);
        if (i > 0 && strcmp(out->site[i - 1].site, site->site) >= 0)
            return refuse_order("sites", i, "identifiers", err);
    }
    return 0;
}

static int read_exclusions(const json_t *records, struct edition_records *out, struct err *err) {
    const json_t *list;
    out->exclusion = read_list(records, "exclusions", sizeof *out->exclusion, &list, err);
    if (out->exclusion == NULL)
        return -1;
    for (size_t i = 0; i < json_array_size(list); i++, out->exclusions++) {
        struct exclusion_record *exclusion = &out->exclusion[i];
        if (read_record(list, "exclusions", i, &edition_exclusion_fields, exclusion, err))
            return -1;
        if (i > 0 && out->exclusion[i - 1].run >= exclusion->run)
            return refuse_order("exclusions", i, "runs", err);
    }
    return 0;
}

int edition_records_read(const json_t *records, struct edition_records *out, struct err *err) {
    struct edition_records read = {0};
    if (!json_is_object(records))
        return err_set(err, ERR_WRONG_TYPE, "/records", "the records of an edition belong here");
    read.runs = json_object_get(records, "runs");
    if (!json_is_array(read.runs))
        return err_set(err, ERR_MISSING_FIELD, "/records/runs", "a list of runs belongs here");
    read.runs_count = json_array_size(read.runs);
    if (read_days(records, &read, err) || read_sites(records, &read, err) ||
        read_exclusions(records, &read, err)) {
        edition_records_release(&read);
        return -1;
    }
    *out = read;
    return 0;
}

void edition_records_release(struct edition_records *records) {
    free(records->day);
    free(records->site);
    free(records->exclusion);
    *records = (struct edition_records){0};
}

static int by_site(const void *left, const void *right) {
    const struct site_record *a = left, *b = right;
    return strcmp(a->site, b->site);
}

static int by_run(const void *left, const void *right) {
    const struct exclusion_record *a = left, *b = right;
    return (a->run > b->run) - (a->run < b->run);
}

int edition_records_run(const struct edition_records *records, size_t at,
                        const struct edition_run *before, struct edition_run *out,
                        struct err *err) {
    struct edition_run_body body = {0};
    struct site_record site_key;
    char pointer[POINTER_MAX];
    run_record_init(&body.sent);
    if (read_record(records->runs, "runs", at, &edition_run_fields, &body, err))
        return -1;
    memcpy(site_key.site, body.site, sizeof site_key.site);
    const struct site_record *site =
        bsearch(&site_key, records->site, records->sites, sizeof site_key, by_site);
    size_t day = 0;
    while (day < records->days && strcmp(records->day[day].record.day, body.day) != 0)
        day++;
    snprintf(pointer, sizeof pointer, "/records/runs/%zu", at);
    if (site == NULL || day == records->days)
        return err_set(err, ERR_NOT_FOUND, pointer,
                       "a run is of a day and a site that the edition has");
    const size_t rank = (size_t)(site - records->site);
    if (before != NULL && (before->day > day || (before->day == day && before->site >= rank)))
        return refuse_order("runs", at, "days and sites", err);
    out->day = day;
    out->site = rank;
    out->record = body.sent;
    out->record.id = body.run;
    memcpy(out->record.site, body.site, sizeof out->record.site);
    memcpy(out->record.day, body.day, sizeof out->record.day);
    const struct exclusion_record excluded = {.run = body.run};
    out->exclusion =
        bsearch(&excluded, records->exclusion, records->exclusions, sizeof excluded, by_run);
    return 0;
}
