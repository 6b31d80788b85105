/* SPDX-License-Identifier: MIT */
/* spreadsheet: rows of the two spreadsheets into records, through the same field
 * tables as JSON bodies. Duplicates are found by sorting, never by comparing all
 * with all. */
#include "server/wire/spreadsheet.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/wire/array.h"
#include "server/wire/columns.h"
#include "server/wire/field.h"
#include "server/wire/record_read.h"

static int out_of_memory(struct err *err) {
    return err_set(err, ERR_INTERNAL, NULL, "out of memory");
}

/* The sites' table wants a name; a spreadsheet without one takes the identifier. */
static const struct field_table *sheet_site_fields(struct field *rows, struct field_table *table) {
    *table = site_fields;
    assert(site_fields.fields <= FIELD_TABLE_MAX);
    memcpy(rows, site_fields.field, site_fields.fields * sizeof *rows);
    for (size_t i = 0; i < table->fields; i++) { /* a code is typed by its school alone */
        if (strcmp(rows[i].key, "invitation") != 0)
            continue;
        table->fields--;
        memmove(&rows[i], &rows[i + 1], (table->fields - i) * sizeof *rows);
    }
    for (size_t i = 0; i < table->fields; i++) {
        rows[i].required = strcmp(rows[i].key, "site") == 0 ||
                           strcmp(rows[i].key, "lat_deg") == 0 ||
                           strcmp(rows[i].key, "lon_deg") == 0;
    }
    table->field = rows;
    return table;
}

struct site_row {
    const char *site;
    size_t row;
};

static int by_site_row(const void *left, const void *right) {
    const struct site_row *a = left, *b = right;
    int order = strcmp(a->site, b->site);
    return order != 0 ? order : (a->row > b->row) - (a->row < b->row);
}

/* Refuses the first row (in their order) that names a site again. */
static int refuse_doubled(const struct site_record *sites, const size_t *rows, size_t count,
                          struct err *err) {
    struct site_row *sorted = calloc(count + 1, sizeof *sorted);
    if (sorted == NULL)
        return out_of_memory(err);
    for (size_t i = 0; i < count; i++)
        sorted[i] = (struct site_row){sites[i].site, rows[i]};
    qsort(sorted, count, sizeof *sorted, by_site_row);
    const struct site_row *doubled = NULL, *before = NULL;
    for (size_t i = 1; i < count; i++) {
        if (strcmp(sorted[i].site, sorted[i - 1].site) == 0 &&
            (doubled == NULL || sorted[i].row < doubled->row)) {
            doubled = &sorted[i];
            before = &sorted[i - 1];
        }
    }
    int outcome = 0;
    if (doubled != NULL) {
        char place[48];
        snprintf(place, sizeof place, "row %zu, site", doubled->row);
        outcome = err_set(err, ERR_BAD_CSV, place, "%s: \"%s\" stands in row %zu already", place,
                          doubled->site, before->row);
    }
    free(sorted);
    return outcome;
}

int sheet_read_sites(const char *csv_bytes, size_t length, struct site_record **out, size_t *count,
                     struct err *err) {
    static const char *const required[] = {"site",      "lat_deg", "lon_deg", "elev_m",
                                           "gnomon_mm", "edge",    NULL};
    struct field rows_of_table[FIELD_TABLE_MAX];
    struct field_table table;
    struct csv_reader csv;
    struct columns columns;
    struct zones zones;
    struct site_record *sites = NULL;
    size_t *rows = NULL, sites_room = 0, rows_room = 0, found = 0;
    int outcome = -1, row;
    zones_init(&zones, NULL);
    if (csv_reader_init(&csv, csv_bytes, length, err) ||
        columns_read_header(&csv, sheet_site_fields(rows_of_table, &table), required, &columns,
                            err))
        goto cleanup;
    while ((row = csv_reader_next(&csv, err)) > 0) {
        if (found == SHEET_ROWS_MAX) {
            err_set(err, ERR_OUT_OF_RANGE, NULL, "more than %d rows", SHEET_ROWS_MAX);
            goto cleanup;
        }
        struct site_record *more_sites = array_with_room(sites, found, &sites_room, sizeof *sites);
        if (more_sites != NULL)
            sites = more_sites;
        size_t *more_rows = array_with_room(rows, found, &rows_room, sizeof *rows);
        if (more_rows != NULL)
            rows = more_rows;
        if (more_sites == NULL || more_rows == NULL) {
            out_of_memory(err);
            goto cleanup;
        }
        struct site_record *site = &sites[found];
        site_record_init(site);
        if (columns_read_cells(&csv, &columns, site, err))
            goto cleanup;
        if (site->name[0] == '\0')
            snprintf(site->name, sizeof site->name, "%s", site->site);
        char before[32];
        snprintf(before, sizeof before, "row %zu, ", csv.row);
        if (record_check_site(site, &zones, before, err))
            goto cleanup;
        rows[found++] = csv.row;
    }
    if (row < 0 || refuse_doubled(sites, rows, found, err))
        goto cleanup;
    *out = found > 0 ? sites : NULL;
    *count = found;
    if (found > 0)
        sites = NULL;
    outcome = 0;
cleanup:
    csv_reader_release(&csv);
    zones_release(&zones);
    free(sites);
    free(rows);
    return outcome;
}

/* A row of readings while sites have no numbers yet. */
struct loose_reading {
    char site[ID_MAX + 1];
    uint32_t row;
    struct reading reading;
};

static int by_site_time(const void *left, const void *right) {
    const struct loose_reading *a = left, *b = right;
    int order = strcmp(a->site, b->site);
    if (order != 0)
        return order;
    if (a->reading.t_utc_s != b->reading.t_utc_s)
        return a->reading.t_utc_s < b->reading.t_utc_s ? -1 : 1;
    if (a->reading.shadow_m != b->reading.shadow_m)
        return a->reading.shadow_m < b->reading.shadow_m ? -1 : 1;
    return (a->row > b->row) - (a->row < b->row);
}

/* Sorted loose readings -> sites with their ranges. */
static int gather(const struct loose_reading *loose, size_t count, struct sheet_readings *out,
                  struct err *err) {
    size_t sites = 0;
    for (size_t i = 0; i < count; i++)
        sites += i == 0 || strcmp(loose[i].site, loose[i - 1].site) != 0;
    struct sheet_readings made = {
        .site = calloc(sites + 1, sizeof *made.site),
        .reading = calloc(count + 1, sizeof *made.reading),
        .readings = count,
    };
    if (made.site == NULL || made.reading == NULL) {
        sheet_readings_release(&made);
        return out_of_memory(err);
    }
    for (size_t i = 0; i < count; i++) {
        if (i == 0 || strcmp(loose[i].site, loose[i - 1].site) != 0) {
            struct sheet_site *site = &made.site[made.sites++];
            memcpy(site->site, loose[i].site, sizeof site->site);
            site->first_row = loose[i].row;
            site->first = i;
        }
        struct sheet_site *site = &made.site[made.sites - 1];
        if (loose[i].row < site->first_row)
            site->first_row = loose[i].row;
        site->readings++;
        made.reading[i] = (struct sheet_reading){
            .site = (uint32_t)(made.sites - 1),
            .row = loose[i].row,
            .reading = loose[i].reading,
        };
    }
    *out = made;
    return 0;
}

int sheet_read_readings(const char *csv_bytes, size_t length, struct sheet_readings *out,
                        struct err *err) {
    static const char *const required[] = {"site", "utc", "shadow_mm", NULL};
    struct csv_reader csv;
    struct columns columns;
    struct loose_reading *loose = NULL;
    size_t room = 0, count = 0;
    int outcome = -1, row;
    if (csv_reader_init(&csv, csv_bytes, length, err) ||
        columns_read_header(&csv, &reading_row_fields, required, &columns, err))
        goto cleanup;
    while ((row = csv_reader_next(&csv, err)) > 0) {
        struct reading_row read = {.reading = {.shadow_sigma_m = NAN, .bearing_deg = NAN}};
        if (columns_read_cells(&csv, &columns, &read, err))
            goto cleanup;
        if (count == SHEET_ROWS_MAX) {
            err_set(err, ERR_OUT_OF_RANGE, NULL, "more than %d rows", SHEET_ROWS_MAX);
            goto cleanup;
        }
        struct loose_reading *grown = array_with_room(loose, count, &room, sizeof *loose);
        if (grown == NULL) {
            out_of_memory(err);
            goto cleanup;
        }
        loose = grown;
        memcpy(loose[count].site, read.site, sizeof read.site);
        loose[count].row = (uint32_t)csv.row;
        loose[count].reading = read.reading;
        count++;
    }
    if (row < 0)
        goto cleanup;
    if (count > 0)
        qsort(loose, count, sizeof *loose, by_site_time);
    outcome = gather(loose, count, out, err);
cleanup:
    csv_reader_release(&csv);
    free(loose);
    return outcome;
}

void sheet_readings_release(struct sheet_readings *readings) {
    free(readings->site);
    free(readings->reading);
    *readings = (struct sheet_readings){0};
}

int sheet_run(const struct site_record *site, const struct sheet_reading *reading, size_t count,
              struct run *out, struct err *err) {
    char place[48];
    snprintf(place, sizeof place, "row %u, site", count > 0 ? reading[0].row : 0);
    if (isnan(site->gnomon_mm))
        return err_set(err, ERR_MISSING_FIELD, place,
                       "%s: site \"%s\" has no gnomon_mm, so its shadows mean nothing", place,
                       site->site);
    if (count > RUN_READINGS_MAX)
        return err_set(err, ERR_OUT_OF_RANGE, place,
                       "%s: site \"%s\" has %zu readings of one noon; %d are the most", place,
                       site->site, count, RUN_READINGS_MAX);
    struct run run = {
        .gnomon = {.part = {{site->gnomon_mm / 1000.0, NAN}}, .parts = 1, .edge = site->edge},
        .pressure_hpa = NAN,
        .temperature_c = NAN,
        .clock_sigma_s = NAN,
        .tilt_sigma_deg = NAN,
        .readings = (int)count,
    };
    for (size_t i = 0; i < count; i++)
        run.reading[i] = reading[i].reading;
    *out = run;
    return 0;
}
