/* SPDX-License-Identifier: MIT */
/* accept_import: a day's spreadsheet. Each site's rows become a run in the same
 * JSON a class would have sent, so that what is recorded has one form; what is
 * reduced is read back from that. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/rules/accept_record.h"
#include "server/rules/day_states.h"
#include "server/rules/days.h"
#include "server/rules/lookup.h"
#include "server/rules/verdict.h"
#include "server/wire/record_read.h"
#include "server/wire/record_write.h"

#define BODY_MAX (1u << 18)

/* Below what anybody writes into a sheet. */
#define SAME_LENGTH_M 1e-8
#define SAME_TIME_S 1e-5

void run_import_release(struct run_import *import) {
    for (size_t i = 0; i < import->count; i++)
        free(import->items[i].reduction_json);
    free(import->items);
    *import = (struct run_import){0};
}

/* One site's part of the sheet on its way in. */
struct part {
    struct change *change;
    const struct caller *caller;
    const struct day_row *day;
    const struct sheet_readings *sheet;
    const struct sheet_site *rows;
    double now_utc_s;
    struct site_row site;
    struct run_record sent; /* as read back from text */
    struct text text;
    struct reduction reduction;
};

/* An error found in the run's JSON, told of the row of the sheet it came from. */
static int in_row(const struct part *part, const struct err *cause, struct err *err) {
    char field[48];
    unsigned row = part->rows->first_row;
    const char *column = "site";
    if (strncmp(cause->field, "/readings/", 10) == 0) {
        size_t index = strtoul(cause->field + 10, NULL, 10);
        if (index < part->rows->readings)
            row = part->sheet->reading[part->rows->first + index].row;
    }
    if (strncmp(cause->field, "/readings", 9) == 0)
        column = cause->code == ERR_WRONG_DAY ? "utc" : "shadow_mm";
    snprintf(field, sizeof field, "row %u, %s", row, column);
    return err_set(err, cause->code, field, "site %s: %s", part->rows->site, cause->text);
}

static int write_body(struct part *part, struct err *err) {
    struct run_record record;
    struct json_writer json;
    struct err cause = {0};
    run_record_init(&record);
    if (sheet_run(&part->site.record, &part->sheet->reading[part->rows->first],
                  part->rows->readings, &record.run, err))
        return -1;
    json_write_init(&json, &part->text);
    record_write_run_request(&json, NULL, &record);
    if (part->text.failed)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    if (record_read_run(part->text.bytes, part->text.length, &part->sent, &cause))
        return in_row(part, &cause, err);
    return 0;
}

/* Joins the day if need be, and finds what is superseded. */
static int prepare_place(struct part *part, struct err *err) {
    struct db *db = change_db(part->change);
    struct warnings unsaid = {.count = 0};
    struct err cause = {0};
    int64_t current = 0;
    enum stand standing;
    if (day_join(part->change, part->caller, part->day->record.day, part->site.record.site,
                 part->now_utc_s, &standing, &unsaid, err))
        return -1;
    if (standing == STAND_REFUSED) {
        err_set(&cause, ERR_NOT_APPROVED, NULL,
                "an organiser has refused that the site takes part in that day");
        return in_row(part, &cause, err);
    }
    enum found found = run_rows_current(db, part->day->id, part->site.id, &current, err);
    if (found == FOUND_FAILED)
        return -1;
    part->sent.supersedes = found == FOUND_ONE ? current : 0;
    memcpy(part->sent.site, part->site.record.site, sizeof part->sent.site);
    memcpy(part->sent.day, part->day->record.day, sizeof part->sent.day);
    return 0;
}

static int compare_readings(const void *one, const void *two) {
    const struct reading *a = one, *b = two;
    if (a->t_utc_s != b->t_utc_s)
        return a->t_utc_s < b->t_utc_s ? -1 : 1;
    return (a->shadow_m > b->shadow_m) - (a->shadow_m < b->shadow_m);
}

/* Whether a run says all that a sheet can say, in whatever order. Weather and what
 * else the class told besides stays with its run. */
static bool says_the_same(const struct run *sheet, const struct run *run) {
    struct reading ours[RUN_READINGS_MAX], theirs[RUN_READINGS_MAX];
    size_t count = (size_t)sheet->readings;
    if (sheet->readings != run->readings || sheet->gnomon.edge != run->gnomon.edge ||
        fabs(gnomon_height(&sheet->gnomon).value_m - gnomon_height(&run->gnomon).value_m) >
            SAME_LENGTH_M)
        return false;
    memcpy(ours, sheet->reading, count * sizeof *ours);
    memcpy(theirs, run->reading, count * sizeof *theirs);
    qsort(ours, count, sizeof *ours, compare_readings);
    qsort(theirs, count, sizeof *theirs, compare_readings);
    for (size_t i = 0; i < count; i++)
        if (fabs(ours[i].t_utc_s - theirs[i].t_utc_s) > SAME_TIME_S ||
            fabs(ours[i].shadow_m - theirs[i].shadow_m) > SAME_LENGTH_M)
            return false;
    return true;
}

/* Whether the current run is what the sheet has. */
static int compare_current(struct part *part, bool *same, struct err *err) {
    struct run_row row;
    struct run_record *current = malloc(sizeof *current);
    struct err cause = {0};
    if (current == NULL)
        return err_set(err, ERR_INTERNAL, NULL, "out of memory");
    int result = -1;
    if (run_rows_get(change_db(part->change), part->sent.supersedes, &row, err) != FOUND_ONE) {
        err_set(err, ERR_INTERNAL, NULL, "the current run vanished");
        goto cleanup;
    }
    if (record_read_run(row.body, row.body_length, current, &cause) == 0) {
        *same = says_the_same(&part->sent.run, &current->run);
        result = 0;
    } else {
        err_set(err, ERR_STORAGE, NULL, "run %lld cannot be read: %s", (long long)row.id,
                cause.text);
    }
    free(row.body);
cleanup:
    free(current);
    return result;
}

static int import_part(struct part *part, struct run_import_item *out, struct err *err) {
    struct db *db = change_db(part->change);
    struct err cause = {0};
    if (lookup_site(db, part->rows->site, &part->site, &cause))
        return in_row(part, &cause, err);
    if (write_body(part, err))
        return -1;
    if (prepare_place(part, err))
        return -1;
    memcpy(out->site, part->site.record.site, sizeof out->site);
    out->run = part->sent.supersedes;
    out->fate = out->run == 0 ? RUN_IMPORT_NEW : RUN_IMPORT_REPLACED;
    bool same = false;
    if (out->run != 0 && compare_current(part, &same, err))
        return -1;
    if (same) {
        out->fate = RUN_IMPORT_UNCHANGED;
        return 0;
    }
    if (verdict_reduce(change_almanac(part->change), &part->day->record, &part->site.record,
                       &part->sent.run, &part->reduction, &cause))
        return in_row(part, &cause, err);
    const struct accept_record record = {
        .day = part->day,
        .site = &part->site,
        .sent = &part->sent,
        .reduction = &part->reduction,
        .body = part->text.bytes,
        .body_length = part->text.length,
        .caller = part->caller,
        .now_utc_s = part->now_utc_s,
    };
    bool is_answered; /* never: there is no key */
    return accept_record(part->change, &record, NULL, NULL, &out->run, &out->reduction_json,
                         &is_answered, err);
}

int accept_import(struct change *change, const struct caller *caller, const char *day,
                  const struct sheet_readings *readings, double now_utc_s, struct run_import *out,
                  struct err *err) {
    struct run_import import = {0};
    struct day_row day_row;
    struct part *part = NULL;
    int result = -1;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) ||
        lookup_any_day(change_db(change), day, &day_row, err) ||
        day_state_check(day_row.record.state, DAY_ACT_MEASURE, err))
        return -1;
    part = malloc(sizeof *part);
    import.items = calloc(readings->sites + 1, sizeof *import.items);
    if (!part || !import.items) {
        err_set(err, ERR_INTERNAL, NULL, "out of memory");
        goto cleanup;
    }
    *part = (struct part){.change = change,
                          .caller = caller,
                          .day = &day_row,
                          .sheet = readings,
                          .now_utc_s = now_utc_s};
    for (size_t i = 0; i < readings->sites; i++) {
        part->rows = &readings->site[i];
        text_init(&part->text, BODY_MAX);
        int failed = import_part(part, &import.items[i], err);
        text_release(&part->text);
        if (failed)
            goto cleanup;
        import.count++;
    }
    *out = import;
    import = (struct run_import){0};
    result = 0;
cleanup:
    run_import_release(&import);
    free(part);
    return result;
}
