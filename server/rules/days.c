/* SPDX-License-Identifier: MIT */
/* days: opening, joining, leaving and listing. */
#include "server/rules/days.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "server/base/instant.h"
#include "server/rules/audit.h"
#include "server/rules/lookup.h"
#include "server/science/sun.h"
#include "server/store/run_rows.h"
#include "server/wire/field.h"

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
    if (found == FOUND_FAILED ||
        day_rows_add(change_db(change), &record, caller->credential, now_utc_s, err) ||
        audit_note(change, caller, "day.open", audit_subject("days/%s", record.day).text, NULL,
                   now_utc_s, err))
        return -1;
    *out = record;
    return 0;
}

int day_get(struct db *db, const char *day, struct day_record *out, struct err *err) {
    struct day_row row;
    if (lookup_day(db, day, &row, err))
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

int day_list(struct db *db, const char *after, size_t limit, struct day_page *out,
             struct err *err) {
    struct day_page page = {0};
    int32_t after_date = INT32_MIN;
    const char *after_day = "";
    if (read_cursor(after, &after_date, &after_day, err) ||
        day_rows_list(db, after_date, after_day, list_ask(limit), &page.items, &page.count, err))
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

static int both(struct change *change, const struct caller *caller, const char *day,
                const char *site, struct day_row *day_out, struct site_row *site_out,
                bool *takes_part, struct err *err) {
    struct db *db = change_db(change);
    return caller_may(caller, ROLE_SCHOOL, site, err) || lookup_day(db, day, day_out, err) ||
                   lookup_site(db, site, site_out, err) ||
                   day_rows_takes_part(db, day_out->id, site_out->id, takes_part, err)
               ? -1
               : 0;
}

/* Joined or left: the event and its line. */
static int note_event(struct change *change, const struct caller *caller, const struct day_row *day,
                      const struct site_row *site, bool join, double now_utc_s, struct err *err) {
    return day_rows_add_event(change_db(change), day->id, site->id, join, caller->credential,
                              now_utc_s, err) ||
                   audit_note(
                       change, caller, join ? "day.join" : "day.leave",
                       audit_subject("days/%s/sites/%s", day->record.day, site->record.site).text,
                       NULL, now_utc_s, err)
               ? -1
               : 0;
}

int day_join(struct change *change, const struct caller *caller, const char *day, const char *site,
             double now_utc_s, struct err *err) {
    struct day_row day_row;
    struct site_row site_row;
    bool takes_part;
    if (both(change, caller, day, site, &day_row, &site_row, &takes_part, err))
        return -1;
    return takes_part ? 0 : note_event(change, caller, &day_row, &site_row, true, now_utc_s, err);
}

int day_leave(struct change *change, const struct caller *caller, const char *day, const char *site,
              double now_utc_s, struct err *err) {
    struct day_row day_row;
    struct site_row site_row;
    bool takes_part;
    int64_t run;
    if (both(change, caller, day, site, &day_row, &site_row, &takes_part, err))
        return -1;
    if (!takes_part)
        return 0;
    enum found found = run_rows_current(change_db(change), day_row.id, site_row.id, &run, err);
    if (found == FOUND_ONE)
        return err_set(err, ERR_RUN_EXISTS, NULL,
                       "the site has a run on that day; withdraw run %lld first", (long long)run);
    return found == FOUND_FAILED
               ? -1
               : note_event(change, caller, &day_row, &site_row, false, now_utc_s, err);
}

int day_participants(struct db *db, const char *day, const char *after, size_t limit,
                     struct participant_page *out, struct err *err) {
    struct participant_page page = {0};
    struct day_row row;
    if (lookup_day(db, day, &row, err) ||
        day_rows_participants(db, row.id, after, list_ask(limit), &page.items, &page.count, err))
        return -1;
    if (list_more(limit, &page.count))
        memcpy(page.next, page.items[page.count - 1].site.site, sizeof page.next);
    *out = page;
    return 0;
}
