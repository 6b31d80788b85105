/* SPDX-License-Identifier: MIT */
/* days: opening, and listing; joining is in days_part.c. */
#include "server/rules/days.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/rules/audit.h"
#include "server/rules/day_states.h"
#include "server/rules/lookup.h"
#include "server/science/meridian.h"
#include "server/science/sun.h"
#include "server/store/season_rows.h"
#include "server/wire/field.h"

/* A pair further east than twice its way north (63 degrees from the meridian) says
 * nothing about a meridian: neither to walk nor on a map. */
#define EAST_OF_NORTH_MAX 2.0

void day_page_release(struct day_page *page) {
    free(page->items);
    *page = (struct day_page){0};
}

void participant_page_release(struct participant_page *page) {
    free(page->items);
    *page = (struct participant_page){0};
}

/* The day before and after must be known too: the date line (see accept.c). */
static int check_date(int32_t date, const char *field, struct err *err) {
    if (date > SUN_FIRST_DAY && date < SUN_LAST_DAY)
        return 0;
    return err_set(err, ERR_OUT_OF_RANGE, field,
                   "the Sun is known here from 1972-01-02 to 2100-12-30");
}

static int check_dates(const struct day_record *day, struct err *err) {
    if (check_date(day->date, "/date", err))
        return -1;
    for (int i = 0; i < day->spares; i++) {
        char field[32];
        snprintf(field, sizeof field, "/spare_dates/%d", i);
        bool twice = day->spare[i] == day->date;
        for (int j = 0; j < i; j++)
            twice |= day->spare[i] == day->spare[j];
        if (twice)
            return err_set(err, ERR_OUT_OF_RANGE, field, "that date is named twice");
        if (check_date(day->spare[i], field, err))
            return -1;
    }
    return 0;
}

static int add_to_season(struct db *db, const char *season, int64_t day, struct err *err) {
    struct season_row row;
    enum found found = season_rows_find(db, season, &row, err);
    if (found == FOUND_NONE)
        return err_set(err, ERR_NOT_FOUND, "/season", "there is no season called %s", season);
    return found == FOUND_ONE ? season_rows_add_day(db, row.id, day, err) : -1;
}

/* The day, its season, and its first events. */
static int add_day(struct db *db, const struct day_record *record, int64_t by, double now_utc_s,
                   struct err *err) {
    const struct day_event_record opened = {
        .kind = DAY_EVENT_STATE, .state = record->state, .at_utc_s = now_utc_s};
    const struct day_event_record told = {.kind = DAY_EVENT_BLIND, .at_utc_s = now_utc_s};
    int64_t id;
    if (day_rows_add(db, record, by, now_utc_s, &id, err) ||
        day_event_rows_add(db, id, &opened, by, err) ||
        (record->season[0] != '\0' && add_to_season(db, record->season, id, err)) ||
        (!record->blind && day_event_rows_add(db, id, &told, by, err)))
        return -1;
    return 0;
}

int day_open(struct change *change, const struct caller *caller, const struct day_record *day,
             double now_utc_s, struct day_record *out, struct err *err) {
    struct day_record record = *day;
    struct day_row row;
    if (caller_may(caller, ROLE_ORGANISER, NULL, err) || check_dates(day, err))
        return -1;
    if (record.day[0] == '\0')
        date_format(record.date, record.day);
    if (record.name[0] == '\0')
        memcpy(record.name, record.day, sizeof record.day);
    enum found found = day_rows_find(change_db(change), record.day, &row, err);
    if (found == FOUND_ONE)
        return err_set(err, ERR_DAY_EXISTS, "/day",
                       "a day called %s exists; choose another identifier", record.day);
    if (record.state != DAY_PLANNED && record.state != DAY_ANNOUNCED)
        return err_set(err, ERR_OUT_OF_RANGE, "/state", "a new day is planned or announced");
    if (found == FOUND_FAILED ||
        add_day(change_db(change), &record, caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "day.open", audit_subject("days/%s", record.day).text,
                   record.state == DAY_PLANNED ? "planned" : NULL, now_utc_s, err))
        return -1;
    *out = record;
    return 0;
}

/* Of two sites on the rim of the band, one is so far east of the other. */
static double widest_east_km(const struct day_record *day) {
    return day->lon_tolerance_deg * MERIDIAN_CIRCUMFERENCE_KM / 360.0;
}

void day_warn(const struct day_record *day, double now_utc_s, struct warnings *warnings) {
    char date[DATE_TEXT];
    double east_km = widest_east_km(day);
    date_format(day->date, date);
    if (day_date_passed(day->date, now_utc_s))
        warning_add(warnings, WARNING_DATE_PASSED, "/date",
                    "%s has passed: is it the date that is meant?", date);
    if (east_km > EAST_OF_NORTH_MAX * day->min_separation_km)
        warning_add(warnings, WARNING_TOLERANCE_WIDE, "/lon_tolerance_deg",
                    "near the equator two sites %g degrees apart lie %.0f km east and west of each "
                    "other and need be only %g km apart north and south: that is no meridian; take "
                    "at most %.1f degrees, or ask for %.0f km",
                    day->lon_tolerance_deg, east_km, day->min_separation_km,
                    day->lon_tolerance_deg * EAST_OF_NORTH_MAX * day->min_separation_km / east_km,
                    ceil(east_km / EAST_OF_NORTH_MAX));
}

int day_get(struct db *db, const struct caller *caller, const char *day, struct day_record *out,
            struct err *err) {
    struct day_row row;
    if (lookup_day_as(db, caller, day, &row, err))
        return -1;
    *out = row.record;
    return 0;
}

/* The cursor is "YYYY-MM-DD/identifier" of the last day shown; an empty one leaves
 * the start as it is. */
static int read_cursor(const char *after, int32_t *date, const char **day, struct err *err) {
    char text[11];
    if (after[0] == '\0')
        return 0;
    if (strlen(after) < 12 || after[10] != '/')
        goto refuse;
    memcpy(text, after, 10);
    text[10] = '\0';
    if (!date_parse(text, date) || !field_is_id(after + 11))
        goto refuse;
    *day = after + 11;
    return 0;
refuse:
    return err_set(err, ERR_BAD_QUERY, "cursor",
                   "that is not a cursor; take next_cursor of the page before");
}

int day_list(struct db *db, const struct caller *caller, const char *season, const char *after,
             size_t limit, struct day_page *out, struct err *err) {
    struct day_page page = {0};
    struct day_filter filter = {.after_date = INT32_MIN,
                                .after_day = "",
                                .season = season,
                                .planned = caller->role == ROLE_ORGANISER};
    if (read_cursor(after, &filter.after_date, &filter.after_day, err) ||
        day_rows_list(db, &filter, list_ask(limit), &page.items, &page.count, err))
        return -1;
    if (list_more(limit, &page.count)) {
        const struct day_record *last = &page.items[page.count - 1];
        char date[11];
        date_format(last->date, date);
        snprintf(page.next, sizeof page.next, "%s/%s", date, last->day);
    }
    *out = page;
    return 0;
}
